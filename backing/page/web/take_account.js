// The account of a take: every note, every change, and figures over all. Never a grade.

import { crossings } from "./take_changes.js";
import { alongLine, answers, mostCommon, temposOf } from "./take_exercise.js";
import { pitchClass } from "./take_figures.js";
import { onCourse } from "./take_grid.js";
import { judged, leads, nearestTone, spelled } from "./take_kinds.js";
import { phrases } from "./take_phrases.js";
import { timing } from "./take_timing.js";

/**
 * @typedef {import("./take_types.js").Account} Account
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {import("./take_types.js").JudgedNote} JudgedNote
 * @typedef {import("./take_types.js").Outside} Outside
 * @typedef {import("./take_types.js").Slip} Slip
 * @typedef {import("./take_course.js").Course} Course
 */

/**
 * The account of a take whose second 0 is `offset` seconds after the start of the course.
 * @param {Course} course
 * @param {Heard} heard
 * @param {number} offset
 * @param {boolean} absolute  The latency is known, so that late is late.
 * @returns {Account}
 */
export function account(course, heard, offset, absolute = false) {
  const placed = onCourse(course, heard, offset);
  const every = judged(course, placed, heard);
  const mine = every.filter(({ placed: { bar } }) => course.bars[bar].yours);
  const notes = mine.map((note) => note.placed);
  const shaped = mine.filter(({ inShape }) => inShape !== null);
  return {
    notes: mine,
    tones: tonesOf(mine),
    tonesOn: tonesOf(mine.filter((note) => note.placed.slot === "on")),
    tonesOff: tonesOf(mine.filter((note) => note.placed.slot === "off")),
    kinds: mostCommon(mine.map(({ kind }) => kind)),
    degrees: degreesOf(course, mine),
    inShape: shaped.length > 0 ? shaped.filter(({ inShape }) => inShape).length / shaped.length : null,
    outside: every.flatMap((note) => outsideOf(course, every, note)),
    slips: slipsOf(course, mine),
    crossings: crossings(course, notes),
    timing: timing(course, notes, absolute),
    phrases: phrases(course, notes, heard),
    along: alongLine(course, placed, heard.doubts, offset),
    answers: answers(course, placed),
    tempos: temposOf(course, mine),
    unclear: mine.filter(({ kind }) => kind === "unclear").length,
  };
}

/** The notes outside that lead nowhere. @param {Account} told */
export function unresolved(told) {
  return told.outside.filter(({ kind }) => kind === "unresolved");
}

/** How many changes are crossed in a way. @param {Account} told @param {string} way */
export function crossed(told, way) {
  return told.crossings.filter((each) => each.way === way).length;
}

/** The share of chord tones. @param {JudgedNote[]} notes */
function tonesOf(notes) {
  const counted = notes.filter(({ kind }) => kind !== "unclear");
  return counted.length > 0 ? counted.filter(({ kind }) => kind === "chord tone").length / counted.length : null;
}

/** How many of the chord tones are the first, second, third and fourth of their chord.
 * @param {Course} course @param {JudgedNote[]} notes */
function degreesOf(course, notes) {
  const counts = [0, 0, 0, 0];
  for (const { kind, placed } of notes) {
    if (kind !== "chord tone") continue;
    counts[Math.min(course.chords[placed.chord].tones.indexOf(pitchClass(placed.pitch)), 3)] += 1;
  }
  return counts;
}

/** @param {Course} course @param {JudgedNote[]} every @param {JudgedNote} note @returns {Outside[]} */
function outsideOf(course, every, { kind, placed, target }) {
  const named = (leads(kind) || kind === "unresolved") && course.bars[placed.bar].yours;
  if (!named) return [];
  const chord = course.chords[placed.chord];
  const goal = target < 0 ? null : every[target].placed;
  const there = goal && goal.chord >= 0 ? course.chords[goal.chord] : null;
  return [{
    bar: placed.bar,
    beat: course.counted(placed.eighth, placed.bar),
    pitch: placed.pitch,
    name: spelled(chord, placed.pitch, goal?.pitch),
    chord: chord.symbol,
    nearest: spelled(chord, nearestTone(chord, placed.pitch)),
    kind,
    goesTo: goal ? spelled(there, goal.pitch) : "",
  }];
}

/** Bars that don't fit their own chords and clearly fit those of a bar nearby.
 * @param {Course} course @param {JudgedNote[]} notes @returns {Slip[]} */
function slipsOf(course, notes) {
  const bars = [...new Set(notes.map(({ placed }) => placed.bar))].sort((a, b) => a - b);
  const moved = new Map(bars.map((bar) => [bar, away(course, bar, notes.filter(({ placed }) => placed.bar === bar))]));
  /** @type {Set<number>} */
  const done = new Set();
  /** @type {Slip[]} */
  const found = [];
  for (const [bar, by] of moved) {
    if (by === 0 || done.has(bar) || moved.get(bar + by) !== -by) continue;
    found.push({ bars: [bar, bar + by], by, swapped: true });
    done.add(bar).add(bar + by);
  }
  for (const [bar, by] of moved) {
    if (by === 0 || done.has(bar)) continue;
    const run = [bar];
    while (moved.get(run[run.length - 1] + 1) === by) run.push(run[run.length - 1] + 1);
    if (run.length > 1) found.push({ bars: run, by, swapped: false });
    run.forEach((each) => done.add(each));
  }
  return found;
}

/** By how many bars the notes of a bar are early or late; 0 where they are at home.
 * @param {Course} course @param {number} bar @param {JudgedNote[]} notes */
function away(course, bar, notes) {
  const { fewest_in_bar: fewest, strange, at_home: home, farthest_slip: farthest } = course.table.bounds.account;
  if (notes.length < fewest || share(course, notes, 0) > strange) return 0;
  const { beats } = course.bars[bar];
  for (let size = 1; size <= farthest; size += 1) {
    for (const by of [-size, size]) {
      if (course.bars[bar + by]?.yours && share(course, notes, by * beats) >= home) return by;
    }
  }
  return 0;
}

/** The part of notes that are chord tones so many beats away.
 * @param {Course} course @param {JudgedNote[]} notes @param {number} beats */
function share(course, notes, beats) {
  const fits = notes.filter(({ placed }) => {
    const at = course.chordAt(placed.eighth / 2 + beats + 0.01);
    return at >= 0 && course.chords[at].tones.includes(pitchClass(placed.pitch));
  });
  return fits.length / notes.length;
}
