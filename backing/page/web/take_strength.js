// How strong the harmonics of a pitch are, every 4 ms: by that a note struck again is heard.

import { fourier } from "./pitch_net.js";

/** Samples between two frames, at 16 kHz, and in one. */
export const FINE_HOP = 64;
const WINDOW = 512;
/** Bins that are kept: up to 4 kHz. */
const BINS = 130;
const HARMONICS = 8;
const RATE = 16000;
const transform = fourier(WINDOW);

/**
 * A frame: the power of its bins, and how loud it is in dB below full scale.
 * @typedef {{power: Float32Array, db: number}} Frame
 */

/** Frames out of sound that comes piece by piece. */
export class StrengthStream {
  constructor() {
    this.samples = new Float32Array(WINDOW / 2);
  }

  /**
   * The frames that are known by these samples, or all there are where the sound has ended.
   * @param {Float32Array} samples
   * @returns {Frame[]}
   */
  add(samples, ended = false) {
    const all = new Float32Array(this.samples.length + samples.length);
    all.set(this.samples);
    all.set(samples, this.samples.length);
    const left = all.length - WINDOW / 2 - (ended ? 0 : WINDOW / 2);
    const count = Math.max(0, Math.floor(left / FINE_HOP));
    this.samples = all.slice(count * FINE_HOP);
    return Array.from({ length: count }, (_, at) => frameOf(all, at * FINE_HOP));
  }
}

/** @param {Float32Array} samples @param {number} start @returns {Frame} */
function frameOf(samples, start) {
  const power = new Float32Array(BINS);
  const found = transform(samples, start);
  for (let bin = 0; bin < BINS; bin += 1) power[bin] = found[bin] * found[bin] + 1e-7;
  let sum = 0;
  for (let at = start; at < start + WINDOW; at += 1) sum += (samples[at] || 0) ** 2;
  return { power, db: 10 * Math.log10(Math.max(sum / WINDOW, 1e-14)) };
}

/**
 * The strength of the harmonics of a pitch (MIDI) in dB, frame by frame; the bins next to a harmonic
 * belong to it, for a finger that moves doesn't leave them.
 * @param {Frame[]} frames
 * @param {number} pitch
 */
export function harmonicDb(frames, pitch) {
  const base = apartBins(pitch);
  const bins = new Set();
  for (let number = 1; number <= HARMONICS; number += 1) {
    for (const side of [-1, 0, 1]) bins.add(Math.round(base * number) + side);
  }
  const inside = [...bins].filter((bin) => bin > 0 && bin < BINS);
  return Float64Array.from(frames, ({ power }) => {
    let sum = 1e-9;
    for (const bin of inside) sum += power[bin];
    return 10 * Math.log10(sum);
  });
}

/**
 * The strength in dB of the odd harmonics of a pitch (MIDI) beside that of the even ones, and that of
 * the even ones, frame by frame.
 * @param {Frame[]} frames
 * @param {number} pitch
 */
export function fadingDb(frames, pitch) {
  const [odd, even] = [1, 2].map((first) => frames.map((frame) => everyOther(frame, pitch, first)));
  return { fading: odd.map((strength, at) => strength - even[at]), even };
}

/** The strength of every other harmonic in dB, of which each is the strongest bin near its place.
 * @param {Frame} frame @param {number} pitch @param {number} first */
function everyOther({ power }, pitch, first) {
  let sum = 1e-9;
  for (let number = first; number <= HARMONICS; number += 2) {
    const middle = Math.round(apartBins(pitch) * number);
    sum += power.subarray(middle - 1, middle + 2).reduce((most, each) => Math.max(most, each), 0);
  }
  return 10 * Math.log10(sum);
}

/** How many bins lie between two harmonics of a pitch. @param {number} pitch */
export function apartBins(pitch) {
  return (hertz(pitch) * WINDOW) / RATE;
}

/**
 * The part of a frame's strength that lies in the harmonics of one pitch.
 * @param {Frame} frame
 * @param {number} pitch
 */
export function aloneIn({ power }, pitch) {
  const width = RATE / WINDOW;
  const [low, high] = [Math.floor(80 / width), Math.floor(3000 / width)];
  let total = 1e-9;
  for (let bin = low; bin < high; bin += 1) total += power[bin];
  /** @type {Set<number>} */
  const mine = new Set();
  for (let number = 1; number < 4 * HARMONICS; number += 1) {
    const middle = Math.round((hertz(pitch) * number) / width);
    for (const bin of [middle - 1, middle, middle + 1]) if (bin >= low && bin < high) mine.add(bin);
  }
  return [...mine].reduce((sum, bin) => sum + power[bin], 0) / total;
}

/** @param {number} pitch */
function hertz(pitch) {
  return 440 * 2 ** ((pitch - 69) / 12);
}
