// The figures of a take, in the words of the tracks' program.

import { crossed } from "./take_account.js";
import { filled, fixed, percent } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").Outside} Outside
 * @typedef {import("./take_types.js").Timing} Timing
 * @typedef {import("./take_types.js").Account} Account
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {[name: string, text: string]} Row
 */

/**
 * Name and words of each figure.
 * @param {{course: Course, told: Account, live: boolean}} take
 */
export function figuresOf({ course, told, live }) {
  const exercise = told.along !== null || course.kind === "line";
  const { figures, honest } = course.table;
  /** @param {string} name @param {Record<string, string | number>} words @returns {Row} */
  const row = (name, words) => [name, filled(figures[name], words)];
  /** @type {Row[]} */
  const rows = [];
  if (told.tones !== null) rows.push(row("chord tones", { share: percent(told.tones), honest: honest[exercise ? 1 : 0] }));
  if (told.tonesOn !== null && told.tonesOff !== null) {
    rows.push(row("on, off the beat", { on: percent(told.tonesOn), off: percent(told.tonesOff) }));
  }
  rows.push(["kinds", told.kinds.map(([kind, count]) => `${count} ${kind}`).join(", ")]);
  rows.push(row("degrees", Object.fromEntries(told.degrees.entries())));
  rows.push(...shapeOf(course, told, row));
  const ways = ["step", "held", "leap", "rest"].map((way) => `${crossed(told, way)} ${way}`).join(", ");
  rows.push(row("changes", { ways }), ...timeOf(told.timing, row, figures[live ? "no latency" : "not absolute"]), ...phrasesOf(course, told, row));
  if (told.along) rows.push(row("the line", { right: told.along.right, notes: told.along.notes }));
  if (told.answers.length > 0) {
    const strokes = told.answers.reduce((sum, each) => sum + each.strokes, 0);
    const taken = told.answers.reduce((sum, each) => sum + each.takenUp, 0);
    rows.push(row("answers", { answers: told.answers.length, taken, strokes }));
  }
  for (const { tempo, notes, outside } of told.tempos) rows.push([`at ${tempo} bpm`, row("tempo", { notes, outside })[1]]);
  if (told.unclear > 0) rows.push(row("not judged", { count: told.unclear }));
  return rows;
}

/** @param {Course} course @param {Account} told
 * @param {(name: string, words: Record<string, string | number>) => Row} row @returns {Row[]} */
function shapeOf({ position }, { inShape }, row) {
  if (inShape === null || position === null) return [];
  return [row("in the shape", { share: percent(inShape), position })];
}

/** @param {Timing} timing @param {(name: string, words: Record<string, string | number>) => Row} row
 * @param {string} unknown */
function timeOf({ late, spread, drift, swing, pairs, bandSwing, accent }, row, unknown) {
  /** @type {Row[]} */
  const rows = [];
  if (late !== null) rows.push(row("on the beat", { ms: fixed(Math.abs(late)), way: late >= 0 ? "behind" : "ahead of" }));
  else if (spread !== null) rows.push(["on the beat", unknown]);
  if (spread !== null) rows.push(row("spread", { ms: fixed(spread) }));
  if (drift !== null) rows.push(row("drift", { ms: signed(drift, 0) }));
  if (swing !== null) rows.push(row("swing", { mine: fixed(swing, 2), pairs, band: fixed(bandSwing, 2) }));
  if (accent !== null) rows.push(row("accents", { accent: signed(accent, 1) }));
  return rows;
}

/** @param {Course} course @param {Account} told
 * @param {(name: string, words: Record<string, string | number>) => Row} row */
function phrasesOf(course, { notes, phrases }, row) {
  const { longest, count, beats, echoes, space } = phrases;
  /** @type {Row[]} */
  const rows = [];
  if (longest) {
    const [first, last] = [notes[longest.first].placed, notes[longest.last].placed];
    const beat = course.counted(last.eighth, last.bar);
    rows.push(row("longest run", { notes: longest.notes, first: course.barName(first.bar), last: course.barName(last.bar), beat }));
  }
  return [...rows, row("phrases", { count, beats: fixed(beats, 1).replace(/\.0$/, ""), echoes }), row("space", { share: percent(space) })];
}

/** @param {number} value @param {number} places */
function signed(value, places) {
  return `${value < 0 ? "-" : "+"}${fixed(Math.abs(value), places)}`;
}

/** A note outside in a line: where, which, over what, how it resolved. @param {Course} course @param {Outside} note */
export function outsideText(course, { bar, beat, name, chord, nearest, kind, goesTo }) {
  const text = filled(course.table.figures.outside, { bar: course.barName(bar), beat, note: name, chord, nearest, kind });
  return goesTo ? `${text} to ${goesTo}` : text;
}
