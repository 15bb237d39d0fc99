// Notes that begin an octave too low, as a reed's may: they are heard at their own pitch.

import { median } from "./take_figures.js";
import { apartBins, fadingDb } from "./take_strength.js";

/**
 * @typedef {import("./take_listening.js").Frames} Frames
 * @typedef {import("./take_stretches.js").Stretch} Stretch
 * @typedef {Record<string, number>} Bounds
 */

const RATIO = 4;
/** Fine frames without which it can't be said that a note began too low. */
const LEAST = 16;

/**
 * The stretches, those that only began an octave too low raised, with what follows of them; and the pitch
 * of the frames, which is raised with them.
 * @param {Stretch[]} stretches
 * @param {Frames} frames
 * @param {number} tuning  Cents.
 * @param {Bounds} bounds
 */
export function spokenOf(stretches, frames, tuning, bounds) {
  const pitch = [...frames.pitch];
  /** @type {Stretch[]} */
  const found = [];
  let raised = false;
  stretches.forEach((stretch, at) => {
    const after = stretches[at + 1];
    const goesUp = after !== undefined && after.first === stretch.last && after.pitch === stretch.pitch + 12;
    const low = beginsLow(stretch, goesUp, frames, tuning, bounds);
    const here = low ? { ...stretch, pitch: stretch.pitch + 12 } : stretch;
    for (let row = stretch.first; low && row < stretch.last; row += 1) {
      if (Math.abs(pitch[row] - stretch.pitch) < 0.6) pitch[row] += 12;
    }
    const waiting = found[found.length - 1];
    if (waiting && raised && waiting.last === here.first && waiting.pitch === here.pitch) waiting.last = here.last;
    else found.push({ ...here });
    raised = low;
  });
  return { stretches: found, pitch };
}

/** Whether a note began an octave too low: odd harmonics that fade, while the even ones, its own, sound on.
 * @param {Stretch} stretch @param {boolean} goesUp @param {Frames} frames @param {number} tuning
 * @param {Bounds} bounds */
function beginsLow(stretch, goesUp, frames, tuning, bounds) {
  const { first, last } = stretch;
  const sure = frames.confidence.slice(first, last).reduce((sum, each) => sum + each, 0) / (last - first);
  if (apartBins(stretch.pitch) < bounds.apart_bins || (sure > bounds.unsettled && !goesUp)) return false;
  const fine = frames.fine.slice(first * RATIO, last * RATIO);
  if (fine.length < LEAST) return false;
  const { fading, even } = fadingDb(fine, steadyPitch(frames.pitch, stretch) + tuning / 100);
  const [begun, left] = [fading.slice(2, 12), fading.slice(-11, -5)].map(median);
  const stays = median(even.slice(-11, -5)) - median(even.slice(2, 12));
  return begun - left >= bounds.fades && left <= bounds.gone && stays >= bounds.stays;
}

/** The pitch of a stretch as it was heard, the middle frame. @param {number[]} pitch @param {Stretch} stretch */
export function steadyPitch(pitch, stretch) {
  const heard = median(pitch.slice(stretch.first, stretch.last));
  return Math.abs(heard - stretch.pitch) < 0.6 ? heard : stretch.pitch;
}
