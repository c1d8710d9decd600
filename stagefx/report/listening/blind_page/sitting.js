// One listener's sitting: what was drawn for it, what was replied so far, and where it is kept.

import { below, randomBytes } from "./chance.js";
import { hex } from "./code.js";
import { PROTOCOLS } from "./protocols.js";

/**
 * @typedef {object} Pack what the page knows
 * @property {string} pack
 * @property {string} protocol
 * @property {string} title
 * @property {string} commitment
 * @property {number} trials
 * @property {number} control_trials
 * @property {number} rate_hz
 * @property {number} seconds
 * @property {import("./protocols.js").Item[]} items
 */

/**
 * @typedef {object} Sitting
 * @property {string} pack
 * @property {string} listener
 * @property {string} sitting
 * @property {number[][]} trials of each the item and the draw
 * @property {number[][]} replies of those that were answered
 */

/**
 * @param {Pack} pack
 * @returns {import("./protocols.js").Item[]} those with a place in the sealed key, in its order
 */
export function scoredItems(pack) {
  return pack.items.filter((item) => item.kind !== "training");
}

/**
 * @param {Pack} pack
 * @param {string} listener
 * @returns {Sitting}
 */
export function newSitting(pack, listener) {
  const sitting = hex(randomBytes(8));
  return { pack: pack.pack, listener, sitting, trials: drawnTrials(pack), replies: [] };
}

/**
 * Main items in turn, control items at drawn places among them, and of each trial its draw.
 *
 * @param {Pack} pack
 * @returns {number[][]}
 */
export function drawnTrials(pack) {
  const items = scoredItems(pack);
  const numbers = items.map((_, n) => n);
  const main = numbers.filter((n) => items[n].kind === "main");
  const control = numbers.filter((n) => items[n].kind === "control");
  const order = Array.from({ length: pack.trials }, (_, n) => main[n % main.length]);
  for (let n = 0; control.length > 0 && n < pack.control_trials; n += 1) {
    order.splice(below(order.length + 1), 0, control[n % control.length]);
  }
  return order.map((item) => [item, below(PROTOCOLS[pack.protocol].draws(items[item]))]);
}

/** Where a sitting outlives the page: the browser's own store, if it lets us. */
export class Shelf {
  /** @param {Pack} pack */
  constructor(pack) {
    this.pack = pack;
    this.place = `stagefx-blind-${pack.pack}`;
  }

  /** @returns {boolean} whether anything can be kept */
  get works() {
    try {
      localStorage.setItem(`${this.place}-try`, "");
      localStorage.removeItem(`${this.place}-try`);
      return true;
    } catch {
      return false;
    }
  }

  /** @returns {Sitting | null} null where none was kept, or none of this pack */
  take() {
    try {
      const found = JSON.parse(localStorage.getItem(this.place) ?? "null");
      return this.#fits(found) ? found : null;
    } catch {
      return null;
    }
  }

  /** @param {Sitting} sitting */
  keep(sitting) {
    try {
      localStorage.setItem(this.place, JSON.stringify(sitting));
    } catch {
      // said on the first screen: the page must then stay open
    }
  }

  clear() {
    try {
      localStorage.removeItem(this.place);
    } catch {
      // nothing was kept
    }
  }

  /**
   * @param {any} found
   * @returns {boolean} whether it is a sitting of this pack
   */
  #fits(found) {
    const items = scoredItems(this.pack);
    const { draws } = PROTOCOLS[this.pack.protocol];
    return (
      found !== null &&
      found.pack === this.pack.pack &&
      typeof found.listener === "string" &&
      /^[0-9a-f]{16}$/.test(found.sitting) &&
      found.trials.length > 0 &&
      found.replies.length <= found.trials.length &&
      found.trials.every(
        (/** @type {number[]} */ [item, draw]) => item in items && draw < draws(items[item]),
      ) &&
      found.replies.every(
        (/** @type {unknown} */ reply) => Array.isArray(reply) && reply.every(Number.isInteger),
      )
    );
  }
}
