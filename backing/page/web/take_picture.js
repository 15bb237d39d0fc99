// A take as a picture: time from left to right, four bars a row, chord tones as lanes. Shapes, not
// colors, tell the notes apart.

import { svg } from "./svg.js";
import { unresolved } from "./take_account.js";
import { pitchClass } from "./take_figures.js";

/**
 * @typedef {import("./take_types.js").Account} Account
 * @typedef {import("./take_types.js").CourseBar} CourseBar
 * @typedef {import("./take_types.js").JudgedNote} JudgedNote
 * @typedef {import("./take_types.js").NoteKind} NoteKind
 * @typedef {import("./take_course.js").Course} Course
 * @typedef {object} Row  Bars side by side, and the lanes from the lowest pitch up.
 * @property {CourseBar[]} bars
 * @property {string} where  Which time it is, where that is not the time of the row above.
 * @property {number} start
 * @property {number} end
 * @property {number} low
 * @property {number} high
 * @property {number} top
 */

const BARS = 4;
const BEAT = 46;
const LANE = 8;
const LEFT = 8;
const HEAD = 30;
const GAP = 18;
/** @type {[kind: NoteKind, words: string][]} */
const LEGEND = [
  ["chord tone", "chord tone"], ["tension", "tension"], ["approach", "leads in by step"],
  ["unresolved", "left the chord"], ["unclear", "not heard clearly"],
];

/**
 * The picture of a take.
 * @param {Course} course
 * @param {Account} told
 */
export function takePicture(course, told) {
  const pitches = told.notes.map(({ placed }) => placed.pitch);
  const low = Math.min(...pitches) - 2;
  const high = Math.max(...pitches) + 2;
  const step = HEAD + (high - low + 1) * LANE + GAP;
  const rows = rowsOf(course, told).map((bars, at, all) => ({
    bars, low, high,
    where: bars[0].where === all[at - 1]?.[0].where ? "" : bars[0].where,
    start: bars[0].start,
    end: bars[bars.length - 1].start + bars[bars.length - 1].beats,
    top: 24 + at * step + HEAD,
  }));
  const widest = Math.max(...rows.map(({ start, end }) => end - start));
  const width = Math.max(LEFT + widest * BEAT + 8, 560);
  const height = 24 + rows.length * step;
  const picture = svg("svg", { class: "take-picture", viewBox: `0 0 ${width} ${height}`, width, height, role: "img" });
  picture.setAttribute("aria-label", `${told.notes.length} notes over the chords, ${unresolved(told).length} of them left the chord`);
  picture.append(...legend(), ...rows.flatMap((row) => rowOf(course, told, row)));
  return picture;
}

/** The player's bars in rows, a new one where another time begins. @param {Course} course @param {Account} told */
function rowsOf(course, told) {
  const [first, last] = [told.notes[0].placed.bar, told.notes[told.notes.length - 1].placed.bar];
  /** @type {CourseBar[][]} */
  const rows = [];
  for (const bar of course.bars.slice(first, last + 1)) {
    const row = rows[rows.length - 1];
    if (!row || row.length === BARS || row[0].where !== bar.where) rows.push([bar]);
    else row.push(bar);
  }
  return rows;
}

/** @param {Row} row @param {number} beat */
function xOf(row, beat) {
  return LEFT + (beat - row.start) * BEAT;
}

/** @param {Row} row @param {number} pitch */
function yOf(row, pitch) {
  return row.top + (row.high - pitch) * LANE;
}

