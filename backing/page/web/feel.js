// Where in its bar a written note is played, in beats: its swing and its lateness, at the tempo that holds there.

import { tempoAt } from "./clock.js";
import { melodicLateness, swingPlace, swingRatio } from "./swing.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./types.js").Struck} Struck
 */

/**
 * The band's long to short eighths at a beat of a turn.
 * @param {PageData} data
 * @param {Turn} turn
 * @param {number} beat
 */
export function ratioAt(data, turn, beat) {
  const { swing, wander } = data.bars[turn.bar];
  return swingRatio(swing, tempoAt(turn, beat), data.swing, wander);
}

/**
 * The played beat of a swung one.
 * @param {PageData} data
 * @param {Turn} turn
 * @param {number} beat
 */
export function swungBeat(data, turn, beat) {
  const grid = gridOf(turn);
  return grid + swingPlace(beat - grid, ratioAt(data, turn, beat));
}

/**
 * By how many beats a note is late.
 * @param {PageData} data
 * @param {Turn} turn
 * @param {Struck} note
 */
export function lateBeats(data, turn, { onset, late, melodic }) {
  const tempo = tempoAt(turn, onset);
  const onBeat = melodic && (onset - gridOf(turn)) % 1 === 0;
  const line = onBeat ? melodicLateness(tempo, ratioAt(data, turn, onset), data.swing) : 0;
  return ((late + line) * tempo) / 60000;
}

/** Whether an ornament is for the tempo at which it would be played. @param {Turn} turn @param {Struck} note */
export function fitsTempo(turn, { onset, low, high }) {
  const tempo = tempoAt(turn, onset);
  return tempo >= low && tempo <= high;
}

/** A beat from which those of a turn are counted: a pickup's lead to the bar line. @param {Turn} turn */
function gridOf({ kind, beats }) {
  return kind === "count" ? 0 : beats % 1;
}
