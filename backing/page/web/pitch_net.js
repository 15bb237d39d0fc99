// The pitch of one line, by the network that the tracks' program uses too (swift-f0; Nieradzik 2025,
// arXiv 2508.18440; MIT): three spectrograms in 128 bands, convolutions over bands and frames, the
// likeliest of 95 pitches and how surely there is one.

import { PITCH_WEIGHTS } from "./pitch_weights.js";

export const PITCH_RATE = 16000;
export const PITCH_HOP = 256;
/** The samples after its first by which a frame is known: half a window, and a frame for each of
 * seven layers. */
export const PITCH_LATE = 2816;

const BANDS = 128;
const WINDOWS = [1024, 2048, 512];
const LONGEST = 2048;
const LOWEST = 46.875;
const HIGHEST = 2093.75;
const PITCHES = 95;
const FLOOR = 1e-8;
/** What is quieter than this has no pitch. */
const SILENT = 1e-3;

/**
 * A convolution: channels out and in, its size over bands and frames, the step between its bands,
 * how many bands of zeros stand before the first and after the last.
 * @typedef {{ out: number, into: number, high: number, wide: number, step: number, above: number,
 *   below: number, weights: Float32Array, biases: Float32Array }} Layer
 * @typedef {{ first: Float32Array, count: Float32Array, weights: Float32Array }} Filter
 * @typedef {(samples: Float32Array, start: number) => Float64Array} Transform
 * @typedef {{ filters: Filter[], transforms: Transform[], layers: Layer[] }} Network
 * @typedef {{ data: Float32Array, channels: number, bands: number, frames: number }} Tensor
 */

/** Out, in, bands, frames, step between bands, zeros above and below. */
const LAYERS = [
  [12, 3, 3, 3, 1, 1, 1],
  [12, 12, 7, 3, 1, 3, 3],
  [12, 12, 7, 3, 1, 3, 3],
  [12, 12, 7, 1, 17, 51, 51],
  [12, 12, 7, 1, 17, 51, 51],
  [12, 12, 5, 1, 27, 54, 54],
  [12, 12, 5, 1, 27, 54, 54],
  [12, 12, 3, 1, 40, 40, 40],
  [12, 12, 3, 1, 40, 40, 40],
  [12, 12, 3, 1, 48, 48, 48],
  [12, 12, 3, 1, 48, 48, 48],
  [12, 12, 7, 3, 2, 6, 6],
  [12, 12, 7, 3, 2, 6, 6],
  [4, 12, 3, 3, 1, 1, 0],
  [4, 4, 5, 1, 1, 2, 2],
  [1, 4, 1, 1, 1, 0, 0],
  [16, 5, 1, 3, 1, 0, 0],
  [1, 16, 1, 1, 1, 0, 0],
];
/** Pairs of layers around which the sound also goes straight on. */
const PAIRS = [1, 3, 5, 7, 9, 11];
const HEARD_BANDS = 96;

/** The network, its weights unpacked. @returns {Network} */
export function pitchNetwork() {
  const bytes = Uint8Array.from(atob(PITCH_WEIGHTS), (sign) => sign.charCodeAt(0));
  const blob = new Float32Array(bytes.buffer);
  let at = 0;
  const take = (/** @type {number} */ size) => blob.subarray(at, (at += size));
  const filters = WINDOWS.map(() => {
    const first = take(BANDS);
    const count = take(BANDS);
    return { first, count, weights: take(count.reduce((sum, each) => sum + each, 0)) };
  });
  const layers = LAYERS.map(([out, into, high, wide, step, above, below]) => ({
    out, into, high, wide, step, above, below,
    weights: take(out * into * high * wide),
    biases: take(out),
  }));
  return { filters, transforms: WINDOWS.map(fourier), layers };
}

/**
 * The pitch of sound that comes piece by piece. Every layer keeps the frames that its next ones need,
 * so that nothing is calculated twice.
 */
export class PitchStream {
  /** @param {Network} network */
  constructor(network) {
    this.network = network;
    this.stages = network.layers.map((layer) => new Stage(layer));
    this.straight = PAIRS.map(() => new Row());
    this.facts = new Row();
    this.scores = new Row();
    this.loud = new Row();
    this.started = false;
    /** What has not been heard, and half of the longest window before it. */
    this.samples = new Float32Array(LONGEST / 2);
  }

