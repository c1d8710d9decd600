// The page's players: a two-word switch between the versions, and the difference by itself.

import { carried } from "../page/carried.js";
import { Player } from "../page/player.js";

/** @type {{ player: Player, silence: () => void }[]} */
const players = [];

for (const place of document.querySelectorAll("[data-player]")) {
  const holder = /** @type {HTMLElement} */ (place);
  const names = (holder.dataset.player ?? "").split(" ");
  const player = new Player(Number(holder.dataset.rate), Number(holder.dataset.seconds));
  const buttons = [...holder.querySelectorAll("button[data-row]")];
  const stop = /** @type {HTMLButtonElement} */ (holder.querySelector("button.stop"));
  const trouble = /** @type {HTMLElement} */ (holder.querySelector(".trouble"));
  player.changed = () => {
    for (const [row, button] of buttons.entries()) {
      button.setAttribute("aria-pressed", String(row === player.row));
    }
    stop.disabled = player.row < 0;
  };
  const entry = { player, silence: () => player.stop() };
  players.push(entry);
  for (const [row, button] of buttons.entries()) {
    button.addEventListener("click", async () => {
      for (const other of players) if (other !== entry) other.silence();
      if (!player.owner) player.load(holder, names.map((name) => () => carried(name)));
      try {
        await player.play(row);
      } catch {
        player.stop();
        trouble.textContent = "This browser cannot play it.";
      }
    });
  }
  stop.addEventListener("click", () => player.stop());
  holder.hidden = false;
  player.changed();
}
