// Which bar comes next: count-in, lead-in, times through a loop with their takes, rest bars, tempos, keys; or the
// whole form.

import { temposOf } from "./climb.js";
import { CALL, SUBDIVISIONS, called, lineAt } from "./line.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./types.js").Kind} Kind
 * @typedef {object} Step  What is played before something changes.
 * @property {number[]} bars
 * @property {number} tempo
 * @property {number} key
 * @property {number} times
 * @property {boolean} solo  Whether it is traded and laid out in.
 * @property {number} line  Which line plays, in subdivisions.
 * @property {number} before  Times through the same bars before it, in other subdivisions: the takes go on.
 * @typedef {object} Place  All that is remembered between two bars.
 * @property {number} step
 * @property {number} time  How often the bars of the step have been played,
 * @property {number} at  and which of them comes next.
 * @property {number} earlier  Times since the tempo was new, over all keys: the turns of a trade go on.
 * @property {number} counts  Bars still to be counted,
 * @property {number} counted  and how many have been; after the end, bars in which it rings.
 * @property {number} restBars  Rest bars still to come.
 * @property {number} leads  Bars of lead-in still to come.
 * @property {number} calls  Calls that have begun,
 * @property {boolean} calling  and whether the last bar belongs to one.
 * @property {boolean} over  The whole form has been played.
 */

export const SLOWEST = 20;
export const FASTEST = 400;
const SOLOISTS = new Set(["bass", "comp", "guide", "etude"]);
const ALL_BUT_FOOT = new Set([...SOLOISTS, "kit"]);
const LINE = new Set(["etude"]);
/** @type {ReadonlySet<string>} */
const NOBODY = new Set();
/** Who rests while the partner in a trade plays. */
const THEIRS = { drums: SOLOISTS, line: NOBODY };

/**
 * What is played in order: every size of a loop that grows, at every tempo, in every key.
 * @param {PageData} data
 * @param {Routine} routine
 * @returns {Step[]}
 */
export function stepsOf(data, routine) {
  const { bars, keys, climb, times, grow, tempo, whole, choruses } = routine;
  if (whole && data.form) {
    const { head } = data.form;
    const out = outOf(data, routine);
    const one = { tempo, key: keys[0], times: 1, solo: false, line: lineAt(data, routine.line), before: 0 };
    const solos = { ...one, bars: chorusOf(data), times: choruses - 2, solo: true };
    return [{ ...one, bars: head }, ...(choruses > 2 ? [solos] : []), { ...one, bars: out }];
  }
  const climbed = climb ? temposOf(climb, data.tempo) : [];
  const tempos = climbed.length > 0 ? climbed : [tempo];
  const sizes = grow ? grown(bars) : [bars];
  const lines = routine.line === SUBDIVISIONS ? data.line.subdivisions : [lineAt(data, routine.line)];
  const all = sizes.flatMap((size) => lines.map((line, at) => ({ bars: size, line, before: at * times })));
  const steps = keys.flatMap((key) =>
    tempos.flatMap((each) => all.map((step) => ({ ...step, tempo: each, key, times, solo: true }))),
  );
  return steps.length === 1 ? [{ ...steps[0], times: Infinity }] : steps;
}

/** The bars of the last head, with its ending. @param {PageData} data @param {Routine} routine */
export function outOf({ form }, { ending }) {
  return form ? (form.out[ending] ?? form.out.held) : [];
}

/** The bars of the solo chorus. @param {PageData} data */
export function chorusOf(data) {
  return Array.from({ length: data.chorus }, (_, at) => at);
}

/**
 * A loop grown backwards: its last bar, its last two, four, all of it.
 * @param {number[]} bars
 */
function grown(bars) {
  const sizes = [1];
  while (sizes[sizes.length - 1] < bars.length) sizes.push(Math.min(2 * sizes[sizes.length - 1], bars.length));
  return sizes.map((size) => bars.slice(-size));
}

export class Rounds {
  /**
   * @param {PageData} data
   * @param {Routine} routine
   */
  constructor(data, routine) {
    this.data = data;
    this.routine = routine;
    this.steps = stepsOf(data, routine);
    this.place = opening(0, 0);
  }

