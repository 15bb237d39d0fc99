// One take: which bars the band plays meanwhile, and what there is to say in the end.

import { beatAt, secondsOf } from "./clock.js";
import { Rounds } from "./rounds.js";
import { account } from "./take_account.js";
import { advise } from "./take_advice.js";
import { kindIn } from "./take_kinds.js";
import { pitchClass } from "./take_figures.js";
import { place } from "./take_placing.js";
import { chordAt, courseOf } from "./take_track.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./player.js").Player} Player
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {import("./take_input.js").Ended} Ended
 * @typedef {import("./take_latency.js").Latency} Latency
 * @typedef {import("./take_track.js").How} How
 * @typedef {import("./take_track.js").Played} Played
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {object} Told
 * @property {Course} course
 * @property {import("./take_types.js").Account} told
 * @property {import("./take_types.js").Advice} advice
 * @property {string[]} remarks
 * @property {boolean} live  Whether it was played to the band in this page.
 * @property {number} offset  Seconds of the course at which the recording begins.
 * @property {Turn} first  The bar with which the course begins.
 */

const EVERY_MS = 150;
/** Without these there is nothing to tell. */
const FEWEST_HEARD = 4;
/** A take in a page must fit its changes so much better than its notes in another order. */
const FITS = 3;
/** Seconds by which a first note may be early. */
const EARLY = 0.1;
const SAY = "say in which bar your first note is, and open it again.";

/** The bars that the band plays while somebody listens. */
export class Watch {
  /** @param {Player} player */
  constructor(player) {
    this.player = player;
    /** @type {Played[]} */
    this.played = [];
    /** @type {WeakSet<object>} */
    this.seen = new WeakSet();
    this.timer = setInterval(() => this.look(), EVERY_MS);
  }

  /** Note the bars that have begun. */
  look() {
    if (!this.player.playing) return;
    const now = this.player.now();
    for (const placed of this.player.turns) {
      const seconds = this.player.clock.time(placed.start);
      if (seconds > now || this.seen.has(placed)) continue;
      this.seen.add(placed);
      this.played.push({ turn: placed.turn, seconds });
    }
  }

  /** The bar that would have come next. */
  get after() {
    const now = this.player.now();
    const coming = this.player.turns.find(({ start }) => this.player.clock.time(start) > now);
    return coming ? coming.turn : null;
  }

  stop() {
    clearInterval(this.timer);
  }

  /**
   * What a pitch is in the chord that sounds at a moment: its degree, "" for none, and its kind.
   * @param {PageData} data
   * @param {number} seconds
   * @param {number} pitch
   */
  judge(data, seconds, pitch) {
    const bar = this.played.findLast((each) => each.seconds <= seconds);
    if (!bar) return null;
    const chord = chordAt(data, bar.turn, beatAt(bar.turn, seconds - bar.seconds));
    if (!chord) return null;
    return { degree: chord.degrees[pitchClass(pitch - chord.root)], kind: kindIn(chord, pitch) ?? "outside" };
  }
}

/**
 * The account of a take that was played to the band; a sentence where there can't be one.
 * @param {PageData} data
 * @param {Played[]} played
 * @param {Turn | null} after
 * @param {How} how
 * @param {Ended} ended
 * @param {{latency: Latency | null, usual: number, slack: number}} clock  The latency that was found; where
 *   there is none, one that is usual, and by how much it may be off.
 * @returns {Told | string}
 */
export function tellLive(data, played, after, how, ended, { latency, usual, slack }) {
  if (played.length === 0) return "The band didn't play: press Play, and play along.";
  const { heard } = ended;
  if (!heard) return "Nothing was heard.";
  const why = unfit(heard);
  if (why) return why;
  const start = played[0].seconds;
  const bars = played.map(({ turn, seconds }) => ({ turn, seconds: seconds - start }));
  const course = courseOf(data, bars, after, how);
  const begun = ended.begun - start - (latency ? latency.seconds : usual);
  const found = place(course, heard.notes, begun - slack, begun + slack / 2);
  if (found.moved) return elsewhere(found.moved);
  const offset = latency ? begun : found.offset;
  const own = upTo(course, data, bars, how, lastOf(heard) + offset);
  return { ...tell(own, heard, offset, latency !== null, played[0].turn), live: true };
}

