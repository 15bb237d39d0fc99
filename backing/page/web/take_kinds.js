// What each note is in its chord, and how the ones outside it resolve.

import { pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").CourseChord} CourseChord
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {import("./take_types.js").JudgedNote} JudgedNote
 * @typedef {import("./take_types.js").NoteKind} NoteKind
 * @typedef {import("./take_types.js").PlacedNote} PlacedNote
 * @typedef {import("./take_course.js").Course} Course
 */

const SHARPS = ["C", "C♯", "D", "D♯", "E", "F", "F♯", "G", "G♯", "A", "A♯", "B"];
const FLATS = ["C", "D♭", "D", "E♭", "E", "F", "G♭", "G", "A♭", "A", "B♭", "B"];

/** Whether a note of a kind leads into the chord by step. @param {NoteKind} kind */
export function leads(kind) {
  return kind === "approach" || kind === "passing" || kind === "enclosure";
}

/**
 * Notes in order of time, each with its kind; none is called unresolved whose resolution may have
 * been missed.
 * @param {Course} course
 * @param {PlacedNote[]} notes
 * @param {Heard} heard
 * @returns {JudgedNote[]}
 */
export function judged(course, notes, heard) {
  const bounds = course.table.bounds.kinds;
  return notes.map((placed, at) => {
    const chord = placed.chord < 0 ? null : course.chords[placed.chord];
    const inShape = chord && inShapeOf(chord, placed.pitch);
    /** @param {NoteKind} kind */
    const known = (kind, target = -1) => ({ placed, kind, target, inShape });
    if (!chord) return known("unclear");
    const kind = kindIn(chord, placed.pitch);
    if (kind) return known(kind);
    const end = resolution(course, notes, at, bounds.longest_chain);
    if (end >= 0) return known(leading(notes, at, end, bounds), end);
    const over = at + 1 === notes.length; // where it leads isn't in the recording
    const unclear = over || !placed.clear || doubtful(placed, notes[at + 1], heard, bounds.held);
    return known(unclear ? "unclear" : "unresolved");
  });
}

/** Whether a pitch lies under the hand in the position practiced; null without one.
 * @param {CourseChord} chord @param {number} pitch */
function inShapeOf({ tones, shape = [], reach = [] }, pitch) {
  if (reach.length === 0) return null;
  return (tones.includes(pitchClass(pitch)) ? shape : reach).includes(pitch);
}

/** What a pitch inside a chord is there; null outside. @param {CourseChord} chord @param {number} pitch */
export function kindIn({ tones, tensions }, pitch) {
  const tone = pitchClass(pitch);
  if (tones.includes(tone)) return /** @type {const} */ ("chord tone");
  return tensions.includes(tone) ? /** @type {const} */ ("tension") : null;
}

/** @param {Course} course @param {PlacedNote} note */
function inside(course, note) {
  return note.chord >= 0 && kindIn(course.chords[note.chord], note.pitch) !== null;
}

/** The note inside its chord to which the one at `at` leads by steps; -1 if to none.
 * @param {Course} course @param {PlacedNote[]} notes @param {number} at @param {number} left
 * @returns {number} */
function resolution(course, notes, at, left) {
  const { soon, step } = course.table.bounds.kinds;
  if (at + 1 >= notes.length || left === 0) return -1;
  const [before, after] = [notes[at], notes[at + 1]];
  if (after.beat - before.end > 1 || after.beat - before.beat > soon) return -1;
  if (around(course, notes, at)) return at + 2;
  const size = Math.abs(after.pitch - before.pitch);
  if (size < 1 || size > step) return -1;
  return inside(course, after) ? at + 1 : resolution(course, notes, at + 1, left - 1);
}

/** Whether this note and the next lie on both sides, by step, of the one after, a chord tone.
 * @param {Course} course @param {PlacedNote[]} notes @param {number} at */
function around(course, notes, at) {
  if (at + 2 >= notes.length) return false;
  const { soon, step } = course.table.bounds.kinds;
  const [one, other, target] = [notes[at], notes[at + 1], notes[at + 2]];
  const sides = (one.pitch - target.pitch) * (other.pitch - target.pitch) < 0;
  const far = Math.max(Math.abs(one.pitch - target.pitch), Math.abs(other.pitch - target.pitch));
  return sides && far <= step && target.beat - one.beat <= soon && inside(course, target);
}

/** How a note that resolves leads there.
 * @param {PlacedNote[]} notes @param {number} at @param {number} end
 * @param {Record<string, number>} bounds @returns {NoteKind} */
function leading(notes, at, end, { soon, step }) {
  const { pitch } = notes[at];
  const target = notes[end].pitch;
  for (const other of [at - 1, at + 1]) {
    if (other < 0 || other >= end || end - Math.min(at, other) !== 2) continue;
    const across = (notes[other].pitch - target) * (pitch - target) < 0;
    if (across && Math.abs(notes[other].pitch - target) <= step) return "enclosure";
  }
  if (at > 0 && notes[at].beat - notes[at - 1].beat <= soon) {
    const came = pitch - notes[at - 1].pitch;
    const goes = notes[at + 1].pitch - pitch;
    if (came * goes > 0 && Math.abs(came) <= step && Math.abs(goes) <= step) return "passing";
  }
  return "approach";
}

/** Whether a note may have been missed between this one and the next, or this one misheard.
 * @param {PlacedNote} note @param {PlacedNote} following @param {Heard} heard @param {number} held */
function doubtful(note, following, heard, held) {
  if (heard.exact) return false;
  const gap = following.eighth - note.eighth > 1 && note.end - note.beat < held;
  const first = note.note.onset - 0.02;
  const last = Math.min(following.note.onset, note.note.end + 1);
  return gap || !following.clear || heard.doubts.some((doubt) => first <= doubt && doubt <= last);
}

/** The chord tone nearest to a MIDI pitch, the lower one of two. @param {CourseChord} chord @param {number} pitch */
export function nearestTone({ tones }, pitch) {
  for (let away = 0; away <= 6; away += 1) {
    for (const other of [pitch - away, pitch + away]) if (tones.includes(pitchClass(other))) return other;
  }
  return pitch;
}

/**
 * The name of a MIDI pitch over a chord; outside it, as a step to the one that follows.
 * @param {CourseChord | null} chord
 * @param {number} pitch
 * @param {number | null} following
 */
export function spelled(chord, pitch, following = null) {
  const name = chord?.names[pitchClass(pitch - chord.root)];
  if (name) return name;
  const sharp = following !== null && following > pitch;
  return (sharp ? SHARPS : FLATS)[pitchClass(pitch + (chord?.reads ?? 0))];
}
