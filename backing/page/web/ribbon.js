// The ribbon: how the guide-tone lines from the 3rd and from the 7th run through a row of bars.

/**
 * @typedef {import("./types.js").GuideTone} GuideTone
 * @typedef {{first: number, count: number}} Row  Bars of a row.
 */

/** A line slants to its next tone within this part of a beat. */
const SLANT_BEATS = 0.9;

/**
 * The pitches the lines reach, lowest and highest.
 * @param {GuideTone[][]} lines
 * @returns {[number, number]}
 */
export function rangeOf(lines) {
  const pitches = lines.flat().map(([, , pitch]) => pitch);
  return [Math.min(...pitches), Math.max(...pitches)];
}

/**
 * One line through one row as an SVG path, and its tones that lie in the row.
 * @param {GuideTone[]} line  Tones in order; bars count from 0.
 * @param {Row} row
 * @param {(bar: number, tick: number) => number} place  x of a tick of a bar.
 * @param {number} end  x of the end of the row.
 * @param {number} beat  Width of a beat.
 * @param {(pitch: number) => number} height
 * @returns {{path: string, tones: {x: number, y: number, tone: GuideTone}[]}}
 */
export function lineIn(line, row, place, end, beat, height) {
  const inside = line.filter(([bar]) => bar >= row.first && bar < row.first + row.count);
  const before = line.findLast(([bar]) => bar < row.first) ?? line[line.length - 1];
  if (!before) return { path: "", tones: [] };
  const tones = inside.map((tone) => ({ x: place(tone[0], tone[1]), y: height(tone[2]), tone }));
  let y = tones.length > 0 && tones[0].x === 0 ? tones[0].y : height(before[2]);
  let path = `M0 ${y}`;
  for (const next of tones) {
    const start = Math.max(0, next.x - SLANT_BEATS * beat);
    const middle = (start + next.x) / 2;
    if (next.x > 0) path += `H${start}C${middle} ${y} ${middle} ${next.y} ${next.x} ${next.y}`;
    y = next.y;
  }
  return { path: `${path}H${end}`, tones };
}

/**
 * The rows of a chart: so many bars at most, a new row wherever a section begins.
 * @param {{top: boolean}[]} bars
 * @param {number} most
 * @returns {Row[]}
 */
export function rowsOf(bars, most) {
  /** @type {Row[]} */
  const rows = [];
  bars.forEach((bar, at) => {
    const last = rows[rows.length - 1];
    if (!last || bar.top || last.count === most) rows.push({ first: at, count: 1 });
    else last.count += 1;
  });
  return rows;
}
