// SHA-256 (FIPS 180-4), written out because a page opened from disk is refused the browser's own.

const ROUNDS = Uint32Array.of(
  0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
  0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
  0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
  0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
  0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
  0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
  0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
  0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2,
);

const START = Uint32Array.of(
  0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19,
);

const BLOCK = 64;

/**
 * @param {Uint8Array} bytes
 * @returns {Uint8Array} 32 bytes
 */
export function sha256(bytes) {
  const state = START.slice();
  const padded = paddedWords(bytes);
  const schedule = new Uint32Array(64);
  for (let at = 0; at < padded.byteLength; at += BLOCK) {
    for (let t = 0; t < 16; t += 1) schedule[t] = padded.getUint32(at + 4 * t);
    takeBlock(state, schedule);
  }
  const digest = new DataView(new ArrayBuffer(32));
  state.forEach((word, n) => digest.setUint32(4 * n, word));
  return new Uint8Array(digest.buffer);
}

/**
 * The message, a single 1 bit, zeros, and the length in bits.
 *
 * @param {Uint8Array} bytes
 * @returns {DataView}
 */
function paddedWords(bytes) {
  const size = Math.ceil((bytes.length + 9) / BLOCK) * BLOCK;
  const padded = new Uint8Array(size);
  padded.set(bytes);
  padded[bytes.length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(size - 8, Math.floor(bytes.length / 2 ** 29));
  view.setUint32(size - 4, bytes.length << 3);
  return view;
}

/**
 * @param {Uint32Array} state changed in place
 * @param {Uint32Array} w the first 16 words of the schedule; the others are worked out here
 */
function takeBlock(state, w) {
  for (let t = 16; t < 64; t += 1) {
    const s0 = turned(w[t - 15], 7) ^ turned(w[t - 15], 18) ^ (w[t - 15] >>> 3);
    const s1 = turned(w[t - 2], 17) ^ turned(w[t - 2], 19) ^ (w[t - 2] >>> 10);
    w[t] = w[t - 16] + s0 + w[t - 7] + s1;
  }
  let [a, b, c, d, e, f, g, h] = state;
  for (let t = 0; t < 64; t += 1) {
    const s1 = turned(e, 6) ^ turned(e, 11) ^ turned(e, 25);
    const first = (h + s1 + ((e & f) ^ (~e & g)) + ROUNDS[t] + w[t]) | 0;
    const s0 = turned(a, 2) ^ turned(a, 13) ^ turned(a, 22);
    const second = (s0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
    [h, g, f, e, d, c, b, a] = [g, f, e, (d + first) | 0, c, b, a, (first + second) | 0];
  }
  [a, b, c, d, e, f, g, h].forEach((word, n) => {
    state[n] += word;
  });
}

/**
 * @param {number} word
 * @param {number} bits
 * @returns {number} the word turned to the right
 */
function turned(word, bits) {
  return (word >>> bits) | (word << (32 - bits));
}
