// Sound as it comes in, sample by sample: the latest two thirds of a second are looked at again and
// again, and what is new in them is handed on. A worklet would need its script from somewhere, which a
// page from a disk can't have; and this one loses nothing while the page is busy.

import { median } from "./take_figures.js";

const SIZE = 32768;
const EVERY_MS = 20;
/** Samples by which the old is found in the new, and how far from where the clock has it. */
const TAIL = 256;
const REACH = 8192;

export class Tap {
  /**
   * @param {AudioNode} source
   * @param {(start: number, sound: Float32Array) => void} hand  Told of new samples, and the number of
   *   the first one by the audio clock.
   */
  constructor(source, hand) {
    this.context = source.context;
    this.source = source;
    this.hand = hand;
    this.analyser = new AnalyserNode(this.context, { fftSize: SIZE });
    source.connect(this.analyser);
    this.seen = new Float32Array(SIZE);
    this.tail = new Float32Array(0);
    this.end = Math.round(this.context.currentTime * this.context.sampleRate);
    /** @type {number[]} By how many samples the clock was ahead of what had been seen, at each look. */
    this.ahead = [];
    this.timer = setInterval(() => this.look(), EVERY_MS);
  }

  /** Hand on what is new. */
  look() {
    const now = Math.round(this.context.currentTime * this.context.sampleRate);
    this.analyser.getFloatTimeDomainData(this.seen);
    const guess = now - this.end;
    if (guess <= 0) return;
    const fresh = freshOf(this.seen, this.tail, guess);
    if (fresh === 0) return;
    const count = Math.min(fresh, SIZE);
    this.end += fresh;
    this.ahead.push(now - this.end);
    const sound = this.seen.slice(SIZE - count);
    this.tail = this.seen.slice(SIZE - TAIL);
    this.hand(this.end - count, sound);
  }

  /** By how many seconds samples are later than their numbers say: the clock goes by blocks, of which
   * the first look met any moment. */
  get shift() {
    return this.ahead.length > 0 ? median(this.ahead) / this.context.sampleRate : 0;
  }

  stop() {
    clearInterval(this.timer);
    this.look();
    this.source.disconnect();
  }
}

/**
 * How many samples have come since the tail of what was seen before, about as many as were guessed.
 * @param {Float32Array} seen
 * @param {Float32Array} tail
 * @param {number} guess
 */
export function freshOf(seen, tail, guess) {
  const still = tail.every((value) => value === tail[0]);
  if (tail.length === 0 || still) return guess;
  for (let away = 0; away <= REACH; away += 1) {
    for (const fresh of away === 0 ? [guess] : [guess - away, guess + away]) {
      const first = seen.length - fresh - tail.length;
      if (fresh >= 0 && first >= 0 && tail.every((value, at) => value === seen[first + at])) return fresh;
    }
  }
  return guess;
}
