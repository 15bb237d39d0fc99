// The notes of a take in the bars: which eighth each stands on, and which chord it belongs to.

import { median, pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {import("./take_types.js").HeardNote} HeardNote
 * @typedef {import("./take_types.js").PlacedNote} PlacedNote
 * @typedef {import("./take_types.js").CourseBar} CourseBar
 * @typedef {import("./take_types.js").Slot} Slot
 * @typedef {import("./take_course.js").Course} Course
 */

/**
 * The notes that lie on the course, which the recording meets at `offset` seconds.
 * @param {Course} course
 * @param {Heard} heard
 * @param {number} offset
 */
export function onCourse(course, heard, offset) {
  const { notes } = heard;
  const { ghost_db: ghost, leaked_db: leaked } = course.table.bounds.grid;
  const usual = notes.length > 0 ? median(notes.map(({ level }) => level)) : 0;
  const quietest = heard.exact ? -Infinity : usual - (heard.clean ? ghost : leaked);
  const beats = notes.map(({ onset }) => course.beatsAt(onset + offset));
  const crowd = crowded(beats, course);
  return notes
    .map((note, at) => ({ note, beat: beats[at], end: course.beatsAt(note.end + offset) }))
    .filter(({ beat }) => beat >= course.bars[0].start - 0.3 && beat < course.end)
    .map((sounds) => placedNote(course, sounds, crowd, quietest));
}

/** How many notes each beat has. @param {number[]} beats @param {Course} course */
function crowded(beats, course) {
  /** @type {Map<number, number>} */
  const found = new Map();
  for (const beat of beats) {
    const at = Math.floor(eighthOf(beat, course.bars[course.barAt(beat)]) / 2);
    found.set(at, (found.get(at) ?? 0) + 1);
  }
  return found;
}

/** The number of the eighth that a played beat is nearest to; borders lie halfway.
 * @param {number} beat @param {CourseBar} bar */
function eighthOf(beat, bar) {
  const inside = beat - bar.start;
  const off = bar.swing / (bar.swing + 1);
  const whole = Math.floor(inside);
  const part = inside - whole;
  const step = part < off / 2 ? 0 : part < (1 + off) / 2 ? 1 : 2;
  return Math.round(2 * bar.start) + 2 * whole + step;
}

/**
 * @param {Course} course
 * @param {{note: HeardNote, beat: number, end: number}} sounds
 * @param {Map<number, number>} crowd
 * @param {number} quietest
 * @returns {PlacedNote}
 */
function placedNote(course, { note, beat, end }, crowd, quietest) {
  const { sure, between_cents: between } = course.table.bounds.grid;
  const eighth = eighthOf(beat, course.bars[course.barAt(beat)]);
  const at = course.barAt(eighth / 2);
  const bar = course.bars[at];
  const on = (eighth - Math.round(2 * bar.start)) % 2 === 0;
  /** @type {Slot} */
  const slot = (crowd.get(Math.floor(eighth / 2)) ?? 0) > 2 ? "other" : on ? "on" : "off";
  const place = on ? eighth / 2 : eighth / 2 - 0.5 + bar.swing / (bar.swing + 1);
  return {
    note,
    pitch: note.pitch,
    beat,
    end,
    slot,
    eighth,
    bar: at,
    chord: chordOf(course, note.pitch, on ? eighth / 2 : beat),
    late: slot === "other" ? null : ((beat - place) * 60000) / bar.tempo,
    clear: note.sure >= sure && Math.abs(note.cents) < between && note.level >= quietest,
  };
}

/** The chord a note belongs to: in the last eighth it may be the next one.
 * @param {Course} course @param {number} pitch @param {number} beat */
export function chordOf(course, pitch, beat) {
  const at = course.chordAt(beat);
  const coming = course.chordAt(beat + course.table.bounds.grid.last_eighth);
  if (at < 0 || coming < 0 || coming === at) return at;
  const [here, there] = [course.chords[at], course.chords[coming]];
  const tone = pitchClass(pitch);
  const better = there.tones.includes(tone) && !here.tones.includes(tone);
  const strange = !here.tones.includes(tone) && !here.tensions.includes(tone);
  return better || (strange && there.tensions.includes(tone)) ? coming : at;
}
