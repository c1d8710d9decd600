// Sighted listening: every button plays one file of one passage; switching keeps the place.
// Joined behind the listening page's own player and passage line.

const known = JSON.parse(document.getElementById("known")?.textContent ?? "");
const buttons = /** @type {HTMLButtonElement[]} */ ([...document.querySelectorAll("button.row")]);
const player = new Player(known.rate_hz, known.seconds);
const line = new PassageLine(one(document, ".passage"), player);

/**
 * @param {string} file
 * @returns {ArrayBuffer} FLAC
 */
function musicOf(file) {
  const text = one(document, `[data-file="${CSS.escape(file)}"]`).textContent ?? "";
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
}

/** @param {number} row played, or silenced if it was playing */
function choose(row) {
  if (row >= buttons.length) return;
  if (player.row === row) {
    player.stop();
    say("silent");
    return;
  }
  if (player.owner !== known) {
    player.load(known, known.files.map((/** @type {string} */ file) => () => musicOf(file)));
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
