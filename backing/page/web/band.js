// What the band plays in one bar: the notes of a take, what anticipates the next bar, who rests.

import { lineNotes } from "./line.js";
import { countOf } from "./rounds.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Part} Part
 * @typedef {import("./types.js").NoteRow} NoteRow
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./types.js").Struck} Struck
 */

const SWUNG = 1;
const TOGETHER = 2;
const FOOT = 4;
const MELODIC = 8;

/**
 * The notes that are struck during a turn when `next` comes after it.
 * @param {PageData} data
 * @param {Turn} turn
 * @param {Turn} next
 * @returns {Struck[]}
 */
export function notesOf(data, turn, next) {
  if (turn.kind === "end") return [];
  if (turn.kind === "count") return counted(data, turn, next);
  const notes = data.parts.flatMap((part) => {
    const mine = turn.kind === "rest" ? [] : played(data, part, turn, next);
    return [...mine, ...ahead(data, part, turn, next)];
  });
  if (turn.kind === "rest") {
    const foot = data.rest_bars[data.bars[turn.bar].meter];
    notes.push(...foot.map((row) => struck(data, "drums", "drums", row)));
  }
  return notes;
}

/**
 * @param {PageData} data
 * @param {Turn} turn
 * @param {Turn} next
 */
function counted(data, turn, next) {
  const rows = countOf(data, turn.bar, turn.tempo)[turn.counted] ?? [];
  const strokes = rows.map((row) => struck(data, "count", "drums", row));
  return [...strokes, ...data.parts.flatMap((part) => ahead(data, part, turn, next))];
}

/**
 * A part's own notes in a bar, without those that sound before it.
 * @param {PageData} data
 * @param {Part} part
 * @param {Turn} turn
 * @param {Turn} next
 */
function played(data, part, turn, next) {
  const heard = notesIn(data, part, turn)
    .filter(({ onset }) => onset >= 0)
    .filter((note) => !rests(note, turn))
    .map((note) => transposed(data, part, note, turn));
  if (next.kind !== "end" && !follows(data, turn, next)) {
    if (part.voice === "bass") leadTo(heard, firstPitch(data, part, next), turn.beats);
    if (part.voice === "comp") makeRoom(heard, ahead(data, part, turn, next));
  }
  return heard.map((note) => cutShort(note, turn, next));
}

/**
 * What sounds before the bar line of the next bar: pushes and anticipations of its chord. A count
 * and a rest bar know only what the whole band strikes.
 * @param {PageData} data
 * @param {Part} part
 * @param {Turn} turn
 * @param {Turn} next
 */
function ahead(data, part, turn, next) {
  if (next.kind === "count" || next.kind === "rest" || next.kind === "end") return [];
  const silent = turn.kind === "count" || turn.kind === "rest";
  const take = silent ? next.take : turn.take;
  return notesIn(data, part, { ...next, take })
    .filter(({ onset }) => onset < 0)
    .filter((note) => (!silent || note.together) && !rests(note, turn) && !rests(note, next))
    .map((note) => ({ ...transposed(data, part, note, next), onset: turn.beats + note.onset }))
    .filter((note) => note.onset >= 0);
}

/**
 * @param {Part} part
 * @param {{take: number, bar: number}} turn
 */
function rowsOf(part, turn) {
  // the head and the last head are played one way
  return part.takes[turn.take % part.takes.length]?.[turn.bar] ?? part.takes[0]?.[turn.bar] ?? [];
}

/**
 * @param {PageData} data
 * @param {Part} part
 * @param {{take: number, bar: number, line: number}} turn
 */
function notesIn(data, part, turn) {
  if (part.id !== "etude") return rowsOf(part, turn).map((row) => struck(data, part.id, part.voice, row));
  const notes = lineNotes(data, turn.line, turn.take, turn.bar);
  return notes.map(({ row, place }) => struck(data, part.id, part.voice, row, place));
}