  /**
   * The frames of PITCH_HOP samples that are known by now, or all there are where the sound has
   * ended: pitches in Hz, and the confidence from 0 to 1; voiced from 0.5. A frame is known PITCH_LATE
   * samples after its first.
   * @param {Float32Array} samples  Mono, at PITCH_RATE.
   */
  add(samples, ended = false) {
    const all = new Float32Array(this.samples.length + samples.length);
    all.set(this.samples);
    all.set(samples, this.samples.length);
    const left = all.length - LONGEST / 2;
    const known = Math.max(0, Math.floor((left - LONGEST / 2) / PITCH_HOP) + 1);
    const frames = ended ? Math.max(this.started ? 0 : 1, Math.floor(left / PITCH_HOP)) : known;
    this.started ||= frames > 0;
    this.samples = all.slice(frames * PITCH_HOP);
    return this.#heard(spectrograms(this.network, all, frames), loudness(all, frames), ended);
  }

  /** @param {Tensor} seen @param {Tensor} loud @param {boolean} ended */
  #heard(seen, loud, ended) {
    const { stages } = this;
    let heard = rectified(stages[0].put(seen, ended));
    PAIRS.forEach((pair, at) => {
      const inner = stages[pair + 1].put(rectified(stages[pair].put(heard, ended)), ended);
      heard = rectified(added(inner, this.straight[at].put(heard, inner.frames)));
    });
    const narrow = rectified(stages[13].put(firstBands(heard, HEARD_BANDS), ended));
    const scores = stages[15].put(narrow, ended);
    const facts = summary(stages[14].put(narrow, ended), this.facts.put(means(seen), scores.frames));
    const voiced = stages[17].put(rectified(stages[16].put(facts, ended)), ended);
    const { frames } = voiced;
    const mine = this.scores.put(scores, frames);
    const sounds = this.loud.put(loud, frames);
    return {
      pitch: Float64Array.from({ length: frames }, (_, frame) => likeliest(mine, frame)),
      confidence: Float64Array.from(voiced.data, (value, frame) =>
        sounds.data[frame] >= SILENT ? 1 / (1 + Math.exp(-value)) : 0),
    };
  }
}

/** A layer, and the frames it has kept. */
class Stage {
  /** @param {Layer} layer */
  constructor(layer) {
    this.layer = layer;
    /** @type {Tensor | null} */
    this.kept = null;
  }

  /** @param {Tensor} input @param {boolean} ended  Nothing but silence follows. */
  put(input, ended) {
    if (this.layer.wide === 1) return convolved(this.layer, input);
    const { channels, bands } = input;
    const silence = tensor(channels, bands, 1);
    const parts = [this.kept ?? silence, input, ...(ended ? [silence] : [])];
    const all = parts.reduce(inRow);
    this.kept = part(all, Math.max(0, all.frames - 2), all.frames);
    return convolved(this.layer, all);
  }
}

/** Frames that wait for those that come later out of the layers beside them. */
class Row {
  constructor() {
    /** @type {Tensor | null} */
    this.waiting = null;
  }

  /** Add some frames, and take the first ones out. @param {Tensor} more @param {number} frames */
  put(more, frames) {
    const all = this.waiting ? inRow(this.waiting, more) : more;
    this.waiting = part(all, frames, all.frames);
    return part(all, 0, frames);
  }
}

/** @param {Tensor} one @param {Tensor} other @returns {Tensor} */
function inRow(one, other) {
  const { bands, channels } = one;
  const found = tensor(channels, bands, one.frames + other.frames);
  for (let channel = 0; channel < channels; channel++) {
    for (const [each, start] of /** @type {const} */ ([[one, 0], [other, one.frames]])) {
      const size = each.frames * bands;
      found.data.set(each.data.subarray(channel * size, (channel + 1) * size), (channel * found.frames + start) * bands);
    }
  }
  return found;
}

/** Frames `from` up to `to`. @param {Tensor} all @param {number} from @param {number} to */
function part(all, from, to) {
  const { bands, channels, frames } = all;
  const found = tensor(channels, bands, to - from);
  for (let channel = 0; channel < channels; channel++) {
    const start = channel * frames;
    found.data.set(all.data.subarray((start + from) * bands, (start + to) * bands), channel * (to - from) * bands);
  }
  return found;
}

/** The greatest sample of each frame. @param {Float32Array} samples @param {number} frames */
function loudness(samples, frames) {
  const found = tensor(1, 1, frames);
  for (let frame = 0; frame < frames; frame++) {
    const start = LONGEST / 2 + frame * PITCH_HOP;
    const end = Math.min(samples.length, start + PITCH_HOP);
    for (let at = start; at < end; at++) found.data[frame] = Math.max(found.data[frame], Math.abs(samples[at]));
  }
  return found;
}

