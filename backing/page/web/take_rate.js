// Sound at another rate, as it comes: a windowed sinc, in as many phases as the two rates have.

/** Zeros of the sinc on each side. */
const ZEROS = 16;

export class Resampler {
  /**
   * @param {number} from  In Hz, whole.
   * @param {number} to
   */
  constructor(from, to) {
    const shared = divisor(from, to);
    this.up = to / shared;
    this.down = from / shared;
    const widen = Math.max(1, from / to);
    this.half = Math.ceil(ZEROS * widen);
    this.phases = Array.from({ length: this.up }, (_, phase) => kernel(phase / this.up, this.half, widen));
    /** The next sample out, in steps of one over `up` after the first sample kept. */
    this.place = this.half * this.up;
    this.kept = new Float32Array(this.half);
  }

  /** The samples that are known by these ones. @param {Float32Array} samples */
  add(samples) {
    const all = new Float32Array(this.kept.length + samples.length);
    all.set(this.kept);
    all.set(samples, this.kept.length);
    const until = (all.length - this.half) * this.up;
    const found = new Float32Array(Math.max(0, Math.ceil((until - this.place) / this.down)));
    for (let at = 0; at < found.length; at += 1, this.place += this.down) {
      const taps = this.phases[this.place % this.up];
      const first = Math.floor(this.place / this.up) - this.half + 1;
      let sum = 0;
      for (let tap = 0; tap < taps.length; tap += 1) sum += taps[tap] * all[first + tap];
      found[at] = sum;
    }
    const past = Math.max(0, Math.floor(this.place / this.up) - this.half);
    this.kept = all.slice(past);
    this.place -= past * this.up;
    return found;
  }
}

/** The weights of the samples around a place between two of them. @param {number} part
 * @param {number} half @param {number} widen */
function kernel(part, half, widen) {
  const taps = Float32Array.from({ length: 2 * half }, (_, tap) => {
    const x = (tap - half + 1 - part) / widen;
    const window = Math.abs(x) < ZEROS ? 0.5 + 0.5 * Math.cos((Math.PI * x) / ZEROS) : 0;
    return (window * (x === 0 ? 1 : Math.sin(Math.PI * x) / (Math.PI * x))) / widen;
  });
  const sum = taps.reduce((total, tap) => total + tap, 0);
  return taps.map((tap) => tap / sum);
}

/** @param {number} a @param {number} b @returns {number} */
function divisor(a, b) {
  return b === 0 ? a : divisor(b, a % b);
}
