// A take out of sound that comes piece by piece: its notes, what is heard just now, and what can't be
// judged.

import { filled, fixed, median, percentile } from "./take_figures.js";
import { listen, loudEnough } from "./take_listening.js";
import { PITCH_HOP, PITCH_RATE, PitchStream, pitchNetwork } from "./pitch_net.js";
import { StrengthStream, aloneIn } from "./take_strength.js";

/**
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {import("./take_types.js").TakeTable} TakeTable
 * @typedef {{seconds: number, pitch: number}} Live  What sounds: a MIDI pitch, or 0 for none.
 */

/** Frames of pitch that are turned into notes at once, and so many around them that are heard again. */
const PIECE = Math.round((20 * PITCH_RATE) / PITCH_HOP);
const MARGIN = Math.round((2 * PITCH_RATE) / PITCH_HOP);
const FRAME = PITCH_HOP / PITCH_RATE;
const RATIO = 4;
/** Frames for which a pitch has to last to be shown. */
const STEADY = 2;
/** dB below the loudest of the last seconds, from which a sound is not the player's. */
const FAR = 30;

export class Hearing {
  /** @param {Pick<TakeTable, "bounds" | "sentences">} table */
  constructor(table) {
    this.table = table;
    this.pitches = new PitchStream(pitchNetwork());
    this.strengths = new StrengthStream();
    /** @type {import("./take_listening.js").Frames} */
    this.frames = { pitch: [], confidence: [], fine: [] };
    /** The frame at which they begin, and the first one whose notes are not known yet. */
    this.base = 0;
    this.done = 0;
    /** @type {import("./take_listening.js").Listened} */
    this.found = { notes: [], doubts: [] };
    /** @type {number[]} */
    this.loud = [];
    /** @type {number[]} */
    this.sure = [];
    /** @type {number[]} */
    this.alone = [];
    this.turned = { x: 0, y: 0, count: 0 };
    this.fine = 0;
  }

  /**
   * Hear some samples, mono at PITCH_RATE; what sounds at the latest moment that is known.
   * @param {Float32Array} samples
   * @returns {Live}
   */
  add(samples, ended = false) {
    const { pitch, confidence } = this.pitches.add(samples, ended);
    pitch.forEach((hertz, at) => this.#frame(69 + 12 * Math.log2(Math.max(hertz, 1) / 440), confidence[at]));
    for (const frame of this.strengths.add(samples, ended)) {
      this.frames.fine.push(frame);
      if (this.fine++ % RATIO === 0) this.loud.push(frame.db);
    }
    while (this.frames.pitch.length + this.base >= this.done + PIECE + MARGIN) this.#piece(this.done + PIECE);
    return this.#live();
  }

  /** The take as heard. @returns {Heard} */
  finish() {
    this.add(new Float32Array(0), true);
    this.#piece(this.base + this.frames.pitch.length);
    const { notes, doubts } = loudEnough(this.found, this.table.bounds.listening);
    const tuning = this.tuning;
    const alone = this.alone.length < 8 ? 1 : median(this.alone);
    const refusal = this.#refusal(alone);
    const remarks = this.#remarks(alone);
    return { notes, doubts, tuning, exact: false, clean: this.#clean(notes), refusal, remarks };
  }

  /** How far the pitches lie from equal temperament at A 440, in cents from -50 to 50. */
  get tuning() {
    const { x, y, count } = this.turned;
    return count < 8 ? 0 : (Math.atan2(y, x) / (2 * Math.PI)) * 100;
  }

  /** @param {number} pitch @param {number} confidence */
  #frame(pitch, confidence) {
    this.frames.pitch.push(pitch);
    this.frames.confidence.push(confidence);
    this.sure.push(confidence);
    if (confidence <= 0.8) return;
    this.turned.x += Math.cos(2 * Math.PI * pitch);
    this.turned.y += Math.sin(2 * Math.PI * pitch);
    this.turned.count += 1;
  }

  /** Find the notes that begin before a frame. @param {number} until */
  #piece(until) {
    const { frames, base, done, table: { bounds } } = this;
    const tuning = this.tuning;
    const pitch = frames.pitch.map((each) => each - tuning / 100);
    const { notes, doubts } = listen({ ...frames, pitch }, tuning, bounds.listening);
    const start = base * FRAME;
    const mine = (/** @type {number} */ onset) => onset + start >= done * FRAME && onset + start < until * FRAME;
    for (const note of notes) {
      if (mine(note.onset)) this.found.notes.push({ ...note, onset: note.onset + start, end: note.end + start });
    }
    this.found.doubts.push(...doubts.filter(mine).map((doubt) => doubt + start));
    for (let at = done - base; at < until - base; at += 1) {
      const frame = frames.fine[at * RATIO];
      const voiced = frames.confidence[at] >= bounds.listening.voiced && frames.pitch[at] > 45;
      if (voiced && frame) this.alone.push(aloneIn(frame, frames.pitch[at]));
    }
    const past = Math.max(0, until - MARGIN - base);
    frames.pitch.splice(0, past);
    frames.confidence.splice(0, past);
    frames.fine.splice(0, past * RATIO);
    this.base += past;
    this.done = until;
  }