  /**
   * Begin before a bar with what leads to it: the count, and a lead-in where the loop begins. From a bar
   * outside the loop the tune goes on until it is there.
   * @param {number} bar
   * @param {boolean} counted
   */
  start(bar, counted) {
    this.steps = stepsOf(this.data, this.routine);
    const top = !this.#form && bar === this.routine.bars[0];
    const found = top ? 0 : this.steps.findIndex(({ bars }) => bars.includes(bar));
    const step = Math.max(0, found);
    const { bars } = this.steps[step];
    this.place = opening(step, Math.max(0, bars.indexOf(bar)));
    const { chorus } = this.data;
    if (found < 0 && !this.#form) this.place.leads = (bars[0] - bar + chorus) % chorus;
    else if (top) this.place.leads = Math.min(this.routine.leadIn, chorus);
    if (counted) this.#count();
  }

  /** Think again from a place on, for a routine or a tune that has changed. @param {Place} place */
  replan(place) {
    const bar = this.#barAt(place);
    this.steps = stepsOf(this.data, this.routine);
    const step = Math.min(place.step, this.steps.length - 1);
    const at = this.steps[step].bars.indexOf(bar);
    const leads = this.#form ? 0 : place.leads;
    this.place = { ...place, step, leads, at: Math.max(0, at), over: false };
  }

  /** Which step of the climb comes now. @param {number} step */
  jump(step) {
    this.place = { ...this.place, step, time: 0 };
  }

  /** @returns {Turn} */
  next() {
    this.#call();
    const turn = this.#turn();
    this.#advance();
    return turn;
  }

  /** @returns {Kind} */
  get kind() {
    const { counts, restBars, leads, over } = this.place;
    if (over) return "end";
    if (counts > 0) return "count";
    if (restBars > 0) return "rest";
    return leads > 0 ? "lead" : "play";
  }

  get #form() {
    return this.routine.whole && this.data.form !== null;
  }

