// How a take goes from chord to chord: from which degree to which, by step, held or by leap.

import { pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").Crossing} Crossing
 * @typedef {import("./take_types.js").PlacedNote} PlacedNote
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {[last: PlacedNote, reached: PlacedNote]} Move
 */

/**
 * The changes between the first and the last note, in the player's bars.
 * @param {Course} course
 * @param {PlacedNote[]} notes
 * @returns {Crossing[]}
 */
export function crossings(course, notes) {
  if (notes.length === 0) return [];
  const { longest, after: soon } = course.table.bounds.changes;
  return course.chords.slice(1).flatMap((after, old) => {
    const before = course.chords[old];
    const bar = course.barAt(after.start + 0.05);
    const within = notes[0].beat <= after.start && after.start <= notes[notes.length - 1].beat;
    if (!within || !course.bars[bar].yours || after.start - before.end > 0.01) return [];
    if (before.root === after.root && alike(before.tones, after.tones)) return [];
    const near = notes.filter(({ beat }) => beat >= after.start - longest - 1 && beat < after.start + soon + 1);
    return [crossing(course, near, old, bar)];
  });
}

/** @param {number[]} tones @param {number[]} others */
function alike(tones, others) {
  return tones.length === others.length && tones.every((tone) => others.includes(tone));
}

/** A last eighth that goes with the new chord is the arrival if it is reached by step, and otherwise
 * whatever makes the smaller move.
 * @param {Course} course @param {PlacedNote[]} notes @param {number} old @param {number} bar @returns {Crossing} */
function crossing(course, notes, old, bar) {
  const [before, after] = [course.chords[old], course.chords[old + 1]];
  const change = after.start;
  const { last_eighth: lastEighth } = course.table.bounds.grid;
  const late = notes.filter(({ beat }) => beat >= change - lastEighth && beat < change - 0.1);
  const arrivals = [
    ...late.filter(({ chord }) => chord === old + 1).map(({ beat }) => beat),
    change - 0.1,
    ...late.filter(({ chord, pitch }) => chord === old && after.tones.includes(pitchClass(pitch))).map(({ beat }) => beat),
  ];
  const moves = arrivals.flatMap((arrives) => moveTo(notes, arrives, change, course.table.bounds.changes) ?? []);
  if (moves.length === 0) return { bar, chord: old + 1, way: "rest", size: 0, left: "", reached: "" };
  const far = (/** @type {Move} */ [last, reached]) => Math.abs(reached.pitch - last.pitch);
  const { step } = course.table.bounds.kinds;
  const [last, reached] = moves.find((move) => far(move) <= step)
    ?? moves.reduce((best, move) => (far(move) < far(best) ? move : best));
  const size = reached.pitch - last.pitch;
  const way = size === 0 ? "held" : Math.abs(size) <= step ? "step" : "leap";
  const degree = (/** @type {typeof after} */ { degrees, root }, /** @type {number} */ pitch) => degrees[pitchClass(pitch - root)];
  return { bar, chord: old + 1, way, size, left: degree(before, last.pitch), reached: degree(after, reached.pitch) };
}

/** The last note before `arrives` and the first from there on, in a list; null where there is a rest.
 * @param {PlacedNote[]} notes @param {number} arrives @param {number} change
 * @param {Record<string, number>} bounds @returns {Move[] | null} */
function moveTo(notes, arrives, change, { after, rest, longest }) {
  const last = notes.findLast(({ beat }) => beat < arrives - 0.01);
  if (!last || last.beat < change - longest) return null;
  const until = change + after - 0.1;
  const reached = notes.find(({ beat }) => beat >= arrives - 0.01 && beat < until);
  if (!reached) return last.end >= change + 0.5 ? [[last, last]] : null; // it may sound on
  return reached.beat - last.end <= rest ? [[last, reached]] : null;
}
