// The five-grade scale of ITU-R BS.1116: a written form, 1.0 to 5.0 in tenths.

import { copyOf, one, write } from "../../page/dom.js";

export const PHRASES = [
  "imperceptible",
  "perceptible, but not annoying",
  "slightly annoying",
  "annoying",
  "very annoying",
];

const LOWEST = 10;
const HIGHEST = 50;

export class Grade {
  /**
   * @param {HTMLElement} place
   * @param {string} name of what is graded
   */
  constructor(place, name) {
    this.tenths = HIGHEST;
    this.place = place;
    place.append(copyOf("grade"));
    one(place, ".grade").setAttribute("aria-label", `Grade of ${name}`);
    /** @type {HTMLInputElement} */
    this.input = one(place, "input");
    this.input.setAttribute("aria-label", `Grade of ${name}, from 1.0 to 5.0`);
    this.input.addEventListener("change", () => {
      if (Number.isFinite(this.input.valueAsNumber)) this.set(10 * this.input.valueAsNumber);
      else this.set(this.tenths);
    });
    for (const [way, step] of /** @type {[string, number][]} */ ([["lower", -1], ["higher", 1]])) {
      const button = one(place, `.${way}`);
      button.setAttribute("aria-label", `${way}: grade of ${name}`);
      button.addEventListener("click", () => this.set(this.tenths + step));
    }
    this.lines = PHRASES.map((phrase, n) => {
      const line = copyOf("phrase");
      write(line, ".number", (5 - n).toFixed(1));
      write(line, ".words", phrase);
      const item = one(line, "li");
      one(place, ".phrases").append(line);
      return item;
    });
    this.set(HIGHEST);
  }

  /** @param {number} tenths */
  set(tenths) {
    this.tenths = Math.min(HIGHEST, Math.max(LOWEST, Math.round(tenths)));
    this.input.value = (this.tenths / 10).toFixed(1);
    const nearest = nearestPhrase(this.tenths);
    this.lines.forEach((line, n) => line.classList.toggle("nearest", n === nearest));
    write(this.place, ".told", `${this.input.value}, ${PHRASES[nearest]}`);
  }
}

/**
 * Half way between two phrases the lower one: nothing below 5.0 is imperceptible for good.
 *
 * @param {number} tenths
 * @returns {number} its place among the phrases
 */
export function nearestPhrase(tenths) {
  return 5 - Math.ceil((tenths - 5) / 10);
}