/** An empty tensor, in which the bands of a frame stand side by side.
 * @param {number} channels @param {number} bands @param {number} frames @returns {Tensor} */
function tensor(channels, bands, frames) {
  return { data: new Float32Array(channels * bands * frames), channels, bands, frames };
}

/** The three spectrograms, as logarithms; the first frame begins half of the longest window from the
 * first sample. @param {Network} network @param {Float32Array} samples @param {number} frames */
function spectrograms(network, samples, frames) {
  const found = tensor(WINDOWS.length, BANDS, frames);
  WINDOWS.forEach((size, channel) => {
    for (let frame = 0; frame < frames; frame++) {
      const strengths = network.transforms[channel](samples, frame * PITCH_HOP + (LONGEST - size) / 2);
      banded(network.filters[channel], strengths, found.data, (channel * frames + frame) * BANDS);
    }
  });
  return found;
}

/** The strengths of bins as those of bands. @param {Filter} filter @param {Float64Array} strengths
 * @param {Float32Array} into @param {number} start */
function banded(filter, strengths, into, start) {
  let at = 0;
  for (let band = 0; band < BANDS; band++) {
    let sum = 0;
    for (let bin = 0; bin < filter.count[band]; bin++) {
      sum += filter.weights[at++] * strengths[filter.first[band] + bin];
    }
    into[start + band] = Math.log(sum + FLOOR);
  }
}

/**
 * The strengths of the bins of a windowed stretch of samples.
 * @param {number} size a power of two
 * @returns {Transform}
 */
export function fourier(size) {
  const turn = (2 * Math.PI) / size;
  const cosines = Float64Array.from({ length: size / 2 }, (_, n) => Math.cos(turn * n));
  const sines = Float64Array.from({ length: size / 2 }, (_, n) => -Math.sin(turn * n));
  const window = Float64Array.from({ length: size }, (_, n) => 0.5 - 0.5 * Math.cos(turn * n));
  const swapped = reversed(size);
  const real = new Float64Array(size);
  const imaginary = new Float64Array(size);
  const found = new Float64Array(size / 2 + 1);
  return (samples, start) => {
    for (let n = 0; n < size; n++) real[swapped[n]] = (samples[start + n] || 0) * window[n];
    imaginary.fill(0);
    butterflies(real, imaginary, cosines, sines);
    for (let bin = 0; bin <= size / 2; bin++) found[bin] = Math.hypot(real[bin], imaginary[bin]);
    return found;
  };
}

/** Where each sample goes before the butterflies: its place with its bits turned around.
 * @param {number} size */
function reversed(size) {
  const places = new Int32Array(size);
  for (let n = 1; n < size; n++) places[n] = (places[n >> 1] >> 1) | (n & 1 ? size >> 1 : 0);
  return places;
}

/** A Fourier transform in place (Cooley and Tukey). @param {Float64Array} real
 * @param {Float64Array} imaginary @param {Float64Array} cosines @param {Float64Array} sines */
function butterflies(real, imaginary, cosines, sines) {
  const size = real.length;
  for (let half = 1; half < size; half *= 2) {
    const step = size / (2 * half);
    for (let start = 0; start < size; start += 2 * half) {
      for (let n = 0; n < half; n++) {
        const one = start + n;
        const other = one + half;
        const c = cosines[n * step];
        const s = sines[n * step];
        const x = real[other] * c - imaginary[other] * s;
        const y = real[other] * s + imaginary[other] * c;
        real[other] = real[one] - x;
        imaginary[other] = imaginary[one] - y;
        real[one] += x;
        imaginary[one] += y;
      }
    }
  }
}

/** Of frames that have their neighbors. @param {Layer} layer @param {Tensor} input */
function convolved(layer, input) {
  const frames = Math.max(0, input.frames - layer.wide + 1);
  const row = layer.above + input.bands + layer.below;
  const source = padded(input, layer, row);
  const bands = row - (layer.high - 1) * layer.step;
  const found = tensor(layer.out, bands, frames);
  const taps = layer.into * layer.high * layer.wide;
  const offsets = tapOffsets(layer, input.frames * row, row);
  for (let out = 0; out < layer.out; out++) {
    const weights = layer.weights.subarray(out * taps, (out + 1) * taps);
    for (let frame = 0; frame < frames; frame++) {
      const start = (out * frames + frame) * bands;
      const target = found.data.subarray(start, start + bands).fill(layer.biases[out]);
      addTaps(target, source, frame * row, offsets, weights);
    }
  }
  return found;
}

