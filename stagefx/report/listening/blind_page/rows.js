// Rows in words, one below the other: each plays one version.  All look and weigh the same.

import { carried } from "../../page/carried.js";
import { copyOf, one, say, write } from "../../page/dom.js";

/** @typedef {import("./protocols.js").Row} Row */
/** @typedef {import("../../page/player.js").Player} Player */

export class Rows {
  /**
   * @param {HTMLElement} list where they go
   * @param {Player} player
   * @param {Row[]} rows
   * @param {{keys: boolean}} options whether number keys play them
   */
  constructor(list, player, rows, { keys }) {
    this.player = player;
    this.rows = rows;
    /** @type {HTMLElement[]} */
    this.places = [];
    this.buttons = rows.map((row, n) => {
      const copy = copyOf("row");
      const button = /** @type {HTMLButtonElement} */ (one(copy, "button"));
      write(copy, ".name", row.name);
      write(copy, ".says", row.says && `, ${row.says}`);
      if (keys) {
        write(copy, ".key", String(n + 1));
        button.setAttribute("aria-keyshortcuts", String(n + 1));
      } else one(copy, ".key").remove();
      button.addEventListener("click", () => this.choose(n));
      this.places.push(one(copy, "li"));
      list.append(copy);
      return button;
    });
  }

  /** Get the music ready. */
  load() {
    this.player.load(
      this,
      this.rows.map((row) => () => carried(row.file)),
    );
  }

  /** @param {number} row played, or silenced if it was playing */
  choose(row) {
    if (this.player.owner !== this) this.load();
    if (this.player.row === row) {
      this.player.stop();
      say("silent");
      return;
    }
    say(`${this.rows[row].name} is playing`);
    this.player.play(row).catch(() => {
      this.player.stop();
      say("");
      const main = one(document, "main");
      write(main, ".trouble", "The music in this file cannot be decoded. Get the file once more.");
    });
  }

  show() {
    this.buttons.forEach((button, n) => {
      const playing = this.player.owner === this && this.player.row === n;
      button.setAttribute("aria-pressed", String(playing));
      write(button, ".playing", playing ? "playing" : "");
    });
  }
}