/** @param {Course} course @param {Account} told @param {Row} row */
function rowOf(course, told, row) {
  const bottom = yOf(row, row.low) + LANE;
  const names = new Map(unresolved(told).map(({ bar, beat, name }) => [`${bar} ${beat}`, name]));
  const notes = told.notes.filter(({ placed }) => row.bars.includes(course.bars[placed.bar]));
  return [
    ...course.chords.filter(({ start, end }) => start < row.end && end > row.start).flatMap((chord) => lanes(row, chord)),
    ...row.bars.flatMap((bar) => barLines(row, bar, bottom)),
    svg("line", { class: "bar-line", x1: xOf(row, row.end), x2: xOf(row, row.end), y1: row.top - 4, y2: bottom }),
    svg("text", { class: "where", x: LEFT, y: row.top - 20 }, row.where),
    ...missing(told, row),
    ...notes.flatMap(({ kind, placed }) => {
      const [x, y] = [xOf(row, placed.beat), yOf(row, placed.pitch)];
      const width = Math.max(5, (Math.min(placed.end, row.end) - placed.beat) * BEAT - 1.5);
      const name = names.get(`${placed.bar} ${course.counted(placed.eighth, placed.bar)}`);
      const label = kind === "unresolved" && name ? [svg("text", { class: "left", x: x - 3, y: y - 4 }, name)] : [];
      return [...sign(kind, x, y, width), ...label];
    }),
  ];
}

/** The lanes of a chord. @param {Row} row @param {import("./take_types.js").CourseChord} chord */
function lanes(row, chord) {
  const x = xOf(row, Math.max(chord.start, row.start));
  const width = xOf(row, Math.min(chord.end, row.end)) - x - 2;
  /** @type {Element[]} */
  const found = [svg("text", { class: "chord", x: x + 2, y: row.top - 6 }, chord.symbol)];
  for (let pitch = row.low; pitch <= row.high; pitch += 1) {
    if (!chord.tones.includes(pitchClass(pitch))) continue;
    const root = pitchClass(pitch) === chord.root;
    const y = yOf(row, pitch);
    found.push(
      svg("rect", { class: root ? "lane root" : "lane", x: x + 1, y: y + 0.5, width, height: LANE - 1 }),
      svg("text", { class: "degree", x: x + 2, y: y + LANE - 1 }, chord.degrees[pitchClass(pitch - chord.root)]),
    );
  }
  return found;
}

/** @param {Row} row @param {CourseBar} bar @param {number} bottom */
function barLines(row, bar, bottom) {
  const x = xOf(row, bar.start);
  const shade = { class: "others", x, y: row.top, width: bar.beats * BEAT, height: bottom - row.top };
  return [
    ...(bar.yours ? [] : [svg("rect", shade)]),
    svg("line", { class: "bar-line", x1: x, x2: x, y1: row.top - 4, y2: bottom }),
    svg("text", { class: "label", x: x + 3, y: bottom + 11 }, bar.label),
  ];
}

/** What the take leaves out of the line. @param {Account} told @param {Row} row */
function missing(told, row) {
  const left = (told.along?.departures ?? []).filter(
    ({ played, eighth }) => played === null && eighth / 2 >= row.start && eighth / 2 < row.end,
  );
  return left.map(({ eighth, wanted }) =>
    svg("rect", { class: "missing", x: xOf(row, eighth / 2), y: yOf(row, wanted) + 0.5, width: 0.4 * BEAT, height: LANE - 1 }),
  );
}

/** How a note of a kind is drawn in the lane whose upper edge is `y`.
 * @param {NoteKind} kind @param {number} x @param {number} y @param {number} width */
function sign(kind, x, y, width) {
  const name = { "chord tone": "tone", tension: "tension", unclear: "unclear" }[String(kind)] ?? "outside";
  const inset = { tone: 0, tension: 0.6, unclear: 0.6, outside: 1.8 }[name] ?? 0;
  const bar = svg("rect", { class: `note ${name}`, x, y: y + inset, width, height: LANE - 2 * inset, rx: name === "outside" ? 0 : 2 });
  if (kind !== "unresolved") return [bar];
  const middle = y + LANE / 2;
  return [bar, svg("path", { class: "cross", d: `M${x - 5.5} ${middle - 5.5}l11 11m0 -11l-11 11` })];
}

function legend() {
  let x = LEFT;
  return LEGEND.flatMap(([kind, words]) => {
    const signs = [...sign(kind, x + 4, 6, 16), svg("text", { class: "label", x: x + 26, y: 12 }, words)];
    x += 38 + 5.4 * words.length;
    return signs;
  });
}
