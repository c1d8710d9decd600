// Chance from the operating system: nothing else in the page is drawn from anything else.

/**
 * A whole number from 0 to limit - 1, each as likely as the others.
 *
 * @param {number} limit at most 256
 * @returns {number}
 */
export function below(limit) {
  const fair = 256 - (256 % limit); // beyond it some numbers would come up more often
  const byte = new Uint8Array(1);
  do crypto.getRandomValues(byte);
  while (byte[0] >= fair);
  return byte[0] % limit;
}

/**
 * @param {number} count
 * @returns {Uint8Array}
 */
export function randomBytes(count) {
  return crypto.getRandomValues(new Uint8Array(count));
}