  /** The bar that comes next. @param {Place} place */
  #barAt({ step, at, leads }) {
    const bar = this.steps[step].bars[at];
    if (leads === 0) return bar;
    const { chorus } = this.data;
    return (this.steps[step].bars[0] - leads + chorus) % chorus;
  }

  /** @returns {Turn} */
  #turn() {
    const { step, time, counted } = this.place;
    const { tempo, key, before } = this.steps[step];
    const bar = this.#barAt(this.place);
    const beats = this.#beatsOf(bar);
    const tempos = this.#ratiosOf(bar).map((ratio) => tempo * ratio);
    const take = this.routine.same ? 0 : before + time;
    const line = this.#line;
    const resting = this.#resting();
    return { kind: this.kind, bar, counted, beats, take, line, step, tempo, tempos, key, resting };
  }

  /** Whether a call begins: after an answer, or where the bars begin again. */
  #call() {
    const { place } = this;
    const calling = this.kind === "play" && called(this.data, this.#barAt(place));
    if (calling && (!place.calling || place.at === 0)) place.calls += 1;
    place.calling = calling;
  }

  /** Which line plays: of calls on each start in turn, that of the call that has begun. */
  get #line() {
    const { calls } = this.data.line;
    if (this.routine.line !== CALL || calls.length === 0) return this.steps[this.place.step].line;
    return calls[Math.max(0, this.place.calls - 1) % calls.length];
  }

  /** A count is of whole bars, but that a pickup sounds inside its last one. @param {number} bar */
  #beatsOf(bar) {
    const { beats, groups } = this.data.bars[bar];
    if (this.kind !== "count") return beats;
    const whole = groups.reduce((sum, group) => sum + group, 0);
    return this.place.counts === 1 && beats < whole ? whole - beats : whole;
  }

  /** A bar bends its own time alone: a count and a rest bar go as it begins, what rings after it as it ended.
   * @param {number} bar */
  #ratiosOf(bar) {
    const { tempo_ratios: ratios } = this.data.bars[bar];
    if (this.kind === "end") return ratios.slice(-1);
    return this.kind === "count" || this.kind === "rest" ? ratios.slice(0, 1) : ratios;
  }

  #advance() {
    const { place } = this;
    switch (this.kind) {
      case "end":
        place.counted += 1;
        break;
      case "count":
        place.counts -= 1;
        place.counted += 1;
        break;
      case "rest":
        place.restBars -= 1;
        break;
      case "lead":
        place.leads -= 1;
        break;
      default:
        place.at += 1;
        if (place.at === this.steps[place.step].bars.length) this.#round();
    }
  }

  /** The bars of a step begin again, or those of the next begin. */
  #round() {
    const { place, steps, routine } = this;
    const { times, tempo } = steps[place.step];
    place.at = 0;
    place.time += 1;
    place.earlier += 1;
    const last = place.step === steps.length - 1;
    if (this.#form) {
      if (place.time < times) return;
      if (last) Object.assign(place, { over: true, counted: 0, at: steps[place.step].bars.length - 1 });
      else Object.assign(place, { step: place.step + 1, time: 0 });
      return;
    }
    // keys go round and round; a climb, and a loop that has grown, stay as they are at last
    const stays = last && (routine.climb !== null || routine.grow || steps.length === 1);
    if (place.time < times || stays) {
      place.restBars = routine.restBars;
      return;
    }
    Object.assign(place, { step: (place.step + 1) % steps.length, time: 0 });
    if (steps[place.step].before > 0) place.restBars = routine.restBars;
    if (routine.grow) place.earlier = 0;
    if (steps[place.step].tempo === tempo) return;
    Object.assign(place, { earlier: 0, leads: Math.min(routine.leadIn, this.data.chorus) });
    this.#count();
  }

  /** Count what comes next in, if it is to be. */
  #count() {
    const { place, routine } = this;
    if (!routine.countIn) return;
    const strokes = countOf(this.data, this.#barAt(place), this.steps[place.step].tempo);
    Object.assign(place, { counts: strokes.length, counted: 0 });
  }

  /** @returns {ReadonlySet<string>} */
  #resting() {
    const { at, earlier, step, time } = this.place;
    const { trade, partner, partnerFirst, layOut } = this.routine;
    const { bars, solo } = this.steps[step];
    const leads = this.kind === "lead" && this.data.line.lines[this.#line].kind === "call"; // no room for an answer
    const silent = leads || (trade > 0 && partner === "line") ? LINE : NOBODY;
    if (this.kind !== "play" || !solo) return silent;
    if (layOut > 0 && at >= bars.length - layOut) return ALL_BUT_FOOT;
    if (trade <= 0) return NOBODY;
    const turn = turnOf(at, bars.length, trade, this.#form ? time : earlier);
    const theirs = turn % 2 === Number(!partnerFirst);
    return theirs ? THEIRS[partner] : silent;
  }
}

/**
 * @param {number} step
 * @param {number} at
 * @returns {Place}
 */
function opening(step, at) {
  return { step, time: 0, at, earlier: 0, counts: 0, counted: 0, restBars: 0, leads: 0, calls: 0, calling: false, over: false };
}

/**
 * Which turn of a trade a bar of a round belongs to, counted on from round to round.
 *
 * No trade goes over the top of a round: bars left over are a short trade of their own if they are
 * half a trade at least, else they end the last one. Of short rounds a turn lasts several.
 * @param {number} bar @param {number} bars @param {number} trade @param {number} round
 */
export function turnOf(bar, bars, trade, round) {
  const whole = Math.floor(bars / trade);
  const left = bars % trade;
  const trades = whole + (whole === 0 || (left > 0 && 2 * left >= trade) ? 1 : 0);
  const rounds = Math.max(1, Math.floor((2 * trade + bars) / (2 * bars)));
  const before = trades === 1 ? Math.floor(round / rounds) : round * trades;
  return before + Math.min(Math.floor(bar / trade), trades - 1);
}

/**
 * The strokes of each bar counted before a bar at a tempo, as a leader counts there.
 * @param {PageData} data
 * @param {number} bar
 * @param {number} tempo
 */
export function countOf(data, bar, tempo) {
  const counts = data.counts[data.bars[bar].meter];
  const fitting = counts.find(({ up_to: limit }) => tempo < limit);
  return (fitting ?? counts[counts.length - 1]).bars;
}
