// Which chord sounds where, and which one comes next.

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").SpanRow} SpanRow
 */

export class Spans {
  /** @param {PageData} data */
  constructor(data) {
    this.data = data;
    let sounding = 0;
    /** For each span, its number among those that have a chord (knots and shapes count so). */
    this.numbers = data.spans.map(([, , , chord]) => (chord < 0 ? -1 : sounding++));
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
   * The span that follows at the end of this one, in a loop of bars.
   * @param {number} index
   * @param {number} from
   * @param {number} to
   */
  after(index, from, to) {
    const next = (index + 1) % this.data.spans.length;
    const [bar] = this.data.spans[next];
    return bar < from || bar > to ? this.at(from, 0) : next;
  }

  /**
   * Beats from a place in the tune to the end of a span that sounds there, or of the loop.
   * @param {number} index
   * @param {number} bar
   * @param {number} beat
   * @param {number} to
   */
  left(index, bar, beat, to) {
    const { bars, spans, ticks } = this.data;
    const [first, onset, length] = spans[index];
    const before = bars.slice(first, bar).reduce((sum, each) => sum + each.beats, 0);
    const own = (onset + length) / ticks - before - beat;
    const loop = bars.slice(bar, to + 1).reduce((sum, each) => sum + each.beats, 0) - beat;
    return Math.min(own, loop);
  }
}
