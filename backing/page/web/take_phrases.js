// Runs, rests and phrases of a take, and what phrases take up from each other.

import { median } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {import("./take_types.js").Phrases} Phrases
 * @typedef {import("./take_types.js").PlacedNote} PlacedNote
 * @typedef {import("./take_types.js").Run} Run
 * @typedef {import("./take_course.js").Course} Course
 */

/**
 * The phrases of the notes in the player's bars.
 * @param {Course} course
 * @param {PlacedNote[]} notes
 * @param {Heard} heard
 * @returns {Phrases}
 */
export function phrases(course, notes, heard) {
  const bounds = course.table.bounds.phrases;
  if (notes.length === 0) return { count: 0, beats: 0, space: 1, echoes: 0, longest: null, breaks: [], unbroken: false };
  const parts = partsOf(notes, bounds.rest);
  const runs = runsOf(notes, bounds.left_out);
  const long = runs.filter((run) => run.notes >= bounds.long_run);
  const running = long.reduce((sum, run) => sum + run.notes, 0);
  return {
    count: parts.length,
    beats: median(parts.map((part) => part[part.length - 1].end - part[0].beat)),
    space: spaceOf(course, notes),
    echoes: parts.filter((part, at) =>
      parts.slice(Math.max(0, at - 2), at).some((other) => alike(part, other, bounds.echo)),
    ).length,
    longest: runs.reduce((best, run) => (run.notes > best.notes ? run : best)),
    breaks: breaksOf(course, notes, runs, heard),
    unbroken: notes.length >= bounds.fewest_in_runs && running >= bounds.in_runs * notes.length,
  };
}

/** @param {PlacedNote[]} notes @param {number} rest */
function partsOf(notes, rest) {
  const parts = [[notes[0]]];
  notes.slice(1).forEach((after, at) => {
    const before = notes[at];
    if (after.beat - before.end >= rest || after.eighth - before.eighth > 8) parts.push([]);
    parts[parts.length - 1].push(after);
  });
  return parts;
}

/** The silent part of the player's bars from the first to the last that has a note.
 * @param {Course} course @param {PlacedNote[]} notes */
function spaceOf(course, notes) {
  const bars = course.bars.slice(notes[0].bar, notes[notes.length - 1].bar + 1).filter(({ yours }) => yours);
  const mine = bars.reduce((sum, { beats }) => sum + beats, 0);
  const sounding = notes.reduce((sum, note, at) => {
    const until = at + 1 < notes.length ? Math.min(note.end, notes[at + 1].beat) : note.end;
    return sum + Math.max(0, until - note.beat);
  }, 0);
  return mine > 0 ? Math.max(0, 1 - sounding / mine) : 1;
}

/** Whether two phrases begin with the same rhythm that is more than even eighths, or with the same intervals.
 * @param {PlacedNote[]} one @param {PlacedNote[]} other @param {number} echo */
function alike(one, other, echo) {
  const size = Math.min(one.length, other.length, 6);
  if (size < echo) return false;
  /** @param {PlacedNote[]} part @param {"eighth" | "pitch"} of */
  const steps = (part, of) => part.slice(1, size).map((note, at) => note[of] - part[at][of]);
  const rhythm = steps(one, "eighth");
  const varied = new Set(rhythm).size > 1;
  if (varied && rhythm.join() === steps(other, "eighth").join()) return true;
  return steps(one, "pitch").join() === steps(other, "pitch").join();
}

/** Eighths without a stop; a stop is an eighth left out, wherever in their eighths the notes stand.
 * @param {PlacedNote[]} notes @param {number} leftOut @returns {Run[]} */
function runsOf(notes, leftOut) {
  const runs = [];
  let first = 0;
  for (let at = 1; at <= notes.length; at += 1) {
    const [note, following] = [notes[at - 1], notes[at]];
    const apart = !following || (following.eighth - note.eighth > 1 && following.beat - note.beat >= leftOut);
    if (!apart) continue;
    runs.push({ notes: at - first, first, last: at - 1 });
    first = at;
  }
  return runs;
}

/** Where long runs stopped before the take did: not where the player's turn ends, nor where a note
 * may have been missed.
 * @param {Course} course @param {PlacedNote[]} notes @param {Run[]} runs @param {Heard} heard */
function breaksOf(course, notes, runs, heard) {
  return runs.slice(0, -1).flatMap((run) => {
    const [last, following] = [notes[run.last], notes[run.last + 1]];
    const eighth = last.eighth + 1;
    const bar = course.barAt(eighth / 2);
    const over = eighth / 2 >= course.end || !course.bars[bar].yours;
    if (run.notes < course.table.bounds.phrases.long_run || over) return [];
    return heard.exact || silent(last, following, heard) ? [{ bar, eighth }] : [];
  });
}

/** Whether a stop between two notes was heard as one: of one eighth the silence, too.
 * @param {PlacedNote} last @param {PlacedNote} following @param {Heard} heard */
function silent(last, following, heard) {
  const first = last.note.onset + 0.02;
  const until = following.note.onset - 0.02;
  if (heard.doubts.some((doubt) => first < doubt && doubt < until)) return false;
  const letGo = last.end < (last.eighth + 1) / 2 + 0.2;
  return (letGo && heard.clean) || following.eighth - last.eighth > 2;
}
