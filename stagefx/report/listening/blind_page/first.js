// The first screen: volume, what is asked, a difference to be heard, practice, a name.

import { below } from "./chance.js";
import { fittingName } from "./code.js";
import { copyOf, one, show, write } from "../../page/dom.js";
import { PROTOCOLS } from "./protocols.js";
import { Rows } from "./rows.js";

/** @typedef {import("./protocols.js").Item} Item */
/** @typedef {import("./protocols.js").Row} Row */
/** @typedef {import("./main.js").Page} Page */

const THINKING_SECONDS = 20; // a trial, beside hearing the passage twice

/**
 * @param {Page} page
 * @param {(listener: string) => void} begin
 */
export function showFirst(page, begin) {
  const { pack } = page;
  const screen = copyOf("first-screen");
  const trials = pack.trials + (hasControls(page) ? pack.control_trials : 0);
  const minutes = Math.max(1, Math.round((trials * (THINKING_SECONDS + 2 * pack.seconds)) / 60));
  write(screen, "h1", pack.title || "Listen, and tell");
  write(screen, ".task", PROTOCOLS[pack.protocol].task);
  write(
    screen,
    ".length",
    `There are ${trials} trials, about ${minutes} ${minutes === 1 ? "minute" : "minutes"} ` +
      "together. Take as long as you like over each. No score is shown.",
  );
  write(screen, ".seal", pack.commitment);
  one(screen, ".keeps").hidden = !page.shelf.works;
  one(screen, ".forgets").hidden = page.shelf.works;
  showLists(page, screen);
  /** @type {HTMLInputElement} */
  const name = one(screen, "#listener");
  one(screen, "form").addEventListener("submit", (event) => {
    event.preventDefault();
    begin(fittingName(name.value));
  });
  show(screen);
}

/**
 * @param {Page} page
 * @returns {boolean}
 */
function hasControls(page) {
  return page.pack.items.some((item) => item.kind === "control");
}

/**
 * @param {Page} page
 * @param {DocumentFragment} screen
 */
function showLists(page, screen) {
  /** @type {Map<HTMLElement, Rows>} */
  const lists = new Map();
  const list = (/** @type {HTMLElement} */ place, /** @type {Row[]} */ rows) => {
    page.player.stop();
    place.replaceChildren();
    lists.set(place, new Rows(place, page.player, rows, { keys: false }));
  };
  const { items, protocol, control_trials } = page.pack;
  const main = items.find((item) => item.kind === "main");
  if (main) list(one(screen, ".volume-row"), [musicOf(main)]);
  const control = items.find((item) => item.kind === "control");
  one(screen, ".control").hidden = !control || control_trials === 0;
  if (control) list(one(screen, ".control-rows"), pairOf(control));
  const training = items.filter((item) => item.kind === "training");
  one(screen, ".training").hidden = training.length === 0;
  for (const item of training) showTraining(screen, protocol, item, list);
  page.player.changed = () => lists.forEach((rows) => rows.show());
  page.player.changed();
}

/**
 * @param {DocumentFragment} screen
 * @param {string} name of the protocol
 * @param {Item} item
 * @param {(place: HTMLElement, rows: Row[]) => void} list
 */
function showTraining(screen, name, item, list) {
  const protocol = PROTOCOLS[name];
  const copy = copyOf("training-item");
  const section = one(copy, "section");
  const draw = () => {
    const drawn = below(protocol.draws(item));
    write(section, ".answer", protocol.answer(item.answer ?? "", drawn));
    list(one(section, ".rows"), protocol.rows(item, drawn));
  };
  write(section, ".item-title", item.title ?? "");
  one(section, ".anew").addEventListener("click", draw);
  draw();
  one(screen, ".training-items").append(copy);
}

/**
 * @param {Item} item
 * @returns {Row}
 */
function musicOf(item) {
  const file = Object.values(item.named ?? {})[0] ?? item.unlabelled[0];
  return { name: "The music", says: "to set the volume", file };
}

/**
 * The two versions of a control, in a drawn order, without saying which is which.
 *
 * @param {Item} item
 * @returns {Row[]}
 */
function pairOf(item) {
  const { A, B } = item.named ?? {};
  const pair = A && B ? [A, B] : item.unlabelled.slice(0, 2);
  if (below(2) === 1) pair.reverse();
  return [
    { name: "One version", says: "", file: pair[0] },
    { name: "The other version", says: "", file: pair[1] },
  ];
}