/**
 * @param {PageData} data
 * @param {string} part
 * @param {string} voice
 * @param {NoteRow} row
 * @param {string} [place]
 * @returns {Struck}
 */
function struck(data, part, voice, row, place = "") {
  const [onset, length, pitch, velocity, late, flags, low = 0, high = Infinity] = row;
  return {
    part,
    voice,
    onset: onset / data.ticks,
    length: length / data.ticks,
    pitch,
    velocity,
    late,
    swung: (flags & SWUNG) > 0,
    together: (flags & TOGETHER) > 0,
    foot: (flags & FOOT) > 0,
    melodic: (flags & MELODIC) > 0,
    low,
    high,
    place,
  };
}

/**
 * @param {Struck} note
 * @param {Turn} turn
 */
function rests(note, turn) {
  const { resting } = turn;
  if (note.together) return false;
  return resting.has(note.voice) || (resting.has("kit") && note.voice === "drums" && !note.foot);
}

/**
 * @param {PageData} data
 * @param {Part} part
 * @param {Struck} note
 * @param {Turn} turn
 * @returns {Struck}
 */
function transposed(data, part, note, turn) {
  if (data.sound.voices[part.voice].kit) return note;
  return { ...note, pitch: note.pitch + data.keys[turn.key].semitones };
}

/**
 * Whether the next bar is the one the band thought would come.
 * @param {PageData} data
 * @param {Turn} turn
 * @param {Turn} next
 */
function follows(data, turn, next) {
  const ends = [data.chorus - 1, data.form?.head[data.form.head.length - 1]];
  const outs = Object.values(data.form?.out ?? {});
  const goesOn = outs.some((bars) => next.bar === bars[bars.indexOf(turn.bar) + 1] && bars.includes(turn.bar));
  return (goesOn || next.bar === (ends.includes(turn.bar) ? 0 : turn.bar + 1)) && next.key === turn.key && next.kind !== "rest";
}

/**
 * The bass's first pitch in a bar; NaN where it rests.
 * @param {PageData} data
 * @param {Part} part
 * @param {Turn} next
 */
function firstPitch(data, part, next) {
  const [first] = rowsOf(part, next);
  return first ? first[2] + data.keys[next.key].semitones : NaN;
}

/**
 * Where a loop turns back, the walking line approaches the bar it turns to: the notes of the last
 * beat go a half step beside its first note, on the side they come from.
 * @param {Struck[]} notes
 * @param {number} target
 * @param {number} beats
 */
function leadTo(notes, target, beats) {
  const last = notes.filter((note) => note.onset >= beats - 1);
  const before = notes[notes.length - last.length - 1];
  if (last.length === 0 || Number.isNaN(target)) return;
  const from = before ? before.pitch : last[0].pitch;
  const beside = from <= target ? -1 : 1;
  const pitch = target + (from === target + beside ? -beside : beside);
  for (const note of last) note.pitch = pitch;
}

/**
 * The comp's notes that the anticipations of another bar would run into give way to them.
 * @param {Struck[]} notes
 * @param {Struck[]} anticipations
 */
function makeRoom(notes, anticipations) {
  const first = Math.min(...anticipations.map((note) => note.onset));
  for (let at = notes.length - 1; at >= 0; at -= 1) {
    if (notes[at].onset >= first - 0.25) notes.splice(at, 1);
    else notes[at].length = Math.min(notes[at].length, first - notes[at].onset);
  }
}

/**
 * A note does not ring into a bar in which its player rests, nor past a turn of the loop.
 * @param {Struck} note
 * @param {Turn} turn
 * @param {Turn} next
 * @returns {Struck}
 */
function cutShort(note, turn, next) {
  if (next.kind === "end") return note;
  const silent = next.kind === "rest" || next.resting.has(note.voice) || next.bar <= turn.bar;
  const room = turn.beats - note.onset;
  return silent && note.length > room ? { ...note, length: room } : note;
}
