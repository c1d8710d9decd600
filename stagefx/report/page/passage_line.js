// "Playing from 12.0 to 18.5 s, repeating": in place of a transport bar.

import { copyOf, one, write } from "./dom.js";

/** @typedef {import("./player.js").Player} Player */

export class PassageLine {
  /**
   * @param {HTMLElement} place
   * @param {Player} player
   */
  constructor(place, player) {
    this.player = player;
    place.append(copyOf("passage"));
    this.place = place;
    /** @type {HTMLInputElement} */
    this.begin = one(place, ".begin");
    /** @type {HTMLInputElement} */
    this.finish = one(place, ".finish");
    for (const input of [this.begin, this.finish]) {
      input.max = player.seconds.toFixed(1);
      input.addEventListener("change", () => this.#typed());
    }
    const { seconds } = player;
    const on = (/** @type {string} */ button, /** @type {() => void} */ act) =>
      one(place, button).addEventListener("click", act);
    on(".begin-here", () => player.setPassage(player.position(), player.passage.finish));
    on(".finish-here", () => player.setPassage(player.passage.begin, player.position()));
    on(".whole", () => player.setPassage(0, seconds));
  }

  show() {
    const { begin, finish } = this.player.passage;
    this.begin.value = begin.toFixed(1);
    this.finish.value = finish.toFixed(1);
    write(this.place, ".state", this.player.row < 0 ? "Plays" : "Playing");
  }

  #typed() {
    const { begin, finish } = this.player.passage;
    const typed = (/** @type {HTMLInputElement} */ input, /** @type {number} */ old) =>
      Number.isFinite(input.valueAsNumber) ? input.valueAsNumber : old;
    this.player.setPassage(typed(this.begin, begin), typed(this.finish, finish));
  }
}
