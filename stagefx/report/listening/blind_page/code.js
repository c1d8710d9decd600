// The reply code: what was drawn and what was replied, in base32 (RFC 4648), with a checksum.

import { sha256 } from "./sha256.js";

/**
 * @typedef {object} Reply
 * @property {string} pack 16 hexadecimal digits
 * @property {string} listener may be empty
 * @property {string} sitting 16 hexadecimal digits
 * @property {number[][]} trials of each trial the item and the draw, in the order of the replies
 * @property {number[][]} replies of each trial one number, or two grades in tenths
 */

const FORMAT = 1;
const CHECK_BYTES = 4;
const LONGEST_NAME_BYTES = 40;
const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";

/**
 * @param {Reply} reply
 * @returns {string} groups of four characters, joined by hyphens
 */
export function replyCode(reply) {
  return (base32(replyBytes(reply)).match(/.{1,4}/g) ?? []).join("-");
}

/**
 * @param {Reply} reply
 * @returns {string} JSON that holds exactly what the code holds
 */
export function replyFile(reply) {
  const check = replyBytes(reply).slice(-CHECK_BYTES);
  const { pack, listener, sitting } = reply;
  const replies = reply.replies.map((one) => (one.length === 1 ? one[0] : one));
  return JSON.stringify(
    { pack, listener, sitting, draws: reply.trials, replies, check: hex(check) },
    null,
    1,
  );
}

/**
 * @param {Reply} reply
 * @returns {Uint8Array}
 */
export function replyBytes(reply) {
  const name = new TextEncoder().encode(reply.listener);
  const body = Uint8Array.of(
    FORMAT,
    ...unhex(reply.pack),
    name.length,
    ...name,
    ...unhex(reply.sitting),
    reply.replies.length,
    ...reply.replies.flatMap((numbers, n) => [...reply.trials[n], ...numbers]),
  );
  return Uint8Array.of(...body, ...sha256(body).slice(0, CHECK_BYTES));
}

/**
 * A name as the code can hold it: one line, at most 40 bytes of UTF-8, no half characters.
 *
 * @param {string} typed
 * @returns {string}
 */
export function fittingName(typed) {
  const text = new TextDecoder().decode(new TextEncoder().encode(typed));
  const line = text.normalize("NFC").replace(/[\p{Cc}\p{Zl}\p{Zp}]+/gu, " ").trim();
  const letters = [...line];
  while (new TextEncoder().encode(letters.join("")).length > LONGEST_NAME_BYTES) letters.pop();
  return letters.join("").trim();
}

/**
 * @param {Uint8Array} bytes
 * @returns {string} without padding
 */
export function base32(bytes) {
  let text = "";
  let held = 0;
  let bits = 0;
  for (const byte of bytes) {
    held = ((held << 8) | byte) & 0xfff;
    for (bits += 8; bits >= 5; bits -= 5) text += LETTERS[(held >> (bits - 5)) & 31];
  }
  return bits > 0 ? text + LETTERS[(held << (5 - bits)) & 31] : text;
}

/**
 * @param {Uint8Array} bytes
 * @returns {string}
 */
export function hex(bytes) {
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/**
 * @param {string} digits
 * @returns {number[]}
 */
function unhex(digits) {
  return (digits.match(/../g) ?? []).map((pair) => Number.parseInt(pair, 16));
}
