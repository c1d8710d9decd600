// One question at a time.

import { copyOf, one, say, show, write } from "../../page/dom.js";
import { Grade } from "./grades.js";
import { PassageLine } from "../../page/passage_line.js";
import { PROTOCOLS } from "./protocols.js";
import { Rows } from "./rows.js";
import { scoredItems } from "./sitting.js";

/** @typedef {import("./main.js").Page} Page */
/** @typedef {import("./sitting.js").Sitting} Sitting */

const TOP_GRADE = 50;

/**
 * @typedef {object} Form how a reply is given
 * @property {() => number[] | null} reply null until there is one
 * @property {string} lacks what to do first
 * @property {(place: number) => void} choose by its number key
 */

/**
 * @param {Page} page
 * @param {Sitting} sitting
 * @param {(reply: number[]) => void} keep
 */
export function showTrial(page, sitting, keep) {
  const [number, draw] = sitting.trials[sitting.replies.length];
  const protocol = PROTOCOLS[page.pack.protocol];
  const rows = protocol.rows(scoredItems(page.pack)[number], draw);
  const screen = copyOf("trial-screen");
  const trial = `Trial ${sitting.replies.length + 1} of ${sitting.trials.length}.`;
  write(screen, "h1", `${trial} ${protocol.asks}`);
  const list = new Rows(one(screen, ".rows"), page.player, rows, { keys: true });
  const passage = new PassageLine(one(screen, ".passage"), page.player);
  const graded = protocol.replies.length === 0;
  one(screen, ".reminder").hidden = !graded;
  const form = graded
    ? gradeForm(list)
    : choiceForm(one(screen, ".replies"), protocol.replies, rows.length);
  page.player.changed = () => {
    list.show();
    passage.show();
  };
  one(screen, "form").addEventListener("submit", (event) => {
    event.preventDefault();
    const reply = form.reply();
    if (reply) keep(reply);
    else write(document, ".trouble", form.lacks);
  });
  page.pressed = (key) => {
    if (key < rows.length) list.choose(key);
    else form.choose(key - rows.length);
  };
  list.load();
  show(screen);
  say("");
  page.player.changed();
}

/**
 * @param {HTMLElement} place
 * @param {string[]} replies
 * @param {number} rows whose number keys come before
 * @returns {Form}
 */
function choiceForm(place, replies, rows) {
  place.append(copyOf("choices"));
  const buttons = replies.map((words, n) => {
    const copy = copyOf("choice");
    /** @type {HTMLInputElement} */
    const button = one(copy, "input");
    button.value = String(n);
    button.setAttribute("aria-keyshortcuts", String(rows + n + 1));
    button.addEventListener("change", () => write(document, ".trouble", ""));
    write(copy, ".key", String(rows + n + 1));
    write(copy, ".words", words);
    one(place, "fieldset").append(copy);
    return button;
  });
  return {
    lacks: "Choose a reply first.",
    reply: () => {
      const chosen = buttons.findIndex((button) => button.checked);
      return chosen < 0 ? null : [chosen];
    },
    choose: (n) => {
      if (!(n in buttons)) return;
      buttons[n].checked = true;
      buttons[n].focus();
      write(document, ".trouble", "");
    },
  };
}

/**
 * A grade under each row but the reference's.
 *
 * @param {Rows} list
 * @returns {Form}
 */
function gradeForm(list) {
  const grades = list.rows.slice(1).map(({ name }, n) => new Grade(list.places[n + 1], name));
  return {
    lacks: "Leave exactly one of the two at 5.0, the one that you take for the reference.",
    reply: () => {
      const tenths = grades.map((grade) => grade.tenths);
      return tenths.filter((grade) => grade === TOP_GRADE).length === 1 ? tenths : null;
    },
    choose: () => {},
  };
}
