// How the time and the accents of a take sat, beside the band's.

import { mean, median } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").PlacedNote} PlacedNote
 * @typedef {import("./take_types.js").Timing} Timing
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {{bar: number, ms: number}} Rest  How far a note lies from the middle of its kind.
 */

/**
 * The time of the notes; `absolute`: the latency is known, so that late is late.
 * @param {Course} course
 * @param {PlacedNote[]} notes
 * @param {boolean} absolute
 * @returns {Timing}
 */
export function timing(course, notes, absolute) {
  const { fewest_timed: fewest, fewest_pairs: fewestPairs } = course.table.bounds.timing;
  const timed = notes.filter(({ late }) => late !== null && Math.abs(late) < 150);
  const on = timed.filter(({ slot }) => slot === "on").map(lateness);
  const ratios = ratiosOf(course, notes);
  const swings = notes.map(({ bar }) => course.bars[bar].swing);
  const rest = timed.length < fewest ? [] : residuals(timed);
  const scatter = rest.length > 0 ? spread(rest.map(({ ms }) => ms)) : null;
  const swung = ratios.length >= fewestPairs;
  return {
    notes: timed.length,
    late: absolute && on.length >= fewest ? median(on) : null,
    spread: scatter,
    drift: driftOf(rest, fewest),
    swing: swung ? median(ratios) : null,
    swingSpread: swung ? spread(ratios.map(Math.log2)) : null,
    pairs: ratios.length,
    bandSwing: swings.length > 0 ? median(swings) : 1,
    accent: accentOf(notes, fewestPairs),
    shifts: scatter === null ? [] : shiftsOf(rest, Math.max(scatter, 6), course.table.bounds.timing),
  };
}

/** @param {PlacedNote} note */
function lateness({ late }) {
  return late ?? 0;
}

/** Each note's lateness beside the middle of its kind: on the beat, or off it.
 * @param {PlacedNote[]} timed @returns {Rest[]} */
function residuals(timed) {
  const middle = new Map(
    [...new Set(timed.map(({ slot }) => slot))].map((slot) => [
      slot,
      median(timed.filter((note) => note.slot === slot).map(lateness)),
    ]),
  );
  return timed.map((note) => ({ bar: note.bar, ms: lateness(note) - (middle.get(note.slot) ?? 0) }));
}

/** The standard deviation of a normal distribution with this middle half. @param {number[]} values */
export function spread(values) {
  if (values.length < 4) return 0;
  const ordered = [...values].sort((a, b) => a - b);
  const quarter = ordered.length >> 2;
  return (ordered[ordered.length - 1 - quarter] - ordered[quarter]) / 1.349;
}

/** Long to short of every pair of eighths on and off a beat that goes on to the next beat.
 * @param {Course} course @param {PlacedNote[]} notes */
function ratiosOf(course, notes) {
  return notes.slice(2).flatMap((three, at) => {
    const [one, two] = [notes[at], notes[at + 1]];
    if (one.slot !== "on" || two.slot !== "off" || three.slot === "other") return [];
    if (two.eighth - one.eighth !== 1 || three.eighth - two.eighth !== 1) return [];
    if (!course.bars[one.bar].yours || !(three.beat > two.beat && two.beat > one.beat)) return [];
    const ratio = (two.beat - one.beat) / (three.beat - two.beat);
    return ratio > 0.4 && ratio < 5 ? [ratio] : [];
  });
}

/** By how many ms the take falls behind from its first to its last third.
 * @param {Rest[]} rest @param {number} fewest */
function driftOf(rest, fewest) {
  const third = Math.floor(rest.length / 3);
  if (third < fewest) return null;
  const middle = (/** @type {Rest[]} */ part) => median(part.map(({ ms }) => ms));
  return middle(rest.slice(-third)) - middle(rest.slice(0, third));
}

/** Bars whose middle lies clearly apart from the bars around them.
 * @param {Rest[]} rest @param {number} scatter @param {Record<string, number>} bounds */
function shiftsOf(rest, scatter, { fewest_timed: fewest, shift_ms: least, shift_spreads: spreads }) {
  return [...new Set(rest.map(({ bar }) => bar))].flatMap((bar) => {
    const mine = rest.filter((note) => note.bar === bar).map(({ ms }) => ms);
    const around = rest.filter((note) => note.bar !== bar && Math.abs(note.bar - bar) <= 8).map(({ ms }) => ms);
    if (mine.length < 3 || around.length < fewest) return [];
    const ms = median(mine) - median(around);
    const error = (1.25 * scatter) / Math.sqrt(mine.length);
    return Math.abs(ms) >= Math.max(least, spreads * error) ? [{ bar, ms }] : [];
  });
}

/** @param {PlacedNote[]} notes @param {number} fewest */
function accentOf(notes, fewest) {
  const levels = (/** @type {string} */ slot) => notes.filter((note) => note.slot === slot).map(({ note }) => note.level);
  const [on, off] = [levels("on"), levels("off")];
  return Math.min(on.length, off.length) < fewest ? null : mean(off) - mean(on);
}
