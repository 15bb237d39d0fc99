// What the player has chosen, kept from one visit to the next for a file that says the same.

import { temposOf } from "./climb.js";
import { SUBDIVISIONS, lineWords } from "./line.js";
import { FASTEST, SLOWEST, chorusOf } from "./rounds.js";
import { readWords } from "./session.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {object} View
 * @property {"auto" | "light" | "dark"} theme
 * @property {string} size
 * @property {"full" | "thin" | "tab"} ribbon
 * @property {boolean} neck
 * @property {"degrees" | "names" | "fingers"} tones  What stands on the tones of the neck.
 * @property {boolean} line  Whether the line that plays is lit on the neck.
 * @property {number} ahead  Seconds before a change in which the next chord's tones are shown.
 * @property {"C" | "Bb" | "Eb"} part  For whom the chords are written.
 * @property {boolean} letters  Whether single letters are shortcuts.
 * @property {number} position
 * @typedef {object} Mix
 * @property {Record<string, number>} levels  Of every part, 0 to 1.5.
 * @property {Record<string, boolean>} on
 * @property {string} click  The part that clicks, or "".
 * @property {number} volume
 * @typedef {{routine: Routine, view: View, mix: Mix}} Settings
 */

/**
 * How the file opens before anything is chosen.
 * @param {PageData} data
 * @returns {Settings}
 */
export function usual(data) {
  return {
    routine: {
      ...plain(data), line: data.heard.includes("etude") ? data.line.opens : "", ...readWords(data, data.session).routine,
    },
    view: {
      theme: "auto",
      size: "1",
      ribbon: "full",
      neck: data.part === "C",
      tones: "degrees",
      line: true,
      ahead: 2,
      part: data.part,
      letters: true,
      position: data.neck ? data.neck.best : 0,
    },
    mix: {
      levels: {},
      on: Object.fromEntries(["bass", "comp", "drums", "third", "seventh", "etude"].map((id) => [id, data.heard.includes(id)])),
      click: data.heard.find((id) => id.startsWith("click ")) ?? "",
      volume: 1,
    },
  };
}

/**
 * The solo chorus round and round.
 * @param {PageData} data
 * @returns {Routine}
 */
export function plain(data) {
  return {
    whole: false,
    choruses: 3,
    ending: "held",
    bars: chorusOf(data),
    tempo: data.tempo,
    climb: null,
    times: 4,
    keys: [data.keys.findIndex((key) => key.semitones === 0)],
    countIn: true,
    leadIn: 0,
    restBars: 0,
    grow: false,
    trade: 0,
    partner: "drums",
    partnerFirst: false,
    layOut: 0,
    same: false,
    line: "",
  };
}

/**
 * The settings of the last visit, if the file has not changed since.
 * @param {PageData} data
 * @param {Pick<Storage, "getItem"> | null} storage
 * @returns {Settings}
 */
export function remembered(data, storage) {
  const settings = usual(data);
  try {
    const kept = JSON.parse(storage?.getItem(name(data)) ?? "{}");
    for (const group of /** @type {const} */ (["routine", "view", "mix"])) {
      for (const [key, value] of Object.entries(kept[group] ?? {})) {
        const mine = /** @type {Record<string, unknown>} */ (settings[group]);
        if (typeof mine[key] === typeof value) mine[key] = value;
      }
    }
  } catch {
    // a storage that is closed or scrambled is as good as none
  }
  return fitting(settings, data);
}

/**
 * Whether the settings could be kept: a storage may be closed, or full.
 * @param {PageData} data
 * @param {Settings} settings
 * @param {Pick<Storage, "setItem"> | null} storage
 */
export function remember(data, settings, storage) {
  try {
    storage?.setItem(name(data), JSON.stringify(settings));
    return storage !== null;
  } catch {
    return false;
  }
}

/**
 * Settings as far as they fit a tune.
 * @param {Settings} settings
 * @param {PageData} data
 */
export function fitting(settings, data) {
  const { routine, view } = settings;
  /** @param {unknown} list @param {number} count */
  const fits = (list, count) => Array.isArray(list) && list.length > 0 && list.every((at) => Number.isInteger(at) && at >= 0 && at < count);
  if (!fits(routine.bars, data.chorus)) routine.bars = plain(data).bars;
  if (!fits(routine.keys, data.keys.length)) routine.keys = plain(data).keys;
  if (routine.climb && !(temposOf(routine.climb, data.tempo).length > 0)) routine.climb = null;
  if (!data.form) routine.whole = false;
  if (!(routine.ending in (data.form?.out ?? {}))) routine.ending = plain(data).ending;
  suitLine(settings, data);
  routine.tempo = within(routine.tempo, SLOWEST, FASTEST);
  if (!["C", "Bb", "Eb"].includes(view.part)) view.part = data.part;
  view.position = within(view.position, 0, data.neck ? data.neck.positions.length - 1 : 0);
  return settings;
}

/**
 * The line that is heard is the one that is asked for, and subdivisions are for loops.
 * @param {Settings} settings
 * @param {PageData} data
 * @param {boolean} mixed  The band has been chosen last.
 */
export function suitLine({ routine, mix }, data, mixed = false) {
  const { opens } = data.line;
  if (mixed && !mix.on.etude) routine.line = "";
  if (mixed && mix.on.etude) routine.line ||= opens;
  if (routine.trade > 0 && routine.partner === "line") routine.line ||= opens;
  routine.line = fittingLine(routine, data);
  mix.on.etude = routine.line !== "";
}

/**
 * @param {Routine} routine
 * @param {PageData} data
 */
function fittingLine({ line, whole }, data) {
  const { opens } = data.line;
  const known = ["", ...lineWords(data)].includes(line) ? line : opens;
  if (!whole || known !== SUBDIVISIONS) return known;
  return opens === SUBDIVISIONS ? "" : opens;
}

/**
 * @param {number} value
 * @param {number} low
 * @param {number} high
 */
export function within(value, low, high) {
  return Math.min(high, Math.max(low, Number.isFinite(value) ? value : low));
}

/** @param {PageData} data */
function name(data) {
  return `practice page: ${data.title} ${data.id}`;
}

/** Where settings are kept; some browsers close it to files. */
export function storage() {
  try {
    return localStorage;
  } catch {
    return null;
  }
}
