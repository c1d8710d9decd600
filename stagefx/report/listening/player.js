// Sighted listening: every button plays one file of one passage; switching keeps the place.

import { carried, readKnown } from "../page/carried.js";
import { one, say, write } from "../page/dom.js";
import { PassageLine } from "../page/passage_line.js";
import { Player } from "../page/player.js";

const known = readKnown();
const buttons = /** @type {HTMLButtonElement[]} */ ([...document.querySelectorAll("button.row")]);
const player = new Player(known.rate_hz, known.seconds);
const line = new PassageLine(one(document, ".passage"), player);

/** @param {number} row played, or silenced if it was playing */
function choose(row) {
  if (row >= buttons.length) return;
  if (player.row === row) {
    player.stop();
    say("silent");
    return;
  }
  if (player.owner !== known) {
    player.load(known, known.files.map((/** @type {string} */ file) => () => carried(file)));
  }
  say(`${one(buttons[row], ".name").textContent} is playing`);
  player.play(row).catch(() => {
    player.stop();
    say("");
    const trouble = "The music in this file cannot be decoded here; play the WAV files beside it.";
    write(document, ".trouble[role=alert]", trouble);
  });
}

player.changed = () => {
  buttons.forEach((button, n) => {
    const playing = player.row === n;
    button.setAttribute("aria-pressed", String(playing));
    write(button, ".playing", playing ? "playing" : "");
  });
  line.show();
};
buttons.forEach((button, n) => button.addEventListener("click", () => choose(n)));

document.addEventListener("keydown", (event) => {
  if (event.target instanceof HTMLInputElement) return;
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  if (event.key === "0" || event.key === "Escape") player.stop();
  else if (/^[1-9]$/.test(event.key)) choose(Number(event.key) - 1);
});
player.changed();
