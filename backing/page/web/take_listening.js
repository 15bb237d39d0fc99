// Notes out of frames: where each pitch is struck, struck again and let go.

import { median, percentile } from "./take_figures.js";
import { spokenOf, steadyPitch } from "./take_spoken.js";
import { FINE_HOP, harmonicDb } from "./take_strength.js";
import { stretchesOf } from "./take_stretches.js";

/**
 * @typedef {import("./take_types.js").HeardNote} HeardNote
 * @typedef {import("./take_strength.js").Frame} Frame
 * @typedef {import("./take_stretches.js").Stretch} Stretch
 * @typedef {Record<string, number>} Bounds
 * @typedef {object} Frames  Pitches (MIDI, the tuning taken out) and confidences every 16 ms, strengths every 4 ms.
 * @property {number[]} pitch
 * @property {number[]} confidence
 * @property {Frame[]} fine
 * @typedef {{notes: HeardNote[], doubts: number[]}} Listened  Seconds from the first frame.
 */

const FINE = FINE_HOP / 16000;
const RATIO = 4;
const HEAD = Math.floor(0.08 / FINE);
const DYING = Math.floor(0.06 / FINE);

/**
 * The notes of one line, and moments that may be onsets.
 * @param {Frames} frames
 * @param {number} tuning  Cents, for the harmonics lie there.
 * @param {Bounds} bounds
 * @returns {Listened}
 */
export function listen(frames, tuning, bounds) {
  const spoken = spokenOf(stretchesOf(frames.pitch, frames.confidence, bounds), frames, tuning, bounds);
  const found = spoken.stretches.map((stretch) => notesOf(stretch, { ...frames, pitch: spoken.pitch }, tuning, bounds));
  return { notes: found.flatMap(({ notes }) => notes), doubts: found.flatMap(({ doubts }) => doubts) };
}

/**
 * Notes loud enough to be the player's, in order; the others are doubts.
 * @param {Listened} heard
 * @param {Bounds} bounds
 * @returns {Listened}
 */
export function loudEnough({ notes, doubts }, bounds) {
  if (notes.length === 0) return { notes, doubts };
  const { quietest } = bounds;
  const loud = percentile(notes.map(({ level }) => level), 75);
  const inOrder = octavesTrusted([...notes].sort((a, b) => a.onset - b.onset), bounds);
  const kept = inOrder.filter(({ level }) => level >= loud - quietest);
  const left = notes.filter(({ level }) => level < loud - quietest).map(({ onset }) => onset);
  return { notes: kept, doubts: [...doubts, ...left].sort((a, b) => a - b) };
}

/** The notes, those not sure whose octave may be wrong: a short note may sound an octave too low from end
 * to end, far from both its neighbors.
 * @param {HeardNote[]} notes @param {Bounds} bounds */
function octavesTrusted(notes, { unsettled, strays }) {
  return notes.map((note, at) => {
    if (at === 0 || at === notes.length - 1 || note.sure > unsettled) return note;
    const near = [notes[at - 1].pitch, notes[at + 1].pitch];
    const nearer = near.reduce((sum, other) => sum + Math.abs(note.pitch - other) - Math.abs(note.pitch + 12 - other), 0);
    return nearer >= strays ? { ...note, sure: 0 } : note;
  });
}

/** The notes of a stretch: one, or several of the same pitch struck again; and its doubts.
 * @param {Stretch} stretch @param {Frames} frames @param {number} tuning @param {Bounds} bounds
 * @returns {Listened} */