/** The input with zeros around its bands. @param {Tensor} input @param {Layer} layer
 * @param {number} row bands with zeros */
function padded(input, layer, row) {
  const { bands, channels, data, frames } = input;
  const found = new Float32Array(channels * frames * row + 4);
  for (let channel = 0; channel < channels; channel++) {
    for (let frame = 0; frame < frames; frame++) {
      const from = (channel * frames + frame) * bands;
      const to = (channel * frames + frame) * row + layer.above;
      found.set(data.subarray(from, from + bands), to);
    }
  }
  return found;
}

/** Where the first value under each weight of a kernel lies, in the order of the weights.
 * @param {Layer} layer @param {number} channel values of a channel @param {number} row */
function tapOffsets(layer, channel, row) {
  const found = [];
  for (let into = 0; into < layer.into; into++) {
    for (let high = 0; high < layer.high; high++) {
      for (let wide = 0; wide < layer.wide; wide++) {
        found.push(into * channel + wide * row + high * layer.step);
      }
    }
  }
  return Int32Array.from(found);
}

/** Add weighted rows of the source to the target, four at a time: that is most of the work.
 * @param {Float32Array} target @param {Float32Array} source @param {number} start
 * @param {Int32Array} offsets @param {Float32Array} weights */
function addTaps(target, source, start, offsets, weights) {
  const bands = target.length;
  let tap = 0;
  for (; tap + 3 < weights.length; tap += 4) {
    const a = weights[tap];
    const b = weights[tap + 1];
    const c = weights[tap + 2];
    const d = weights[tap + 3];
    const i = start + offsets[tap];
    const j = start + offsets[tap + 1];
    const k = start + offsets[tap + 2];
    const l = start + offsets[tap + 3];
    for (let band = 0; band < bands; band++) {
      target[band] += a * source[i + band] + b * source[j + band] + c * source[k + band] + d * source[l + band];
    }
  }
  for (; tap < weights.length; tap++) {
    const from = start + offsets[tap];
    for (let band = 0; band < bands; band++) target[band] += weights[tap] * source[from + band];
  }
}

/** @param {Tensor} values */
function rectified(values) {
  const { data } = values;
  for (let at = 0; at < data.length; at++) if (data[at] < 0) data[at] = 0;
  return values;
}

/** @param {Tensor} values @param {Tensor} others */
function added(values, others) {
  for (let at = 0; at < values.data.length; at++) values.data[at] += others.data[at];
  return values;
}

/** @param {Tensor} input @param {number} bands */
function firstBands(input, bands) {
  const found = tensor(input.channels, bands, input.frames);
  for (let row = 0; row < input.channels * input.frames; row++) {
    found.data.set(input.data.subarray(row * input.bands, row * input.bands + bands), row * bands);
  }
  return found;
}

/** The mean of all that was seen in each frame. @param {Tensor} seen */
function means({ bands, channels, data, frames }) {
  const found = tensor(1, 1, frames);
  for (let row = 0; row < channels * frames; row++) {
    let sum = 0;
    for (let band = 0; band < bands; band++) sum += data[row * bands + band];
    found.data[row % frames] += sum / (bands * channels);
  }
  return found;
}

/** For each frame the greatest of each channel, and the mean of all that was seen.
 * @param {Tensor} input @param {Tensor} mean */
function summary(input, mean) {
  const { frames } = input;
  const found = tensor(input.channels + 1, 1, frames);
  for (let row = 0; row < input.channels * frames; row++) {
    const bands = input.data.subarray(row * input.bands, (row + 1) * input.bands);
    found.data[row] = bands.reduce((most, value) => Math.max(most, value), -Infinity);
  }
  found.data.set(mean.data, input.channels * frames);
  return found;
}

/** The likeliest pitch of a frame in Hz, between it and its neighbors. @param {Tensor} scores
 * @param {number} frame */
function likeliest(scores, frame) {
  const mine = scores.data.subarray(frame * PITCHES, (frame + 1) * PITCHES);
  let best = 0;
  for (let at = 1; at < PITCHES; at++) if (mine[at] > mine[best]) best = at;
  let total = 0;
  let sum = 0;
  for (let at = Math.max(0, best - 1); at <= Math.min(PITCHES - 1, best + 1); at++) {
    const weight = Math.exp(mine[at] - mine[best]);
    total += weight;
    sum += weight * (Math.log(LOWEST) + (Math.log(HIGHEST / LOWEST) * at) / (PITCHES - 1));
  }
  return Math.exp(sum / total);
}
