// What a take is held against: bars and chords in time.

/**
 * @typedef {import("./take_types.js").CourseBar} CourseBar
 * @typedef {import("./take_types.js").CourseChord} CourseChord
 * @typedef {import("./take_types.js").LineTone} LineTone
 * @typedef {import("./take_types.js").TakeTable} TakeTable
 */

const NEARLY = 1e-9;

export class Course {
  /**
   * @param {string} title
   * @param {CourseBar[]} bars
   * @param {CourseChord[]} chords  In order, apart from each other.
   * @param {TakeTable} table
   * @param {LineTone[]} line  What the track plays to play along with, or to answer.
   * @param {"" | "line" | "call"} kind
   * @param {boolean} unbroken  The line never stops, and neither should the take.
   * @param {number | null} position  The one that is practiced.
   */
  constructor(title, bars, chords, table, line = [], kind = "", unbroken = false, position = null) {
    this.title = title;
    this.bars = bars;
    this.chords = chords;
    this.table = table;
    this.line = line;
    this.kind = kind;
    this.unbroken = unbroken;
    this.position = position;
    const last = bars[bars.length - 1];
    /** The beats and the seconds of every bar line. */
    this.beats = [...bars.map(({ start }) => start), last.start + last.beats];
    this.times = [...bars.map(({ seconds }) => seconds), last.seconds + (last.beats * 60) / last.tempo];
    this.starts = chords.map(({ start }) => start);
  }

  get end() {
    return this.beats[this.beats.length - 1];
  }

  get seconds() {
    return this.times[this.times.length - 1];
  }

  /** @param {number} seconds */
  beatsAt(seconds) {
    return through(seconds, this.times, this.beats);
  }

  /** @param {number} beat */
  secondsAt(beat) {
    return through(beat, this.beats, this.times);
  }

  /** @param {number} beat */
  barAt(beat) {
    return Math.max(0, Math.min(lastUpTo(this.beats, beat + NEARLY), this.bars.length - 1));
  }

  /** The chord that sounds at a beat; -1 where there is none. @param {number} beat */
  chordAt(beat) {
    const at = lastUpTo(this.starts, beat + NEARLY);
    return at >= 0 && beat < this.chords[at].end ? at : -1;
  }

  /** "bar 9, chorus 2". @param {number} at */
  barName(at) {
    const { label, where } = this.bars[at];
    return `bar ${label}${where ? `, ${where}` : ""}`;
  }

  /** An eighth of the track as it is counted in its bar: "3&". @param {number} eighth @param {number} bar */
  counted(eighth, bar) {
    const inside = eighth / 2 - this.bars[bar].start;
    return `${Math.floor(inside + 1e-6) + 1}${inside - Math.floor(inside) > 0.25 ? "&" : ""}`;
  }
}

/** The index of the last value that is no greater; -1 for none. @param {number[]} values @param {number} wanted */
function lastUpTo(values, wanted) {
  let low = 0;
  let high = values.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (values[middle] <= wanted) low = middle + 1;
    else high = middle;
  }
  return low - 1;
}

/** From one scale to the other, along lines that go on at both ends.
 * @param {number} value @param {number[]} from @param {number[]} to */
function through(value, from, to) {
  const at = Math.max(0, Math.min(lastUpTo(from, value), from.length - 2));
  return to[at] + ((value - from[at]) * (to[at + 1] - to[at])) / (from[at + 1] - from[at]);
}
