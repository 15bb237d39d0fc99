// Figures of lists of numbers, and numbers in words, as the tracks' program has them.

/** @param {number[]} values */
export function median(values) {
  const ordered = [...values].sort((a, b) => a - b);
  const half = ordered.length >> 1;
  return ordered.length % 2 ? ordered[half] : (ordered[half - 1] + ordered[half]) / 2;
}

/**
 * @param {ArrayLike<number>} values
 * @param {number} percent
 */
export function percentile(values, percent) {
  const ordered = Float64Array.from(values).sort();
  const place = ((ordered.length - 1) * percent) / 100;
  const low = Math.floor(place);
  const high = Math.min(low + 1, ordered.length - 1);
  return ordered[low] + (ordered[high] - ordered[low]) * (place - low);
}

/** @param {number[]} values */
export function mean(values) {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

/**
 * A number with so many places; from half-way the even one.
 * @param {number} value
 */
export function fixed(value, places = 0) {
  const scale = 10 ** places;
  const near = Math.round(value * scale);
  const half = near - value * scale === 0.5 && near % 2 !== 0;
  return ((half ? near - 1 : near) / scale).toFixed(places);
}

/** @param {number} share */
export function percent(share) {
  return `${fixed(share * 100)}%`;
}

/**
 * A sentence of the table with its gaps filled.
 * @param {string} sentence
 * @param {Record<string, string | number>} words
 */
export function filled(sentence, words) {
  return sentence.replace(/\{(\w+)\}/g, (_, name) => String(words[name]));
}

/** @param {number} pitch */
export function pitchClass(pitch) {
  return ((pitch % 12) + 12) % 12;
}
