// What the page carries inside itself: its music, and what it knows.

import { one } from "./dom.js";

/**
 * A plain loop: a callback for each letter would take a second on a phone.
 *
 * @param {string} file
 * @returns {ArrayBuffer} a file that lies in the page, made anew each time
 */
export function carried(file) {
  const letters = atob(one(document, `script[data-file="${CSS.escape(file)}"]`).textContent ?? "");
  const bytes = new Uint8Array(letters.length);
  for (let n = 0; n < letters.length; n += 1) bytes[n] = letters.charCodeAt(n);
  return bytes.buffer;
}

/** @returns {any} what the page was told when it was made */
export function readKnown() {
  return JSON.parse(one(document, "#known").textContent ?? "");
}
