// A passage that repeats: its end runs into its own beginning without a click.

export const FADE_SECONDS = 0.006;

/**
 * Equal-power weights of what fades out and what fades in.  Where the two are alike their sum would
 * swell; so the weights are divided by what makes the sum's power constant at that likeness.
 *
 * @param {number} done 0 to 1
 * @param {number} likeness correlation of the two, 0 to 1
 * @returns {[number, number]}
 */
export function fadeWeights(done, likeness) {
  const out = Math.cos((done * Math.PI) / 2);
  const into = Math.sin((done * Math.PI) / 2);
  const power = Math.sqrt(1 + 2 * likeness * out * into);
  return [out / power, into / power];
}

/**
 * @param {AudioBuffer} first
 * @param {AudioBuffer} second as long as the first
 * @returns {number} correlation, 0 where it is negative or nothing is there
 */
export function likeness(first, second) {
  let both = 0;
  let one = 0;
  let other = 0;
  for (let channel = 0; channel < first.numberOfChannels; channel += 1) {
    const x = first.getChannelData(channel);
    const y = second.getChannelData(channel);
    for (let n = 0; n < x.length; n += 1) {
      both += x[n] * y[n];
      one += x[n] * x[n];
      other += y[n] * y[n];
    }
  }
  return Math.min(1, Math.max(0, both / Math.sqrt(one * other) || 0));
}

/**
 * The passage as a buffer that can go round: what comes before its beginning is faded in under its
 * end.  Where nothing comes before, the end fades to silence and the beginning rises from it.
 *
 * @param {BaseAudioContext} context
 * @param {AudioBuffer} music
 * @param {number} begin first frame
 * @param {number} finish frame after the last
 * @returns {AudioBuffer}
 */
export function loopOf(context, music, begin, finish) {
  const length = finish - begin;
  const loop = context.createBuffer(music.numberOfChannels, length, music.sampleRate);
  const fade = Math.min(Math.round(FADE_SECONDS * music.sampleRate), length >> 1);
  for (let channel = 0; channel < music.numberOfChannels; channel += 1) {
    const from = music.getChannelData(channel);
    const to = loop.getChannelData(channel);
    to.set(from.subarray(begin, finish));
    for (let n = 0; n < fade; n += 1) {
      const [out, into] = fadeWeights((n + 1) / fade, 0);
      const before = begin < fade ? 0 : from[begin - fade + n];
      to[length - fade + n] = out * from[finish - fade + n] + into * before;
      if (begin < fade) to[n] *= into;
    }
  }
  return loop;
}
