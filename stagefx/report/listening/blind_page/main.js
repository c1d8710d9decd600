// Where the page begins: what it holds, which screen comes next, which keys it follows.

import { readKnown } from "../../page/carried.js";
import { copyOf, one, show, write } from "../../page/dom.js";
import { askedTwice, showEnd } from "./end.js";
import { showFirst } from "./first.js";
import { Player } from "../../page/player.js";
import { Shelf, newSitting } from "./sitting.js";
import { showTrial } from "./trial.js";

/** @typedef {import("./sitting.js").Pack} Pack */
/** @typedef {import("./sitting.js").Sitting} Sitting */

/**
 * @typedef {object} Page
 * @property {Pack} pack
 * @property {Player} player
 * @property {Shelf} shelf
 * @property {(key: number) => void} pressed what a number key does, from 0
 */

/** @type {Pack} */
const pack = readKnown();

/** @type {Page} */
const page = {
  pack,
  player: new Player(pack.rate_hz, pack.seconds),
  shelf: new Shelf(pack),
  pressed: () => {},
};

/** Stop, and let go of the last screen. */
function leave() {
  page.player.stop();
  page.player.changed = () => {};
  page.player.owner = null;
  page.pressed = () => {};
}

/** @param {Sitting} sitting */
function go(sitting) {
  leave();
  if (sitting.replies.length === sitting.trials.length) {
    showEnd(page, sitting, startAgain);
    return;
  }
  showTrial(page, sitting, (reply) => {
    const next = { ...sitting, replies: [...sitting.replies, reply] };
    page.shelf.keep(next);
    go(next);
  });
}

function startAgain() {
  leave();
  page.shelf.clear();
  showFirst(page, (listener) => {
    const sitting = newSitting(pack, listener);
    page.shelf.keep(sitting);
    go(sitting);
  });
}

/** @param {Sitting} sitting */
function showAgain(sitting) {
  const screen = copyOf("again-screen");
  const kept = sitting.replies.length;
  write(screen, ".listener", sitting.listener ? `, ${sitting.listener}` : "");
  write(screen, ".kept", `${kept} of your ${sitting.trials.length} replies are kept here.`);
  one(screen, ".go-on").addEventListener("click", () => go(sitting));
  askedTwice(screen, startAgain);
  show(screen);
}

/**
 * Number keys play rows and choose replies, Enter keeps a reply, wherever the focus is, except
 * where something is typed or a button takes Enter itself.
 *
 * @param {KeyboardEvent} event
 */
function onKey(event) {
  const { target } = event;
  const typing = target instanceof HTMLInputElement && target.type !== "radio";
  if (typing || event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
  if (/^[1-9]$/.test(event.key)) page.pressed(Number(event.key) - 1);
  else if (event.key === "Enter" && !takesEnter(target)) {
    document.querySelector("form")?.requestSubmit();
  }
}

/**
 * @param {EventTarget | null} target
 * @returns {boolean} whether Enter already does something there
 */
function takesEnter(target) {
  return target instanceof Element && target.closest("button, form") !== null;
}

if (pack.title) document.title = pack.title;
document.addEventListener("keydown", onKey);
window.addEventListener("storage", (event) => {
  if (event.key === page.shelf.place) window.location.reload(); // another window goes on with it
});
const kept = page.shelf.take();
if (!kept) startAgain();
else if (kept.replies.length === kept.trials.length) go(kept);
else showAgain(kept);