  /** @returns {Live} */
  #live() {
    const { pitch, confidence } = this.frames;
    const known = this.base + pitch.length;
    const seconds = known * FRAME;
    const last = pitch.slice(-STEADY);
    const recent = this.loud.slice(Math.max(0, known - 5 * MARGIN), known);
    const loudest = recent.reduce((most, db) => Math.max(most, db), -Infinity);
    const { hearing, listening } = this.table.bounds;
    const near = last.map((each) => Math.round(each - this.tuning / 100));
    const sounds = last.length === STEADY && confidence.slice(-STEADY).every((sure) => sure >= listening.voiced)
      && near.every((each) => each === near[0]) && loudest > hearing.silent_db && this.loud[known - 1] > loudest - FAR;
    return { seconds, pitch: sounds ? near[0] : 0 };
  }

  /** Why a take is not judged, "" where it can be. @param {number} alone */
  #refusal(alone) {
    const { bounds: { hearing, listening }, sentences } = this.table;
    const loudest = this.loud.reduce((most, db) => Math.max(most, db), -Infinity);
    if (this.loud.length === 0) return sentences.empty;
    if (loudest < hearing.silent_db) return filled(sentences.silent, { db: fixed(loudest) });
    const gate = percentile(this.loud, 95) - 25;
    const loud = this.sure.filter((_, at) => this.loud[at] > gate);
    const voiced = loud.filter((sure) => sure >= listening.voiced).length / Math.max(loud.length, 1);
    if (voiced < hearing.few_voiced) return sentences.noise;
    const { x, y, count } = this.turned;
    if (Math.hypot(x, y) / Math.max(count, 1) < hearing.tuned) return sentences.speech;
    return alone < hearing.alone ? sentences.several : "";
  }

  /** @param {number} alone */
  #remarks(alone) {
    const { bounds: { hearing }, sentences } = this.table;
    const cents = fixed(Math.abs(this.tuning));
    const way = this.tuning > 0 ? "sharp" : "flat";
    return [
      ...(Math.abs(this.tuning) >= hearing.mistuned ? [filled(sentences.tuning, { cents, way })] : []),
      ...(alone < hearing.leaks ? [sentences.leaks] : []),
    ];
  }

  /** Whether the quietest moments between the notes lie far below the loud ones.
   * @param {import("./take_types.js").HeardNote[]} notes */
  #clean(notes) {
    if (notes.length < 2) return false;
    const [first, last] = [notes[0], notes[notes.length - 1]].map(({ onset }) => Math.floor(onset / FRAME));
    const part = this.loud.slice(first, last + 1);
    return percentile(part, 75) - percentile(part, 3) >= this.table.bounds.hearing.clean_db;
  }
}
