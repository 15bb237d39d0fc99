// In a thread of its own: what comes from the microphone, or out of a recording, is heard.

import { Hearing } from "./take_hearing.js";
import { Resampler } from "./take_rate.js";
import { StrengthStream } from "./take_strength.js";
import { PITCH_RATE } from "./pitch_net.js";

/**
 * @typedef {import("./take_types.js").TakeTable} TakeTable
 * @typedef {{start: number, sound: Float32Array}} Sound  `start`: the first sample, by the audio clock.
 * @typedef {object} Order
 * @property {"notes" | "strokes"} what  To hear: a take, or how loud it is, for the latency.
 * @property {number} rate
 * @property {boolean} keep  Whether the sound is kept.
 * @property {Pick<TakeTable, "bounds" | "sentences">} table
 */

/** Samples of a recording that are heard before it is said how far it is. */
const PART = 10 * PITCH_RATE;

class Ear {
  /** @param {Order} order */
  constructor({ what, rate, keep, table }) {
    this.resampler = new Resampler(rate, PITCH_RATE);
    this.hearing = what === "notes" ? new Hearing(table) : null;
    this.strengths = new StrengthStream();
    this.rate = rate;
    this.keep = keep;
    /** @type {number | null} */
    this.start = null;
    this.next = 0;
    this.shown = 0;
    /** @type {number[]} */
    this.loud = [];
    /** @type {Int16Array[]} */
    this.kept = [];
  }

  /** @param {Sound} sound */
  hear({ start, sound }) {
    this.start ??= start;
    // what the page was too busy to hand on is silence
    if (this.next > 0 && start > this.next) this.#take(new Float32Array(start - this.next));
    this.next = start + sound.length;
    this.#take(sound);
  }

  /** @param {Float32Array} sound */
  #take(sound) {
    if (this.keep) this.kept.push(Int16Array.from(sound, (value) => Math.round(Math.max(-1, Math.min(1, value)) * 32767)));
    const samples = this.resampler.add(sound);
    if (!this.hearing) {
      for (const { db } of this.strengths.add(samples)) this.loud.push(db);
      return;
    }
    const live = this.hearing.add(samples);
    if (live.pitch === this.shown) return;
    this.shown = live.pitch;
    tell({ live: { pitch: live.pitch, seconds: (this.start ?? 0) / this.rate + live.seconds } });
  }

  /** A whole recording, which is told of as it goes. @param {Float32Array} sound */
  read(sound) {
    for (let at = 0; at < sound.length; at += PART) {
      this.hear({ start: at, sound: sound.subarray(at, at + PART) });
      tell({ done: Math.min(1, (at + PART) / sound.length) });
    }
  }

  finish() {
    const begun = (this.start ?? 0) / this.rate;
    if (!this.hearing) return { begun, loud: this.loud };
    return { begun, heard: this.hearing.finish(), kept: this.keep ? this.kept : null };
  }
}

/** @type {Ear | null} */
let ear = null;

/** @param {unknown} message */
function tell(message) {
  postMessage(message);
}

addEventListener("message", ({ data }) => {
  if (data.order) ear = new Ear(data.order);
  if (data.sound) ear?.hear(data);
  if (data.recording) ear?.read(data.recording);
  if (data.end && ear) {
    tell(ear.finish());
    ear = null;
  }
});
