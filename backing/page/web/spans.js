// Which chord sounds where, and which one comes next.

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").SpanRow} SpanRow
 */

/** Whether a bar is the short one before bar 1. @param {{label: string}} bar */
export function isPickup(bar) {
  return bar.label === "0";
}

export class Spans {
  /** @param {PageData} data */
  constructor(data) {
    this.data = data;
    let [sounding, led] = [0, 0];
    /** For each span, its number among those that have a chord (shapes count so). */
    this.numbers = data.spans.map(([, , , chord]) => (chord < 0 ? -1 : sounding++));
    /** The same without those of a pickup, to which no guide tones are played. */
    this.led = data.spans.map(([bar, , , chord]) => (chord < 0 || isPickup(data.bars[bar]) ? -1 : led++));
  }

  /**
   * The index of the span that sounds at a beat of a bar.
   * @param {number} bar
   * @param {number} beat
   */
  at(bar, beat) {
    const tick = beat * this.data.ticks;
    const found = this.data.spans.findLastIndex(
      ([b, onset]) => b < bar || (b === bar && onset <= tick),
    );
    return found < 0 ? this.data.spans.length - 1 : found;
  }

  /**
   * The span that follows one that sounds in a bar, in a loop of bars; outside it, as it is written.
   * @param {number} index
   * @param {number} bar
   * @param {number[]} loop
   */
  after(index, bar, loop) {
    const next = index + 1;
    const to = this.data.spans[next]?.[0] ?? Infinity;
    const at = loop.indexOf(bar);
    if (at < 0) return to === Infinity || to === this.data.chorus ? 0 : next;
    if (loop[at + to - bar] === to) return next;
    return this.at(loop[(this.#leap(loop, at) + 1) % loop.length], 0);
  }

  /** The place in a loop after which it does not go on as the tune does. @param {number[]} loop @param {number} at */
  #leap(loop, at) {
    let last = at;
    while (loop[last + 1] === loop[last] + 1) last += 1;
    return last;
  }

  /**
   * Beats from a place in the tune to the end of a span that sounds there, or to where the loop leaps.
   * @param {number} index
   * @param {number} bar
   * @param {number} beat
   * @param {number[]} loop
   */
  left(index, bar, beat, loop) {
    const { bars, spans, ticks } = this.data;
    const [first, onset, length] = spans[index];
    const before = bars.slice(first, bar).reduce((sum, each) => sum + each.beats, 0);
    const own = (onset + length) / ticks - before - beat;
    const at = loop.indexOf(bar);
    if (at < 0) return own;
    const run = loop.slice(at, this.#leap(loop, at) + 1);
    return Math.min(own, run.reduce((sum, each) => sum + bars[each].beats, 0) - beat);
  }
}
