// The practice log: a line of JSON for each take, as the tracks' program writes them, in the page's
// storage; it is taken along as a file.

import { crossed, unresolved } from "./take_account.js";
import { Refused } from "./take_input.js";

/**
 * @typedef {import("./take_session.js").Told} Told
 * @typedef {{when: string, title: string, sentences: string[]}} Entry
 */

const KEY = "backing takes";
const NEEDED = ["when", "tempo", "left", "title", "sentences", "tones", "changes", "longest_run", "time", "phrases"];

/**
 * A take as the log keeps it: no sound, and no notes.
 * @param {Told} take
 * @param {Date} when
 */
export function entryOf({ course, told, advice }, when) {
  const { timing, phrases } = told;
  const last = told.notes[told.notes.length - 1];
  const rounded = (/** @type {number | null} */ value, digits = 3) =>
    value === null ? null : Math.round(value * 10 ** digits) / 10 ** digits;
  const local = new Date(when.getTime() - when.getTimezoneOffset() * 60000);
  return {
    when: local.toISOString().slice(0, 16),
    tempo: rounded(course.bars[last ? last.placed.bar : course.bars.length - 1].tempo, 1),
    title: course.title,
    sentences: advice.sentences,
    tones: rounded(told.tones),
    changes: Object.fromEntries(["step", "held", "leap", "rest"].map((way) => [way, crossed(told, way)])),
    longest_run: phrases.longest?.notes ?? 0,
    time: {
      late_ms: rounded(timing.late, 1), spread_ms: rounded(timing.spread, 1), drift_ms: rounded(timing.drift, 1),
      swing: rounded(timing.swing), swing_spread: rounded(timing.swingSpread), band_swing: rounded(timing.bandSwing),
      accent: rounded(timing.accent, 1),
      shifts: timing.shifts.map(({ bar, ms }) => [course.barName(bar), rounded(ms, 1)]),
    },
    phrases: { count: phrases.count, beats: rounded(phrases.beats, 2), space: rounded(phrases.space), echoes: phrases.echoes },
    left: unresolved(told).length,
  };
}

/** The takes that are kept, the oldest first. @param {Pick<Storage, "getItem"> | null} storage @returns {Entry[]} */
export function keptTakes(storage) {
  try {
    return takesIn(storage?.getItem(KEY) ?? "");
  } catch {
    return []; // a storage that is closed or scrambled is as good as none
  }
}

/**
 * Keep takes beside those that are there, each once, in order of time; whether there is room.
 * @param {Pick<Storage, "getItem" | "setItem"> | null} storage
 * @param {Entry[]} takes
 */
export function keepTakes(storage, takes) {
  const lines = new Set([...keptTakes(storage), ...takes].map((take) => JSON.stringify(take)));
  const all = [...lines].map((line) => JSON.parse(line)).sort((a, b) => (a.when < b.when ? -1 : a.when > b.when ? 1 : 0));
  try {
    storage?.setItem(KEY, linesOf(all));
    return storage !== null;
  } catch {
    return false;
  }
}

/** @param {Entry[]} takes */
export function linesOf(takes) {
  return takes.map((take) => `${JSON.stringify(take)}\n`).join("");
}

/** The takes of a log; raises Refused for what is none. @param {string} text @returns {Entry[]} */
export function takesIn(text) {
  return text.split("\n").flatMap((line, at) => {
    if (!line.trim()) return [];
    try {
      const take = JSON.parse(line);
      if (NEEDED.every((name) => name in take) && !Number.isNaN(Date.parse(take.when))) return [take];
    } catch {
      // told below
    }
    throw new Refused(`Line ${at + 1} isn't a take of a practice log: correct it, or delete it.`);
  });
}
