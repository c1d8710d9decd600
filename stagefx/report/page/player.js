// What is heard: one set of versions at a time, one passage, one row.

import { Deck, HEADROOM } from "./deck.js";
import { loopOf } from "./loop.js";
import { passageWithin } from "./passage.js";

const LEAD_SECONDS = 0.02; // both sides of a fade are set before it begins

export class Player {
  /**
   * @param {number} rateHz
   * @param {number} seconds
   */
  constructor(rateHz, seconds) {
    this.rateHz = rateHz;
    this.seconds = seconds;
    this.passage = passageWithin(0, seconds, seconds);
    /** @type {number} which row plays; -1 in silence */
    this.row = -1;
    /** @type {unknown} whose versions are loaded */
    this.owner = null;
    /** @type {() => void} called after every change */
    this.changed = () => {};
    /** @type {AudioContext | null} made on the first use: before it no browser allows sound */
    this.context = null;
    /** @type {AudioNode | null} */
    this.out = null;
    /** @type {Promise<AudioBuffer[]>} */
    this.versions = Promise.resolve([]);
    /** @type {AudioBuffer[]} decoded, of the present owner */
    this.music = [];
    /** @type {Deck | null} */
    this.deck = null;
    this.rest = 0; // seconds into the piece at which silence began
  }

  /**
   * Get versions ready.  Each is decoded anew, whatever was decoded before, so that no trial is
   * ready sooner than another.
   *
   * @param {unknown} owner
   * @param {(() => ArrayBuffer)[]} files
   */
  load(owner, files) {
    this.stop();
    const context = this.#open();
    this.owner = owner;
    this.music = [];
    this.rest = this.passage.begin;
    this.versions = Promise.all(files.map((file) => context.decodeAudioData(file())));
    this.versions.catch(() => {}); // reported to whoever plays
  }

  /** @param {number} row */
  async play(row) {
    const context = this.#open();
    const { owner } = this;
    this.row = row;
    this.changed();
    const [music] = await Promise.all([this.versions, context.resume()]);
    if (this.owner !== owner || this.row !== row) return; // something else was asked for meanwhile
    this.music = music;
    if (this.deck) {
      this.deck.switchTo(row, context.currentTime + LEAD_SECONDS);
    } else {
      this.deck = this.#newDeck();
      this.deck.start(context.currentTime + LEAD_SECONDS, this.#frame(this.rest));
    }
  }

  stop() {
    if (this.row < 0) return;
    this.rest = this.position();
    this.row = -1;
    if (this.deck && this.context) this.deck.stop(this.context.currentTime + LEAD_SECONDS);
    this.deck = null;
    this.changed();
  }

  /** @returns {number} seconds into the piece */
  position() {
    if (!this.deck || !this.context) return this.rest;
    const { currentTime, sampleRate } = this.context;
    return this.passage.begin + this.deck.frameAt(currentTime) / sampleRate;
  }

  /**
   * @param {number} begin
   * @param {number} finish
   */
  setPassage(begin, finish) {
    const before = this.passage.begin;
    this.passage = passageWithin(begin, finish, this.seconds);
    const old = this.deck;
    if (old && this.context) {
      this.deck = this.#newDeck();
      const at = Math.max(this.context.currentTime + LEAD_SECONDS, old.free);
      const place = before + old.frameAt(at) / this.context.sampleRate;
      const alike = this.#inside(place) ? 1 : 0;
      old.stop(at, alike);
      this.deck.start(at, this.#frame(place), alike);
    }
    this.rest = this.#inside(this.rest) ? this.rest : this.passage.begin;
    this.changed();
  }

  /** @returns {Deck} of the present passage, not started */
  #newDeck() {
    const context = this.#open();
    const begin = Math.round(this.passage.begin * context.sampleRate);
    const end = Math.min(
      Math.round(this.passage.finish * context.sampleRate),
      this.music[0].length,
    );
    const loops = this.music.map((music) => loopOf(context, music, begin, end));
    return new Deck(context, /** @type {AudioNode} */ (this.out), loops, this.row);
  }

  /**
   * @param {number} place seconds into the piece
   * @returns {number} frame of the passage; its first where the place lies outside
   */
  #frame(place) {
    const from = this.#inside(place) ? place - this.passage.begin : 0;
    return Math.round(from * this.#open().sampleRate);
  }

  /**
   * @param {number} place seconds into the piece
   * @returns {boolean}
   */
  #inside(place) {
    return place >= this.passage.begin && place < this.passage.finish;
  }

  /** @returns {AudioContext} */
  #open() {
    if (!this.context) {
      this.context = new AudioContext({ sampleRate: this.rateHz });
      this.out = new GainNode(this.context, { gain: HEADROOM });
      this.out.connect(this.context.destination);
    }
    return this.context;
  }
}
