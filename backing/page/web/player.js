// The band in time: notes are handed to the audio clock a little ahead, so that a busy page or a
// sleeping tab does not make it stumble, and taken back when the player changes his mind.

import { notesOf } from "./band.js";
import { Clock, stretchesOf, tempoAt } from "./clock.js";
import { fitsTempo, lateBeats, swungBeat } from "./feel.js";
import { Rounds } from "./rounds.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./types.js").Struck} Struck
 * @typedef {import("./sampler.js").Voice} Voice
 * @typedef {import("./rounds.js").Place} Place
 * @typedef {{turn: Turn, start: number, before: Place}} Placed  A turn, where it begins (in beats),
 *   and what was remembered before it.
 * @typedef {{note: Struck, turn: Placed, voice: Voice | null, until: number}} Event
 * @typedef {object} Instrument  Where notes go: a Sampler.
 * @property {(note: Struck, when: number, seconds: number) => Voice | null} play
 * @property {() => void} hush
 */

/** Seconds by which notes are handed over ahead: more than a page is ever busy. */
const AHEAD = 0.8;
/** In a hidden tab timers come once a second. */
const AHEAD_HIDDEN = 2.5;
const EVERY_MS = 60;
/** What sounds within so many seconds is not taken back: a busy page would bring it again too late. */
const SETTLED = 0.12;
/** What should have sounded so many seconds ago is left out. */
const TOO_LATE = 0.03;
/** From the tap to the first stroke. */
const FIRST = 0.06;

export class Player {
  /**
   * @param {PageData} data
   * @param {Routine} routine
   * @param {Instrument} instrument
   * @param {() => number} now  The audio clock, in seconds.
   */
  constructor(data, routine, instrument, now) {
    this.data = data;
    this.routine = routine;
    this.instrument = instrument;
    this.now = now;
    this.clock = new Clock();
    this.rounds = new Rounds(data, routine);
    /** @type {Placed[]} */
    this.turns = [];
    /** @type {Event[]} */
    this.waiting = [];
    /** @type {Event[]} */
    this.given = [];
    /** @type {ReturnType<typeof setInterval> | undefined} */
    this.timer = undefined;
    this.hidden = () => false;
  }

  get playing() {
    return this.timer !== undefined;
  }

  /**
   * Play from a bar, counted in or at once.
   * @param {number} bar
   * @param {boolean} counted
   */
  start(bar, counted) {
    this.stop();
    this.rounds.start(bar, counted);
    this.turns = [];
    this.clock = new Clock();
    this.#addTurn(this.now() + FIRST);
    this.timer = setInterval(() => this.pump(), EVERY_MS);
    this.pump();
  }

  /** Stop at once. */
  stop() {
    clearInterval(this.timer);
    this.timer = undefined;
    this.#takeBack(this.now());
    this.waiting = [];
    this.given = [];
    this.instrument.hush();
  }

  /**
   * Another tempo from this moment on; the beat goes on where it is.
   * @param {number} tempo
   */
  setTempo(tempo) {
    this.routine.tempo = tempo;
    this.rounds.replan(this.rounds.place);
    this.#retime(tempo, -1);
  }

  /** Another step of a climb from this moment on. @param {number} step */
  jump(step) {
    this.rounds.jump(step);
    this.#retime(this.rounds.steps[step].tempo, step);
  }

