// The threads of guide tones: how two voices run through a row of bars, as lines to be drawn.

/**
 * @typedef {import("./types.js").Knot} Knot
 * @typedef {{x: number, y: number, knot: Knot}} Tied  A knot where it is drawn.
 * @typedef {{first: number, count: number, columns: number}} Row  Bars of a row, and its columns.
 */

/** How much of a column the thread takes to slant to its next tone. */
const SLANT = 0.22;

/**
 * The pitches the threads reach, lowest and highest.
 * @param {Knot[][]} threads
 * @returns {[number, number]}
 */
export function rangeOf(threads) {
  const pitches = threads.flat().map(([, , pitch]) => pitch);
  return [Math.min(...pitches), Math.max(...pitches)];
}

/**
 * One thread through one row: an SVG path, and the knots that lie in the row.
 * @param {Knot[]} thread  Knots in order; bars count from 0.
 * @param {Row} row
 * @param {(bar: number, tick: number) => number} share  How far into its bar a tick is, 0 to 1.
 * @param {number} width  Of a column.
 * @param {(pitch: number) => number} height
 * @returns {{path: string, knots: Tied[]}}
 */
export function threadIn(thread, row, share, width, height) {
  const end = row.first + row.count;
  const inside = thread.filter(([bar]) => bar >= row.first && bar < end);
  const before = thread.findLast(([bar]) => bar < row.first) ?? thread[thread.length - 1];
  if (!before) return { path: "", knots: [] };
  const knots = inside.map((knot) => ({
    x: (knot[0] - row.first + share(knot[0], knot[1])) * width,
    y: height(knot[2]),
    knot,
  }));
  let y = knots.length > 0 && knots[0].x === 0 ? knots[0].y : height(before[2]);
  let path = `M0 ${y}`;
  for (const next of knots) {
    const start = Math.max(0, next.x - SLANT * width);
    const middle = (start + next.x) / 2;
    if (next.x > 0) path += `H${start}C${middle} ${y} ${middle} ${next.y} ${next.x} ${next.y}`;
    y = next.y;
  }
  return { path: `${path}H${row.count * width}`, knots };
}

/**
 * The rows of a chart: so many columns at most, a new row wherever a section begins.
 * @param {{top: boolean}[]} bars
 * @param {number} columns
 * @returns {Row[]}
 */
export function rowsOf(bars, columns) {
  /** @type {Row[]} */
  const rows = [];
  bars.forEach((bar, at) => {
    const last = rows[rows.length - 1];
    if (!last || bar.top || last.count === columns) rows.push({ first: at, count: 1, columns });
    else last.count += 1;
  });
  return rows;
}
