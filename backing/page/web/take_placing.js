// Where the track was when a take was played: found from its notes, and how surely.

import { mean, median, pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").HeardNote} HeardNote
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {[tone: number, tension: number, other: number]} Weights
 * @typedef {object} Prices  By steps from `first` seconds on: what a note is worth there.
 * @property {number} first
 * @property {number} count
 * @property {Float32Array} harmony  Twelve pitch classes a step.
 * @property {Float32Array} rhythm
 * @typedef {object} Placement  The recording's second 0 is `offset` seconds after the start of the course.
 * @property {number} offset
 * @property {number} sure  Of the bars, 0 to 1.
 * @property {number} moved  Half steps by which the take would fit much better.
 * @property {number} fits  By how much it fits better than the same notes in another order, in standard deviations.
 */

const STEP = 0.01;
const BY_CHANCE = [4 / 12, 3 / 12, 5 / 12];
const MOST_SHUFFLES = 8;
/** Beats by which a first note may come before its bar. */
const EARLY = 0.25;
/** By how much, as a logarithm, a recording is likelier to begin with the loop than elsewhere in it
 * (common practice, no source). */
const FROM_THE_TOP = 2;

/**
 * The likeliest offset between two; of a live take the latency is all that is looked for.
 * @param {Course} course
 * @param {HeardNote[]} notes  In order; at least one.
 * @param {number} low
 * @param {number} high
 * @param {boolean} anywhere  Whether it may begin in any bar, the first one rather than others.
 * @returns {Placement}
 */
export function place(course, notes, low, high, anywhere = false) {
  const usual = weightsOf(course);
  const first = best(scores(pricesOf(course, usual, low, high, notes), notes, low, high));
  const prices = pricesOf(course, fitted(course, notes, low + STEP * first), low, high, notes);
  const { own_weight: own } = course.table.bounds.placing;
  const plain = scores(prices, notes, low, high);
  const begins = plain.map((_, n) => course.beatsAt(low + STEP * n + notes[0].onset));
  const top = (/** @type {number} */ beat) => (anywhere && beat < course.beats[1] - 0.5 ? FROM_THE_TOP / own : 0);
  const mine = plain.map((score, n) => score + top(begins[n]));
  const at = best(mine);
  const weight = mine.map((score) => Math.exp(own * (score - mine[at])));
  const near = weight.filter((_, n) => alike(course, begins[n], begins[at]));
  const offset = refined(course, notes, low + STEP * at);
  const total = weight.reduce((sum, each) => sum + each, 0);
  return { offset, sure: near.reduce((sum, each) => sum + each, 0) / total, ...fit(prices, notes, low, high, mine[at]) };
}

/** Whether a take that begins at one beat is in the same bar of the form, at the same place in it, as
 * one that begins at the other. @param {Course} course @param {number} beat @param {number} other */
function alike(course, beat, other) {
  const [here, there] = [beat, other].map((each) => course.bars[course.barAt(each + EARLY)]);
  return here.label === there.label && Math.abs(beat - here.start - other + there.start) < 0.25;
}

/** @param {Course} course @returns {Weights} */
function weightsOf(course) {
  const { tone, tension, other } = course.table.bounds.placing;
  return [tone, tension, other];
}

/** The weights as this player has them at the likeliest place: an exercise in chord tones tells more.
 * @param {Course} course @param {HeardNote[]} notes @param {number} offset @returns {Weights} */
function fitted(course, notes, offset) {
  const counts = [1, 1, 1];
  for (const { onset, pitch } of notes) {
    const at = course.chordAt(course.beatsAt(onset + offset) + 0.1);
    if (at < 0) continue;
    const { tones, tensions } = course.chords[at];
    const tone = pitchClass(pitch);
    counts[tones.includes(tone) ? 0 : tensions.includes(tone) ? 1 : 2] += 1;
  }
  const total = counts.reduce((sum, count) => sum + count, 0);
  const [tone, tension, other] = counts.map((count, n) => Math.log(count / total / BY_CHANCE[n]));
  const within = (/** @type {number} */ value, /** @type {number} */ low, /** @type {number} */ high) =>
    Math.min(high, Math.max(low, value));
  return [within(tone, 0.4, 1), within(tension, -1.5, 0.1), within(other, -2.2, -0.6)];
}

/** The prices along the track where the notes may lie.
 * @param {Course} course @param {Weights} weights @param {number} low @param {number} high
 * @param {HeardNote[]} notes @returns {Prices} */
function pricesOf(course, weights, low, high, notes) {
  const first = low + notes[0].onset - STEP;
  const count = Math.ceil((high + notes[notes.length - 1].onset - first) / STEP) + 2;
  const harmony = new Float32Array(count * 12);
  const rhythm = new Float32Array(count);
  for (let at = 0; at < count; at += 1) {
    const beat = course.beatsAt(first + STEP * at);
    harmony.set(harmonyAt(course, weights, beat), at * 12);
    rhythm[at] = rhythmAt(course, beat);
  }
  addLine(course, { first, count, harmony, rhythm });
  return { first, count, harmony, rhythm };
}

/** @param {Course} course @param {Weights} weights @param {number} beat */
function harmonyAt(course, weights, beat) {
  const { outside } = course.table.bounds.placing;
  const here = course.chordAt(beat);
  const bar = course.bars[course.barAt(beat)];
  const strange = bar.yours ? 0 : 0.5 * outside;
  if (here < 0) return new Float32Array(12).fill(outside);
  const coming = course.chordAt(beat + course.table.bounds.grid.last_eighth);
  return Float32Array.from({ length: 12 }, (_, tone) => {
    const own = worth(course, here, weights, tone);
    const early = coming > here ? worth(course, coming, weights, tone) - 0.1 : own;
    return (bar.yours ? Math.max(own, early) : Math.min(Math.max(own, early), 0)) + strange;
  });
}

/** @param {Course} course @param {number} chord @param {Weights} weights @param {number} pitch */
function worth(course, chord, [tone, tension, other], pitch) {
  const { tones, tensions } = course.chords[chord];
  return tones.includes(pitch) ? tone : tensions.includes(pitch) ? tension : other;
}

/** How likely an onset is at a beat, beside anywhere in it, as a logarithm.
 * @param {Course} course @param {number} beat */
function rhythmAt(course, beat) {
  if (beat < course.bars[0].start || beat > course.end) return -0.5;
  const bar = course.bars[course.barAt(beat)];
  const inside = (beat - bar.start) % 1;
  const wide = (course.table.bounds.placing.late_spread * bar.tempo) / 60;
  const off = bar.swing / (bar.swing + 1);
  const places = [[0, 0.4], [off, 0.27], [1 / 3, 0.04], [2 / 3, 0.04]];
  const density = places.reduce((sum, [place, weight]) => {
    const away = Math.abs(((((inside - place + 0.5) % 1) + 1) % 1) - 0.5);
    return sum + (weight * Math.exp(-0.5 * (away / wide) ** 2)) / (wide * Math.sqrt(2 * Math.PI));
  }, 0.25);
  return Math.log(density);
}

/** What the line of the track adds. @param {Course} course @param {Prices} prices */
function addLine(course, { first, count, harmony }) {
  if (course.kind !== "line") return;
  const { line_spread: spread, on_line: on, off_line: off } = course.table.bounds.placing;
  for (const { seconds, pitch } of course.line) {
    const low = Math.max(0, Math.ceil((seconds - spread - first) / STEP));
    const high = Math.min(count, Math.ceil((seconds + spread - first) / STEP));
    for (let at = low; at < high; at += 1) {
      for (let tone = 0; tone < 12; tone += 1) harmony[at * 12 + tone] += tone === pitchClass(pitch) ? on : off;
    }
  }
}

/** What the take is worth at each offset from `low` to `high`.
 * @param {Prices} prices @param {HeardNote[]} notes @param {number} low @param {number} high */
function scores({ first, harmony, rhythm }, notes, low, high) {
  const found = new Float64Array(Math.max(1, Math.round((high - low) / STEP) + 1));
  for (const { onset, pitch } of notes) {
    const start = Math.round((low + onset - first) / STEP);
    const tone = pitchClass(pitch);
    for (let at = 0; at < found.length; at += 1) found[at] += harmony[(start + at) * 12 + tone] + rhythm[start + at];
  }
  return found;
}

/** @param {Float64Array} values */
function best(values) {
  return values.reduce((most, value, at) => (value > values[most] ? at : most), 0);
}

/** By how many half steps the take would fit much better, and how well it fits at all.
 * @param {Prices} prices @param {HeardNote[]} notes @param {number} low @param {number} high @param {number} mine */
function fit(prices, notes, low, high, mine) {
  const most = (/** @type {HeardNote[]} */ others) => scores(prices, others, low, high).reduce((a, b) => Math.max(a, b));
  const others = Array.from({ length: MOST_SHUFFLES }, (_, seed) => most(shuffled(notes, seed)));
  const usual = mean(others);
  const deviation = Math.sqrt(mean(others.map((each) => (each - usual) ** 2)));
  const spread = Math.max(deviation, 0.15 * Math.sqrt(notes.length));
  const moved = Array.from({ length: 11 }, (_, n) => most(notes.map((note) => ({ ...note, pitch: note.pitch + n + 1 }))));
  const far = best(Float64Array.from(moved));
  const better = moved[far] - mine > Math.max(6, 0.12 * notes.length) && (moved[far] - usual) / spread > 8;
  return { moved: better ? (far + 1 <= 6 ? far + 1 : far - 11) : 0, fits: (mine - usual) / spread };
}

/** The same rhythm with its pitches in another order. @param {HeardNote[]} notes @param {number} seed */
function shuffled(notes, seed) {
  const pitches = notes.map(({ pitch }) => pitch);
  let dice = seed + 1;
  for (let at = pitches.length - 1; at > 0; at -= 1) {
    dice = (dice * 16807) % 2147483647; // Park and Miller 1988
    const other = dice % (at + 1);
    [pitches[at], pitches[other]] = [pitches[other], pitches[at]];
  }
  return notes.map((note, at) => ({ ...note, pitch: pitches[at] }));
}

/** The offset with which the notes near their places lie on them, by the middle one.
 * @param {Course} course @param {HeardNote[]} notes @param {number} offset */
function refined(course, notes, offset) {
  for (let again = 0; again < 3; again += 1) {
    const late = notes.flatMap(({ onset }) => latenessAt(course, onset + offset));
    if (late.length < 3) break;
    offset -= median(late);
  }
  return offset;
}

/** By how many seconds an onset lies behind the beat or the off-beat that is nearest, in a list; empty
 * where it is near to neither. @param {Course} course @param {number} seconds */
function latenessAt(course, seconds) {
  const beat = course.beatsAt(seconds);
  const bar = course.bars[course.barAt(beat)];
  const inside = beat - bar.start;
  const whole = Math.floor(inside);
  const places = [whole, whole + bar.swing / (bar.swing + 1), Math.ceil(inside)];
  const away = places.map((place) => inside - place).reduce((a, b) => (Math.abs(b) < Math.abs(a) ? b : a));
  const late = (away * 60) / bar.tempo;
  return Math.abs(late) < 0.12 && Math.abs(away) < 0.2 ? [late] : [];
}