/**
 * The account of a recording made elsewhere, over the band as it is set.
 * @param {PageData} data
 * @param {Routine} routine
 * @param {How} how
 * @param {Heard} heard
 * @param {number} seconds  How long it is.
 * @param {string} from  The label of the bar of its first note, "" where that is to be found.
 * @returns {Told | string}
 */
export function tellRecorded(data, routine, how, heard, seconds, from = "") {
  const why = unfit(heard);
  if (why) return why;
  const { notes } = heard;
  const { played, once } = bandFor(data, routine, how.first, seconds);
  const course = courseOf(data, played, null, how);
  const bar = course.bars.find(({ label, yours }) => from !== "" && label === from && yours);
  if (from && !bar) return `There is no bar ${from} in what the band plays: name another one.`;
  const limits = bar ? [bar.start - 0.4, bar.start + bar.beats - 0.1].map((beat) => course.secondsAt(beat)) : [-EARLY, once - EARLY];
  const [low, high] = limits.map((time) => time - notes[0].onset);
  const found = place(course, notes, low, high, !bar);
  if (found.moved) return elsewhere(found.moved);
  if (!bar && found.fits < FITS) return `The notes hardly follow these changes: another tune, key or tempo? Else ${SAY}`;
  if (!bar && found.sure < course.table.bounds.placing.sure) return `Not sure where in the form you begin: ${SAY}`;
  const own = upTo(course, data, played, how, lastOf(heard) + found.offset);
  return tell(own, heard, found.offset, false, played[0].turn);
}

/** @param {Heard} heard */
function lastOf({ notes }) {
  return notes[notes.length - 1].onset;
}

/** The course up to the bar of the last note: of times that come after it there is nothing to say.
 * @param {Course} course @param {PageData} data @param {Played[]} played @param {How} how @param {number} seconds */
function upTo(course, data, played, how, seconds) {
  const next = course.barAt(course.beatsAt(seconds)) + 1;
  return next < played.length ? courseOf(data, played.slice(0, next), played[next].turn, how) : course;
}

/** Why there is nothing to place, "" where there is. @param {Heard} heard */
function unfit({ refusal, notes }) {
  if (refusal) return refusal;
  return notes.length < FEWEST_HEARD ? `Only ${notes.length} notes were heard: play on, or come nearer to the microphone.` : "";
}

/** @param {number} moved */
function elsewhere(moved) {
  const size = Math.abs(moved);
  return `The notes would fit these changes ${size} half step${size === 1 ? "" : "s"} ${moved > 0 ? "up" : "down"}: choose your key.`;
}

/** @param {Course} course @param {Heard} heard @param {number} offset @param {boolean} absolute
 * @param {Turn} first @returns {Told} */
function tell(course, heard, offset, absolute, first) {
  const told = account(course, heard, offset, absolute);
  return { course, told, advice: advise(course, told), remarks: heard.remarks, live: false, offset, first };
}

/** The bars of the band for so many seconds and once through more, and how long that is.
 * @param {PageData} data @param {Routine} routine @param {number} first @param {number} seconds */
function bandFor(data, routine, first, seconds) {
  const rounds = new Rounds(data, routine);
  rounds.start(first, false);
  /** @type {Played[]} */
  const played = [];
  let time = 0;
  let once = 0;
  while (once === 0 || time < seconds + once) {
    const turn = rounds.next();
    if (played.length > 0 && once === 0 && turn.bar === first) once = time;
    played.push({ turn, seconds: time });
    time += secondsOf(turn);
  }
  return { played, once };
}