  /** @param {number} tempo @param {number} step  -1: as it is. */
  #retime(tempo, step) {
    if (!this.playing) return;
    const time = this.now() + SETTLED;
    const beat = this.clock.beat(time);
    this.#takeBack(time);
    this.clock.cut(beat);
    for (const { turn, start, before } of this.turns) {
      if (start + turn.beats <= beat) continue;
      const { tempo: old } = turn;
      turn.tempos = turn.tempos.map((bpm) => (bpm * tempo) / old);
      turn.tempo = tempo;
      if (step >= 0) Object.assign(before, { step, time: 0 });
      if (start <= beat) this.clock.set(beat, time, tempoAt(turn, beat - start));
      this.#enter(turn, start, beat);
    }
    this.pump();
  }

  /** What is practised has changed: think again from the next bar line on. */
  replan() {
    if (!this.playing) return;
    const time = this.now() + SETTLED;
    const beat = this.clock.beat(time);
    const at = this.turns.findIndex(({ turn, start }) => beat < start + turn.beats);
    const dropped = this.turns.splice(at + 1);
    if (dropped.length > 0) this.clock.cut(dropped[0].start);
    this.rounds.replan(dropped.length > 0 ? dropped[0].before : this.rounds.place);
    this.#takeBack(time);
    const current = this.turns[at];
    this.waiting = this.waiting.filter((event) => event.turn !== current && !dropped.includes(event.turn));
    this.#addTurn();
    this.waiting = this.waiting.filter(
      (event) => event.turn !== current || this.#time(event) > time,
    );
    this.pump();
  }

  /**
   * The tune has been written anew: it is played from the next bar line on, what can be at once.
   * @param {PageData} data
   * @param {Instrument} instrument
   */
  adopt(data, instrument) {
    Object.assign(this, { data, instrument });
    this.rounds.data = data;
    this.replan();
  }

  /**
   * Where the band is at a time of the audio clock; null when it is silent.
   * @param {number} [time]
   * @returns {{turn: Turn, beat: number, next: Turn | null} | null}
   */
  position(time = this.now()) {
    if (!this.playing) return null;
    const beat = this.clock.beat(time);
    const at = this.turns.findLastIndex(({ start }) => start <= beat);
    const here = this.turns[Math.max(0, at)];
    if (!here) return null;
    const next = this.turns[Math.max(0, at) + 1];
    return { turn: here.turn, beat: Math.max(0, beat - here.start), next: next ? next.turn : null };
  }

  /**
   * The notes that sound at a time.
   * @param {number} time
   * @param {(part: string) => boolean} of  Which parts are asked for.
   */
  sounding(time, of) {
    const { given } = this;
    const now = given.filter(({ note, voice, until }) => of(note.part) && voice && voice.when <= time && time < until);
    return now.map(({ note, turn }) => ({ ...note, key: turn.turn.key }));
  }

  /** Hand over the notes of the near future. */
  pump() {
    const now = this.now();
    const until = now + (this.hidden() ? AHEAD_HIDDEN : AHEAD);
    while (this.clock.time(this.turns[this.turns.length - 1].start) <= until) this.#addTurn();
    const due = this.waiting.filter((event) => this.#time(event) < until);
    this.waiting = this.waiting.filter((event) => !due.includes(event));
    due.sort((a, b) => this.#time(a) - this.#time(b));
    for (const event of due) this.#give(event, now);
    this.#forget(now);
  }

  /**
   * The next bar: now it is known what the bar before it leads to.
   * @param {number} [time]  When it begins, where that is not yet said.
   */
  #addTurn(time) {
    const before = { ...this.rounds.place };
    const turn = this.rounds.next();
    const last = this.turns[this.turns.length - 1];
    const start = last ? last.start + last.turn.beats : 0;
    const placed = { turn, start, before };
    this.turns.push(placed);
    if (!last) this.clock.set(start, time ?? this.now(), turn.tempos[0]);
    this.#enter(turn, start, start);
    if (!last) return;
    for (const note of notesOf(this.data, last.turn, turn)) {
      this.waiting.push({ note, turn: last, voice: null, until: 0 });
    }
  }

  /**
   * The tempos of a bar from a beat on: what has been said of it before is void.
   * @param {Turn} turn
   * @param {number} start
   * @param {number} from
   */
  #enter(turn, start, from) {
    for (const { beat, bpm } of stretchesOf(turn)) {
      const at = start + beat;
      if (at >= from && this.clock.bpm(at) !== bpm) this.clock.set(at, this.clock.time(at), bpm);
    }
  }

  /**
   * @param {Event} event
   * @param {number} now
   */
  #give(event, now) {
    const { note, turn } = event;
    if (!fitsTempo(turn.turn, note)) return;
    const when = this.#time(event);
    // after a long sleep the band is where it should be, and does not catch up
    if (when < now - TOO_LATE) return;
    const end = this.#place(turn.start + note.onset + note.length, note.swung);
    const seconds = Math.max(0.02, this.clock.time(end + lateBeats(this.data, turn.turn, note)) - when);
    event.voice = this.instrument.play(note, Math.max(when, now), seconds);
    event.until = when + seconds;
    this.given.push(event);
  }

  /**
   * The time at which a note begins: swung, and as late as its player sits.
   * @param {Event} event
   */
  #time(event) {
    const { note, turn } = event;
    return this.clock.time(this.#place(turn.start + note.onset, note.swung) + lateBeats(this.data, turn.turn, note));
  }

  /**
   * The played beat of a written one.
   * @param {number} beat
   * @param {boolean} swung
   */
  #place(beat, swung) {
    if (!swung) return beat;
    const { turn, start } = this.turns.findLast((placed) => placed.start <= beat) ?? this.turns[0];
    return start + swungBeat(this.data, turn, beat - start);
  }

  /**
   * Notes that have been handed over and begin after a time wait again.
   * @param {number} time
   */
  #takeBack(time) {
    const back = this.given.filter(({ voice }) => voice && voice.when > time);
    for (const event of back.reverse()) {
      event.voice?.cancel();
      event.voice = null;
      this.waiting.push(event);
    }
    this.given = this.given.filter(({ voice }) => voice);
  }

  /** @param {number} now */
  #forget(now) {
    this.given = this.given.filter(({ voice, until }) => voice && until > now - 1);
    const beat = this.clock.beat(now - 1);
    while (this.turns.length > 2 && this.turns[1].start < beat) this.turns.shift();
    this.clock.forget(Math.min(beat, this.turns[0].start));
  }
}
