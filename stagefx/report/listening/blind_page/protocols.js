// What a trial plays and asks, protocol by protocol.  Nothing here knows which version is which.

/**
 * @typedef {object} Item one stretch of music in one comparison
 * @property {"main" | "control" | "training"} kind
 * @property {string} [title]
 * @property {Record<string, string>} [named] labelled versions: a file for each label
 * @property {string[]} unlabelled files, in an order that the sealed key holds
 * @property {string} [answer] of training items only: which unlabelled version is which
 */

/**
 * @typedef {object} Row something that can be played
 * @property {string} name
 * @property {string} says
 * @property {string} file
 */

/**
 * @typedef {object} Protocol
 * @property {string} asks in one trial
 * @property {string} task the same, told beforehand
 * @property {string[]} replies in words; none where grades are given
 * @property {(item: Item) => number} draws how many ways there are to draw a trial
 * @property {(item: Item, draw: number) => Row[]} rows
 * @property {(order: string, draw: number) => string} answer of a training item, in words
 */

const PLACES = ["first", "second", "third"];
const ROWS = ["First", "Second", "Third"];

/** @type {Record<string, Protocol>} */
export const PROTOCOLS = {
  abx: {
    asks: "Which one was X?",
    task:
      "You hear two versions of the same music, A and B, and X, which is one of them. Switch " +
      "between the three as often as you like, and say which one X was.",
    replies: ["sounded like A", "sounded like B"],
    draws: () => 2,
    rows: (item, draw) => [
      { name: "A", says: "one version", file: item.named?.A ?? "" },
      { name: "B", says: "the other version", file: item.named?.B ?? "" },
      { name: "X", says: "one of those two", file: item.unlabelled[draw] },
    ],
    answer: (order, draw) => `X is ${"AB"[Number(order[draw])]}.`,
  },
  "same-different": {
    asks: "Same or different?",
    task:
      "You hear the same music twice, either in one version both times or in two. Switch between " +
      "the two as often as you like, and say whether they are the same or different.",
    replies: ["the same", "different"],
    draws: () => 4,
    rows: (item, draw) => [
      { name: "First", says: "one version", file: item.unlabelled[draw >> 1] },
      { name: "Second", says: "same or other", file: item.unlabelled[draw & 1] },
    ],
    answer: (_, draw) => (draw >> 1 === (draw & 1) ? "They are the same." : "They are different."),
  },
  preference: {
    asks: "Which do you prefer?",
    task:
      "You hear two versions of the same music. Switch between them as often as you like, and " +
      "say which you prefer. There is no right reply; where you cannot decide, take the one you " +
      "lean to.",
    replies: ["I prefer the first", "I prefer the second"],
    draws: (item) => item.unlabelled.length * (item.unlabelled.length - 1),
    rows: (item, draw) => {
      const [first, second] = orderedPair(item.unlabelled.length, draw);
      return [
        { name: "First", says: "one version", file: item.unlabelled[first] },
        { name: "Second", says: "another", file: item.unlabelled[second] },
      ];
    },
    answer: () => "There is no right reply: only you know which you prefer.",
  },
  triangle: {
    asks: "Two of these three are the same. Which is the odd one?",
    task:
      "You hear the same music three times; two of the three are one version, and one is " +
      "another. Switch between them as often as you like, and say which is the odd one.",
    replies: PLACES.map((place) => `the ${place} is the odd one`),
    draws: () => 6,
    rows: (item, draw) =>
      ROWS.map((name, place) => ({
        name,
        says: "one of three",
        file: item.unlabelled[place === draw >> 1 ? draw % 2 : 1 - (draw % 2)],
      })),
    answer: (_, draw) => `The ${PLACES[draw >> 1]} is the odd one.`,
  },
  triple: {
    asks: "Which is lower, and by how much?",
    task:
      "You hear the reference, and then two more: one of them is the reference itself, the other " +
      "a changed version. Leave the one that you take for the reference at 5.0, and grade the " +
      "other by how much worse it is.",
    replies: [],
    draws: () => 2,
    rows: (item, draw) => [
      { name: "Reference", says: "", file: item.named?.reference ?? "" },
      { name: "First", says: "", file: item.unlabelled[draw] },
      { name: "Second", says: "", file: item.unlabelled[1 - draw] },
    ],
    answer: (order, draw) =>
      `The ${PLACES[order[draw] === "0" ? 0 : 1]} is the reference itself.`,
  },
};

/**
 * The draw-th of all pairs (i, j) of different numbers, i slowest.
 *
 * @param {number} count
 * @param {number} draw
 * @returns {[number, number]}
 */
function orderedPair(count, draw) {
  const first = Math.floor(draw / (count - 1));
  const other = draw % (count - 1);
  return [first, other < first ? other : other + 1];
}
