// The end: the code, to be copied or saved.

import { replyCode, replyFile } from "./code.js";
import { copyOf, one, show, write } from "../../page/dom.js";

/** @typedef {import("./main.js").Page} Page */
/** @typedef {import("./sitting.js").Sitting} Sitting */

/**
 * @param {Page} page
 * @param {Sitting} sitting
 * @param {() => void} forget
 */
export function showEnd(page, sitting, forget) {
  const screen = copyOf("end-screen");
  const reply = replyFile(sitting);
  const code = one(screen, "#code");
  for (const group of replyCode(sitting).split("-")) {
    const copy = copyOf("group");
    write(copy, "span", group);
    if (code.childElementCount > 0) code.append("-", document.createElement("wbr"));
    code.append(copy);
  }
  write(screen, ".seal", page.pack.commitment);
  write(screen, ".pack", page.pack.pack);
  one(screen, ".copy").addEventListener("click", async () => {
    const done = (await copied(replyCode(sitting))) || selectedAndCopied(code);
    write(
      document,
      ".outcome",
      done ? "Copied." : "The browser does not let the page copy. Select the code and copy it.",
    );
  });
  one(screen, ".save").addEventListener("click", () => {
    save(`reply-${sitting.pack}-${sitting.sitting.slice(0, 4)}.json`, reply);
    write(document, ".outcome", "Saved where your browser puts downloads.");
  });
  askedTwice(screen, forget);
  show(screen);
}

/**
 * @param {ParentNode} screen with a button that cannot be taken back
 * @param {() => void} act
 */
export function askedTwice(screen, act) {
  const first = one(screen, ".another");
  const second = one(screen, ".sure");
  first.addEventListener("click", () => {
    first.hidden = true;
    second.hidden = false;
    second.focus();
  });
  second.addEventListener("click", act);
}

/**
 * @param {string} text
 * @returns {Promise<boolean>}
 */
async function copied(text) {
  try {
    await navigator.clipboard.writeText(text);
    return true;
  } catch {
    return false;
  }
}

/**
 * @param {HTMLElement} code
 * @returns {boolean}
 */
function selectedAndCopied(code) {
  window.getSelection()?.selectAllChildren(code);
  return document.execCommand("copy");
}

/**
 * @param {string} name
 * @param {string} text
 */
function save(name, text) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
