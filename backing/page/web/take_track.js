// What the band has played, as the course that a take is held against.

import { notesOf } from "./band.js";
import { fitsTempo, lateBeats, ratioAt, swungBeat } from "./feel.js";
import { Spans } from "./spans.js";
import { Course } from "./take_course.js";
import { Hand } from "./take_hand.js";
import { pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./take_types.js").CourseBar} CourseBar
 * @typedef {import("./take_types.js").CourseChord} CourseChord
 * @typedef {{turn: Turn, seconds: number}} Played  A bar and when it began.
 * @typedef {object} How
 * @property {number} first  The bar with which a time through the loop begins.
 * @property {boolean} line  Whether the line is heard.
 * @property {"" | "drums" | "line"} partner  With whom the player trades.
 * @property {number} reads  Half steps by which the player's chords are written higher than they sound.
 * @property {number} position  Index into the positions of the neck that is practiced; -1 for none.
 */

/** @param {number} number */
export function ordinal(number) {
  const teen = number % 100 > 10 && number % 100 < 14;
  return `${number}${teen ? "th" : ({ 1: "st", 2: "nd", 3: "rd" }[number % 10] ?? "th")}`;
}

/**
 * The course of bars that were played one after the other.
 * @param {PageData} data
 * @param {Played[]} played  At least one; `after` is the bar that would have followed.
 * @param {Turn | null} after
 * @param {How} how
 */
export function courseOf(data, played, after, how) {
  const line = how.line ? lineOf(data, played, after) : [];
  const starts = startsOf(played);
  const wheres = timesOf(data, played, how);
  const bars = played.map(({ turn, seconds }, at) => {
    const start = starts[at];
    const called = data.line.lines[turn.line].kind === "call" && line.some(({ beat }) => beat >= start && beat < start + turn.beats);
    return {
      label: labelOf(data, turn),
      where: wheres[at],
      start,
      beats: turn.beats,
      seconds,
      tempo: turn.tempos[0],
      swing: ratioAt(data, turn, 0),
      yours: yoursIn(turn, how.partner) && !called,
      at: turn.bar,
    };
  });
  const plain = new Course(data.title, bars, chordsOf(data, played, after, how), data.take);
  const tones = line.map((tone) => ({ ...tone, seconds: plain.secondsAt(tone.beat) }));
  const heard = how.line ? played.map(({ turn }) => data.line.lines[turn.line]) : [];
  const unbroken = heard.length > 0 && heard.every((each) => each.unbroken);
  const kind = heard[0]?.kind ?? "";
  const hand = data.neck?.positions[how.position] ?? null;
  return new Course(data.title, bars, plain.chords, data.take, tones, kind, unbroken, hand);
}

/** @param {Played[]} played */
function startsOf(played) {
  let beat = 0;
  return played.map(({ turn }) => (beat += turn.beats) - turn.beats);
}

/** @param {PageData} data @param {Turn} turn */
function labelOf(data, turn) {
  const [count, rest] = data.take.counted;
  return { count, rest }[String(turn.kind)] ?? data.bars[turn.bar].label;
}

/** Whether the player is judged in a bar. @param {Turn} turn @param {How["partner"]} partner */
function yoursIn({ kind, resting }, partner) {
  if (kind === "count" || kind === "rest") return false;
  if (kind === "play" && partner === "line") return resting.has("etude");
  return !(resting.has("bass") && !resting.has("kit")); // the drums' turn
}

/** Which time through each bar is, in words; nothing where there is one.
 * @param {PageData} data @param {Played[]} played @param {How} how */
function timesOf(data, played, { first, reads }) {
  const turns = played.map(({ turn }) => turn);
  const own = turns.filter(({ kind }) => kind === "play");
  const climbs = new Set(own.map(({ tempo }) => tempo)).size > 1;
  const moves = new Set(own.map(({ key }) => key)).size > 1;
  /** @type {Map<string, number>} */
  const counts = new Map();
  let begun = false;
  const times = turns.map(({ kind, bar, tempo, key }) => {
    if (kind !== "play") {
      begun = false;
      return 0;
    }
    const step = `${tempo} ${key}`;
    if (bar === first || !begun || !counts.has(step)) counts.set(step, (counts.get(step) ?? 0) + 1);
    begun = true;
    return counts.get(step) ?? 0;
  });
  const many = climbs || moves || times.some((time) => time > 1);
  return turns.map(({ kind, tempo, key }, at) => {
    if (!many || kind !== "play") return "";
    const words = [`${ordinal(times[at])} time`];
    if (climbs) words.push(`at ${Math.round(tempo)} bpm`);
    if (moves) words.push(`in ${writtenKey(data, key, reads).name.split(" ")[0]}`);
    return words.join(" ");
  });
}

/** The chords in a row; equal ones that follow each other are one.
 * @param {PageData} data @param {Played[]} played @param {Turn | null} after @param {How} how */
function chordsOf(data, played, after, { reads, position }) {
  const spans = new Spans(data);
  const hand = new Hand(data, spans, position);
  /** @type {CourseChord[]} */
  const found = [];
  const starts = startsOf(played);
  const rows = played.map(({ turn }, at) => ({ turn, start: starts[at], beats: turn.beats }));
  const end = rows[rows.length - 1].start + rows[rows.length - 1].beats;
  if (after) rows.push({ turn: after, start: end, beats: 1 });
  for (const { turn, start, beats } of rows) {
    if (!["play", "lead"].includes(turn.kind)) continue;
    for (const { span, chord, from, until } of changesIn(data, spans, turn.bar, beats)) {
      if (from >= beats) break; // of the bar that would come next, the beginning is enough
      const under = hand.under(span, turn.key);
      if (chord >= 0) addChord(found, { ...chordIn(data, chord, turn.key, reads), ...under, start: start + from, end: start + until });
      else if (found.length > 0) found[found.length - 1].end = Math.min(found[found.length - 1].end, start + from);
    }
  }
  return found;
}

/** @param {CourseChord[]} found @param {CourseChord} chord */
function addChord(found, chord) {
  const last = found[found.length - 1];
  if (last && last.symbol === chord.symbol && chord.start <= last.end) {
    last.end = Math.max(last.end, chord.end);
    return;
  }
  if (last) last.end = Math.min(last.end, chord.start);
  found.push(chord);
}

/** The chords of a bar as they sound, pushes included, in beats from its start.
 * @param {PageData} data @param {Spans} spans @param {number} bar @param {number} beats */
function changesIn(data, spans, bar, beats) {
  const first = spans.at(bar, 0);
  const own = data.spans.flatMap(([at, tick, , chord], span) => (at === bar && tick > 0 ? [{ span, tick, chord }] : []));
  const rows = [{ span: first, tick: 0, chord: data.spans[first][3] }, ...own];
  const begins = rows.map(({ tick }) => {
    const change = data.bars[bar].changes.find(([at]) => at === tick);
    return (tick - (change ? change[2] : 0)) / data.ticks;
  });
  return rows.map(({ span, chord }, at) => ({ span, chord, from: begins[at], until: begins[at + 1] ?? beats }));
}

/** A chord in no place yet. @param {PageData} data @param {number} chord @param {number} key
 * @param {number} reads @returns {CourseChord} */
function chordIn(data, chord, key, reads) {
  const { root, tones, tensions, degrees } = data.chords[chord];
  const { semitones } = data.keys[key];
  const { symbols, names } = writtenKey(data, key, reads);
  const moved = (/** @type {number} */ tone) => pitchClass(tone + semitones);
  const [letter, suffix, bass] = symbols[chord];
  return {
    start: 0,
    end: 0,
    reads,
    symbol: `${letter}${suffix}${bass ? `/${bass}` : ""}`,
    root: moved(root),
    tones: tones.map(moved),
    tensions: tensions.map(moved),
    degrees,
    names: names[chord],
  };
}

/** The notes of the line, in beats, as late as they are played. @param {PageData} data @param {Played[]} played @param {Turn | null} after */
function lineOf(data, played, after) {
  const starts = startsOf(played);
  return played.flatMap(({ turn }, at) => {
    const next = played[at + 1]?.turn ?? after ?? turn;
    return notesOf(data, turn, next)
      .filter((note) => note.part === "etude" && fitsTempo(turn, note))
      .map((note) => {
        const played = note.swung ? swungBeat(data, turn, note.onset) : note.onset;
        return { beat: starts[at] + played + lateBeats(data, turn, note), pitch: note.pitch, seconds: 0 };
      })
      .sort((a, b) => a.beat - b.beat);
  });
}

/**
 * The chord that sounds at a beat of a bar; null where there is none.
 * @param {PageData} data
 * @param {Turn} turn
 * @param {number} beat
 */
export function chordAt(data, turn, beat) {
  if (!["play", "lead"].includes(turn.kind)) return null;
  const rows = changesIn(data, new Spans(data), turn.bar, turn.beats);
  const row = rows.findLast(({ from }) => from <= beat) ?? rows[0];
  return row.chord < 0 ? null : chordIn(data, row.chord, turn.key, 0);
}

/** The key that a player reads. @param {PageData} data @param {number} key @param {number} reads */
function writtenKey(data, key, reads) {
  return data.keys[(key + reads) % data.keys.length];
}
