// All versions of a passage run side by side from one moment on; switching only changes which one
// is let through, so no switch can move the place or leave a gap.

import { FADE_SECONDS, fadeWeights, likeness } from "./loop.js";

const CURVE_POINTS = 129;

/** Room for two versions at once while one fades into the other. */
export const HEADROOM = Math.SQRT1_2;

export class Deck {
  /**
   * @param {BaseAudioContext} context
   * @param {AudioNode} destination
   * @param {AudioBuffer[]} loops one a version, all of one length
   * @param {number} row which one is let through first
   */
  constructor(context, destination, loops, row) {
    this.context = context;
    this.row = row;
    this.frames = loops[0].length;
    this.started = 0;
    this.free = 0; // no switch may begin earlier
    this.likeness = likenesses(loops);
    this.out = new GainNode(context, { gain: 0 });
    this.out.connect(destination);
    this.gains = loops.map((_, n) => new GainNode(context, { gain: n === row ? 1 : 0 }));
    this.sources = loops.map(
      (buffer) => new AudioBufferSourceNode(context, { buffer, loop: true }),
    );
    this.sources.forEach((source, n) => source.connect(this.gains[n]).connect(this.out));
  }

  /**
   * @param {number} at seconds, on the context's clock
   * @param {number} frame where in the passage
   * @param {number} alike correlation with what fades out at the same time
   */
  start(at, frame, alike = 0) {
    const { sampleRate } = this.context;
    const when = Math.ceil(at * sampleRate - 1e-6) / sampleRate; // whole frames: no interpolation
    this.started = when - frame / sampleRate;
    for (const source of this.sources) source.start(when, frame / sampleRate);
    this.out.gain.setValueCurveAtTime(curve(1, alike), when, FADE_SECONDS);
    this.free = this.#after(when);
  }

  /**
   * @param {number} row
   * @param {number} at earliest time
   */
  switchTo(row, at) {
    if (row === this.row) return;
    const when = Math.max(at, this.free);
    const alike = this.likeness[this.row][row];
    this.gains[this.row].gain.setValueCurveAtTime(curve(0, alike), when, FADE_SECONDS);
    this.gains[row].gain.setValueCurveAtTime(curve(1, alike), when, FADE_SECONDS);
    this.row = row;
    this.free = this.#after(when);
  }

  /**
   * @param {number} at earliest time
   * @param {number} alike correlation with what fades in at the same time
   */
  stop(at, alike = 0) {
    this.out.gain.setValueCurveAtTime(curve(0, alike), Math.max(at, this.free), FADE_SECONDS);
    for (const source of this.sources) source.stop(this.#after(Math.max(at, this.free)));
    this.sources[0].onended = () => this.out.disconnect();
  }

  /**
   * @param {number} time
   * @returns {number} the frame of the passage that is heard then
   */
  frameAt(time) {
    const gone = Math.round((time - this.started) * this.context.sampleRate);
    return ((gone % this.frames) + this.frames) % this.frames;
  }

  /**
   * @param {number} when
   * @returns {number} when a fade that begins then is over
   */
  #after(when) {
    return when + FADE_SECONDS + 2 / this.context.sampleRate;
  }
}

/**
 * @param {AudioBuffer[]} loops
 * @returns {number[][]} of each with each
 */
function likenesses(loops) {
  const table = loops.map(() => loops.map(() => 1));
  for (let n = 0; n < loops.length; n += 1) {
    for (let m = 0; m < n; m += 1) {
      table[n][m] = likeness(loops[n], loops[m]);
      table[m][n] = table[n][m];
    }
  }
  return table;
}

/**
 * @param {0 | 1} side 0 fades out, 1 fades in
 * @param {number} alike
 * @returns {Float32Array}
 */
function curve(side, alike) {
  return Float32Array.from(
    { length: CURVE_POINTS },
    (_, n) => fadeWeights(n / (CURVE_POINTS - 1), alike)[side],
  );
}
