// Takes of exercises: a line note by note, the answers to calls, the tempos of a climb.

import { pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").AlongLine} AlongLine
 * @typedef {import("./take_types.js").Answer} Answer
 * @typedef {import("./take_types.js").AtTempo} AtTempo
 * @typedef {import("./take_types.js").JudgedNote} JudgedNote
 * @typedef {import("./take_types.js").PlacedNote} PlacedNote
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {{tone: import("./take_types.js").LineTone, note: PlacedNote | null}} Pair
 */

/**
 * The take beside the line; null where there is no line, or the player plays another.
 * @param {Course} course
 * @param {PlacedNote[]} notes
 * @param {number[]} doubts
 * @param {number} offset
 * @returns {AlongLine | null}
 */
export function alongLine(course, notes, doubts, offset) {
  if (course.kind !== "line" || notes.length === 0) return null;
  const { near, plays_along: along } = course.table.bounds.exercise;
  const [first, last] = [notes[0].beat - near, notes[notes.length - 1].beat + near];
  const wanted = course.line.filter(({ beat }) => first <= beat && beat <= last);
  const pairs = wanted.map((tone) => ({ tone, note: nearest(notes, tone.beat, near) }));
  const octave = octaveOf(pairs);
  const fits = (/** @type {Pair} */ { tone, note }) => note !== null && note.pitch - octave === tone.pitch;
  const right = pairs.filter(fits).length;
  if (wanted.length === 0 || right < along * wanted.length) return null;
  const departures = pairs.flatMap((pair) => {
    const { tone, note } = pair;
    if (note && (fits(pair) || !note.clear)) return [];
    const seconds = tone.seconds - offset;
    if (!note && doubts.some((doubt) => Math.abs(doubt - seconds) < 0.12)) return [];
    const eighth = Math.round(2 * tone.beat - 0.15);
    return [{ bar: course.barAt(eighth / 2), eighth, wanted: tone.pitch + octave, played: note ? note.pitch : null }];
  });
  return { notes: wanted.length, right, departures };
}

/** @param {PlacedNote[]} notes @param {number} beat @param {number} near */
function nearest(notes, beat, near) {
  const away = (/** @type {PlacedNote} */ note) => Math.abs(note.beat - beat);
  const note = notes.reduce((best, each) => (away(each) < away(best) ? each : best));
  return away(note) <= near ? note : null;
}

/** The octaves, in half steps, by which the player's instrument differs from the line. @param {Pair[]} pairs */
function octaveOf(pairs) {
  const moves = pairs.flatMap(({ tone, note }) => (note && pitchClass(note.pitch - tone.pitch) === 0 ? [note.pitch - tone.pitch] : []));
  return mostCommon(moves)[0]?.[0] ?? 0;
}

/**
 * Different values and how often they come, the commonest first.
 * @template T
 * @param {T[]} values
 * @returns {[value: T, count: number][]}
 */
export function mostCommon(values) {
  /** @type {Map<T, number>} */
  const counts = new Map();
  for (const value of values) counts.set(value, (counts.get(value) ?? 0) + 1);
  return [...counts].sort(([, a], [, b]) => b - a);
}

/**
 * The answers to the calls of the track.
 * @param {Course} course
 * @param {PlacedNote[]} notes
 * @returns {Answer[]}
 */
export function answers(course, notes) {
  if (course.kind !== "call") return [];
  const { bars, table } = course;
  const calls = (/** @type {number} */ at) => at < bars.length && !bars[at].yours && !table.counted.includes(bars[at].label);
  const found = [];
  for (let at = 0; at < bars.length; at += 1) {
    if (!calls(at)) continue;
    const call = at;
    while (calls(at)) at += 1;
    const first = at;
    while (at < bars.length && bars[at].yours) at += 1;
    found.push(...answerOf(course, notes, call, first, at));
    at -= 1;
  }
  return found;
}

/** The answer in bars `first` up to `end` to the call before.
 * @param {Course} course @param {PlacedNote[]} notes @param {number} call @param {number} first @param {number} end */
function answerOf(course, notes, call, first, end) {
  const { bars, line } = course;
  if (first === end) return [];
  const { start } = bars[call];
  const until = bars[first - 1].start + bars[first - 1].beats;
  const called = line.filter(({ beat }) => start <= beat && beat < until);
  const strokes = new Set(called.map(({ beat }) => Math.round(2 * (beat - start) - 0.15)));
  const mine = new Set(
    notes.filter(({ bar }) => first <= bar && bar < end).map(({ eighth }) => eighth - Math.round(2 * bars[first].start)),
  );
  if (strokes.size === 0 || mine.size === 0) return [];
  return [{ bar: first, strokes: strokes.size, takenUp: [...strokes].filter((stroke) => mine.has(stroke)).length }];
}

/**
 * The tempos of a climb in order of speed, where there are several.
 * @param {Course} course
 * @param {JudgedNote[]} notes
 * @returns {AtTempo[]}
 */
export function temposOf(course, notes) {
  const tempos = [...new Set(notes.map(({ placed }) => course.bars[placed.bar].tempo))].sort((a, b) => a - b);
  if (tempos.length < 2) return [];
  return tempos.map((tempo) => {
    const mine = notes.filter(({ placed }) => course.bars[placed.bar].tempo === tempo);
    return { tempo, notes: mine.length, outside: mine.filter(({ kind }) => kind === "unresolved").length };
  });
}
