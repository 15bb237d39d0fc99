// Which bar comes next: count-in, lead-in, rounds with their takes, rest bars, climbing tempos, keys.

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./types.js").Kind} Kind
 * @typedef {object} Place  All that is remembered between two bars.
 * @property {number} bar  The bar to come; in a count or a rest bar, the one it leads to.
 * @property {number} counts  Bars still to be counted,
 * @property {number} counted  and how many have been.
 * @property {number} restBars  Rest bars still to come.
 * @property {number} leads  Bars of lead-in still to come.
 * @property {number} round
 * @property {number} tempo
 * @property {number} key
 */

export const SLOWEST = 30;
export const FASTEST = 400;
const SOLOISTS = new Set(["bass", "comp", "guide", "etude"]);
const ALL_BUT_FOOT = new Set([...SOLOISTS, "kit"]);
/** @type {ReadonlySet<string>} */
const NOBODY = new Set();
const WALK = { stay: 0, fourths: 5, "half-steps": 1 };

export class Rounds {
  /**
   * @param {PageData} data
   * @param {Routine} routine
   */
  constructor(data, routine) {
    this.data = data;
    this.routine = routine;
    /** @type {Place} */
    this.place = this.#opening(routine.from);
  }

  /**
   * Begin before a bar with what leads to it: the count, and a lead-in where the loop begins.
   * @param {number} bar
   * @param {boolean} counted
   */
  start(bar, counted) {
    const { leadIn, from, countIn, tempo } = this.routine;
    const bars = this.data.bars.length;
    this.place = this.#opening(bar);
    if (bar === from) {
      this.place.leads = Math.min(leadIn, bars);
      this.place.bar = (from - this.place.leads + bars) % bars;
    }
    if (counted && countIn) this.place.counts = countOf(this.data, this.place.bar, tempo).length;
  }

  /** @returns {Turn} */
  next() {
    const turn = this.#turn();
    this.#advance();
    return turn;
  }

  /**
   * @param {number} bar
   * @returns {Place}
   */
  #opening(bar) {
    const { tempo, key } = this.routine;
    return { bar, counts: 0, counted: 0, restBars: 0, leads: 0, round: 0, tempo, key };
  }

  /** @returns {Kind} */
  get kind() {
    const { counts, restBars, leads } = this.place;
    if (counts > 0) return "count";
    if (restBars > 0) return "rest";
    return leads > 0 ? "lead" : "play";
  }

  /** @returns {Turn} */
  #turn() {
    const { bar, counted, round, tempo, key } = this.place;
    const { beats, tempo_ratio: ratio } = this.data.bars[bar];
    return {
      kind: this.kind,
      bar,
      counted,
      beats,
      take: this.routine.same ? 0 : round,
      round,
      tempo,
      bpm: tempo * ratio,
      key,
      resting: this.#resting(),
    };
  }

  #advance() {
    const { place, routine } = this;
    switch (this.kind) {
      case "count":
        place.counts -= 1;
        place.counted += 1;
        break;
      case "rest":
        place.restBars -= 1;
        break;
      case "lead":
        place.leads -= 1;
        place.bar = (place.bar + 1) % this.data.bars.length;
        break;
      default:
        if (place.bar >= routine.from && place.bar < routine.to) place.bar += 1;
        else this.#round();
    }
  }

  /** The loop begins again. */
  #round() {
    const { place, routine } = this;
    place.bar = routine.from;
    place.round += 1;
    if (routine.climbStep > 0 && place.round % Math.max(1, routine.climbTimes) === 0) {
      // a percent is of the tune's own tempo, as in the tracks
      const percent = routine.climbUnit === "percent" ? this.data.tempo / 100 : 1;
      const climbed = Math.min(place.tempo + routine.climbStep * percent, routine.climbTo, FASTEST);
      place.tempo = Math.max(place.tempo, climbed);
    }
    const keys = this.data.keys.length;
    place.key = (place.key + WALK[routine.walk]) % keys;
    place.restBars = routine.restBars;
  }

  /** @returns {ReadonlySet<string>} */
  #resting() {
    const { bar, round } = this.place;
    const { from, to, trade, drumsFirst, layOut } = this.routine;
    if (this.kind !== "play" || bar < from || bar > to) return NOBODY;
    if (layOut > 0 && bar > to - layOut) return ALL_BUT_FOOT;
    if (trade <= 0) return NOBODY;
    const drums = turnOf(bar - from, to - from + 1, trade, round) % 2 === (drumsFirst ? 0 : 1);
    return drums ? SOLOISTS : NOBODY;
  }
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
