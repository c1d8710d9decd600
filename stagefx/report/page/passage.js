// Which part is played, over and over.

export const SHORTEST_SECONDS = 0.5;

/**
 * @typedef {object} Passage
 * @property {number} begin seconds, in tenths
 * @property {number} finish seconds, in tenths
 */

/**
 * The nearest passage that there is.
 *
 * @param {number} begin
 * @param {number} finish
 * @param {number} seconds how long the piece is
 * @returns {Passage}
 */
export function passageWithin(begin, finish, seconds) {
  const shortest = Math.min(SHORTEST_SECONDS, seconds);
  const first = Math.min(Math.max(inTenths(begin), 0), inTenths(seconds - shortest));
  const last = Math.min(Math.max(inTenths(finish), first + shortest), seconds);
  return { begin: first, finish: inTenths(last) };
}

/**
 * @param {number} seconds
 * @returns {number}
 */
function inTenths(seconds) {
  return Math.round(10 * seconds) / 10;
}
