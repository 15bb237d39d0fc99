// The latency, found once: clicks are played, and heard by the microphone, or played along with.

import { median } from "./take_figures.js";
import { Microphone } from "./take_input.js";

const KEY = "backing latency";
const CLICKS = 8;
/** Seconds between clicks: slow enough for a latency of half of it; and before the first. */
const APART = 0.6;
const LEAD = 1;
const FRAME = 64 / 16000;
const EARLIEST = -0.1;
/** Frames over which a stroke rises, and by how many dB at least. */
const RISE = 4;
const LEAST = 9;
/** Strokes of all clicks that must lie near each other, and how near. */
const FEWEST = 5;
const NEAR = 0.04;
/** A spread of less than this is the clicks themselves; more is somebody who plays along. */
const EXACT = 0.004;

/**
 * @typedef {object} Latency
 * @property {number} seconds
 * @property {"clicks" | "tapping"} how
 */

/**
 * How much later clicks are heard than they were played; null where they can't be told.
 * @param {number[]} clicks  When they were played.
 * @param {number[]} loud  dB, every 4 ms
 * @param {number} begun  from this moment on.
 * @returns {Latency | null}
 */
export function latencyOf(clicks, loud, begun) {
  const strokes = strokesIn(loud).map((frame) => begun + frame * FRAME);
  const late = clicks.flatMap((click) => {
    const mine = strokes.find((stroke) => stroke >= click + EARLIEST && stroke < click + APART + EARLIEST);
    return mine === undefined ? [] : [mine - click];
  });
  if (late.length < FEWEST) return null;
  const middle = median(late);
  const near = late.filter((each) => Math.abs(each - middle) < NEAR);
  if (near.length < FEWEST) return null;
  const seconds = median(near);
  const spread = median(near.map((each) => Math.abs(each - seconds)));
  return { seconds, how: spread < EXACT ? "clicks" : "tapping" };
}

/** Frames at which something is struck: it is suddenly louder, and louder than most strokes' half.
 * @param {number[]} loud */
function strokesIn(loud) {
  const rises = loud.map((db, at) => db - Math.min(...loud.slice(Math.max(0, at - RISE), at + 1)));
  const most = loud.reduce((a, b) => Math.max(a, b), -Infinity);
  const found = [];
  for (let at = 0; at < loud.length; at += 1) {
    const around = rises.slice(Math.max(0, at - RISE), at + RISE + 1);
    const top = rises[at] >= LEAST && rises[at] >= Math.max(...around);
    const loudAfter = Math.max(...loud.slice(at, at + 3 * RISE)) > most - 20;
    if (!top || !loudAfter) continue;
    found.push(at);
    at += Math.round(0.1 / FRAME);
  }
  return found;
}

/**
 * Play clicks, hear them, and keep how late they are.
 * @param {AudioContext} context
 * @param {import("./take_types.js").TakeTable} table
 * @param {Pick<Storage, "setItem"> | null} storage
 * @param {(why: string) => void} lost
 * @returns {Promise<{latency: Latency | null, label: string}>}
 */
export async function findLatency(context, table, storage, lost) {
  const input = await Microphone.open(context, table, { what: "strokes", keep: false }, { live: () => {}, lost });
  const first = context.currentTime + LEAD;
  const clicks = Array.from({ length: CLICKS }, (_, at) => first + at * APART);
  for (const when of clicks) click(context, when);
  await new Promise((go) => {
    setTimeout(go, (LEAD + CLICKS * APART + LEAD / 2) * 1000);
  });
  const { begun, loud } = await input.end();
  const latency = latencyOf(clicks, loud ?? [], begun);
  try {
    if (latency) storage?.setItem(KEY, JSON.stringify({ ...latency, label: input.label }));
  } catch {
    // a closed storage keeps nothing: it is found again next time
  }
  return { latency, label: input.label };
}

/**
 * The latency that was found with this microphone; null where there is none.
 * @param {Pick<Storage, "getItem"> | null} storage
 * @param {string} label  "" for whichever it was.
 * @returns {Latency | null}
 */
export function keptLatency(storage, label) {
  try {
    const kept = JSON.parse(storage?.getItem(KEY) ?? "null");
    const fits = kept && Number.isFinite(kept.seconds) && (!label || kept.label === label);
    return fits ? { seconds: kept.seconds, how: kept.how } : null;
  } catch {
    return null;
  }
}

/** A short, soft click. @param {AudioContext} context @param {number} when */
function click(context, when) {
  const sound = new OscillatorNode(context, { frequency: 1800 });
  const level = new GainNode(context, { gain: 0 });
  level.gain.setValueAtTime(0.25, when);
  level.gain.exponentialRampToValueAtTime(0.001, when + 0.04);
  sound.connect(level).connect(context.destination);
  sound.start(when);
  sound.stop(when + 0.05);
}