function notesOf(stretch, frames, tuning, bounds) {
  const around = Math.floor(bounds.around / FINE + 1e-9);
  const first = Math.max(0, stretch.first * RATIO - around);
  const last = Math.min(frames.fine.length, stretch.last * RATIO + around);
  if (last - first < 8) return { notes: [], doubts: [] };
  const steady = steadyPitch(frames.pitch, stretch);
  const strength = harmonicDb(frames.fine.slice(first, last), steady + tuning / 100);
  const [begin, end] = [stretch.first * RATIO - first, stretch.last * RATIO - first];
  const { starts, doubts } = startsOf(strength, begin, end, around, bounds);
  const notes = starts.flatMap((at, index) => {
    const until = starts[index + 1] ?? end;
    const row = Math.floor((first + at) / RATIO);
    const rows = [row, Math.max(Math.floor((first + until) / RATIO), row + 1)];
    const cents = 100 * (median(frames.pitch.slice(...rows)) - stretch.pitch);
    if ((until - at) * FINE < bounds.shortest) return [];
    if (!(Math.abs(cents) <= bounds.farthest_cents)) {
      doubts.push(at); // most of it was heard as another pitch
      return [];
    }
    const sure = frames.confidence.slice(...rows);
    return [{
      onset: (first + at) * FINE,
      end: (first + letGo(strength, at, until, bounds.drop)) * FINE,
      pitch: stretch.pitch,
      level: mostOf(strength, at, at + HEAD),
      sure: sure.reduce((sum, each) => sum + each, 0) / sure.length,
      cents,
    }];
  });
  return { notes, doubts: [...doubts.map((at) => (first + at) * FINE), ...strays(stretch, frames)] };
}

/** Where a pitch is struck, and where it may have been struck once more.
 * @param {Float64Array} strength @param {number} begin @param {number} end @param {number} around
 * @param {Bounds} bounds */
function startsOf(strength, begin, end, around, { struck, maybe, faded, apart }) {
  const rise = riseOf(strength);
  const onset = greatest(rise, Math.max(0, begin - around), Math.min(rise.length, begin + (around >> 1)));
  const starts = [onset];
  /** @type {number[]} */
  const doubts = [];
  const far = Math.floor(apart / FINE + 1e-9);
  const least = mostOf(strength, onset, onset + HEAD) - faded;
  // at its very end a rise is the next pitch's, whose harmonics this one shares
  for (const at of peaksOf(rise, Math.max(begin, onset) + far, end - around)) {
    if (mostOf(strength, at, at + HEAD) < least) continue;
    if (rise[at] >= struck && at - starts[starts.length - 1] >= far) starts.push(at);
    else if (rise[at] >= maybe) doubts.push(at);
  }
  return { starts, doubts };
}

/** Where a note is let go: it dies away faster than a string that rings.
 * @param {Float64Array} strength @param {number} at @param {number} until @param {number} drop */
function letGo(strength, at, until, drop) {
  for (let after = at + (HEAD >> 1); after < until - DYING; after += 1) {
    if (strength[after] - strength[after + DYING] >= drop) return after + Math.floor(DYING / 3);
  }
  return until;
}

/** A moment in a stretch at which another pitch was heard for two frames and more, in seconds.
 * @param {Stretch} stretch @param {Frames} frames */
function strays(stretch, { pitch, confidence }) {
  const away = (/** @type {number} */ at) => Math.abs(pitch[at] - stretch.pitch) > 0.6 && confidence[at] > 0.3;
  for (let at = stretch.first + 3; at + 1 < stretch.last - 1; at += 1) {
    if (away(at) && away(at + 1)) return [at * RATIO * FINE];
  }
  return [];
}

/** How many dB the strength rises from the 20 ms before a frame to the 24 ms after it.
 * @param {Float64Array} strength */
function riseOf(strength) {
  const span = 5;
  const last = strength.length - 1;
  return strength.map((_, at) => {
    let before = Infinity;
    let after = -Infinity;
    for (let k = 0; k <= span; k += 1) {
      before = Math.min(before, strength[Math.max(0, at - k)]);
      after = Math.max(after, strength[Math.min(last, at + k)]);
    }
    return after - before;
  });
}

/** @param {Float64Array} rise @param {number} low @param {number} high */
function peaksOf(rise, low, high) {
  const reach = Math.floor(0.04 / FINE);
  const found = [];
  for (let at = low; at < high && at < rise.length; at += reach) {
    const top = greatest(rise, at, Math.min(at + reach, high));
    const most = mostOf(rise, Math.max(0, top - reach), top + reach);
    if (top > 0 && rise[top] === most) found.push(top);
  }
  return found;
}

/** The index of the greatest value from `low` up to `high`. @param {Float64Array} values @param {number} low @param {number} high */
function greatest(values, low, high) {
  let best = low;
  for (let at = low; at < Math.min(high, values.length); at += 1) if (values[at] > values[best]) best = at;
  return best;
}

/** @param {Float64Array} values @param {number} low @param {number} high */
function mostOf(values, low, high) {
  return values[greatest(values, low, high)];
}
