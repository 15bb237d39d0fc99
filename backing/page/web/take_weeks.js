// The practice log as a picture: each figure over the days.

import { filled, fixed } from "./take_figures.js";
import { svg } from "./svg.js";

/**
 * @typedef {import("./take_types.js").TakeTable} TakeTable
 * @typedef {Record<string, any>} Take  A line of the log.
 * @typedef {[days: number, value: number]} Point  Days since the first take.
 */

const WIDEST = 640;
const HEIGHT = 110;
const LEFT = 60;
const RIGHT = 20;
const STEP = HEIGHT + 34;
const DAY_MS = 86_400_000;
/** Where each figure of the plot is in a take, in the order of their names. @type {((take: Take) => number | null)[]} */
const VALUES = [
  ({ tempo }) => tempo,
  ({ tones }) => (tones === null ? null : 100 * tones),
  ({ changes: { step, held, leap } }) => (step + held + leap ? (100 * (step + held)) / (step + held + leap) : null),
  ({ longest_run: run }) => run,
  ({ time }) => time.spread_ms,
];

/**
 * Each figure of the plot, where a take has one.
 * @param {Take[]} takes  At least one, the oldest first.
 * @param {Pick<TakeTable, "plotted">} table
 * @returns {Map<string, Point[]>}
 */
export function seriesOf(takes, { plotted }) {
  const days = takes.map(({ when }) => Math.round((Date.parse(dayOf(when)) - Date.parse(dayOf(takes[0].when))) / DAY_MS));
  return new Map(plotted.map((name, at) => [name, takes.flatMap((take, row) => pointOf(days[row], valueIn(take, at)))]));
}

/** @param {number} day @param {number | null} value @returns {Point[]} */
function pointOf(day, value) {
  return value === null ? [] : [[day, value]];
}

/** A figure of a take; null where it has none, or another program wrote it. @param {Take} take @param {number} at */
function valueIn(take, at) {
  try {
    const value = VALUES[at](take);
    return Number.isFinite(value) ? value : null;
  } catch {
    return null;
  }
}

/** @param {string} when */
function dayOf(when) {
  return when.slice(0, 10);
}

/**
 * @param {Take[]} takes  At least one, the oldest first.
 * @param {Pick<TakeTable, "plotted" | "plot_title">} table
 * @param {number} room  How wide it may be.
 */
export function weeksPicture(takes, table, room) {
  const [first, last] = [takes[0], takes[takes.length - 1]].map(({ when }) => dayOf(when));
  const series = [...seriesOf(takes, table)];
  const width = Math.min(LEFT + WIDEST + RIGHT, room);
  const height = 44 + series.length * STEP;
  const picture = svg("svg", { class: "take-picture", viewBox: `0 0 ${width} ${height}`, width, height, role: "img" });
  const title = filled(table.plot_title, { count: takes.length, first, last });
  const told = series.filter(([, points]) => points.length > 0).map(([name, points]) => `${name}: ${fixed(points[points.length - 1][1])}`);
  picture.setAttribute("aria-label", `${title}; the last one has ${told.join(", ")}`);
  picture.append(
    svg("text", { class: "chord", x: LEFT, y: 24 }, title),
    ...series.flatMap(([name, points], row) => figureOf(name, points, [first, last], width - LEFT - RIGHT, 44 + row * STEP)),
  );
  return picture;
}

/** @param {string} name @param {Point[]} points @param {string[]} days  The first and the last.
 * @param {number} width @param {number} top */
function figureOf(name, points, days, width, top) {
  const head = svg("text", { class: "name", x: LEFT, y: top + 10 }, name);
  if (points.length === 0) return [head];
  const values = points.map(([, value]) => value);
  const [low, high] = [Math.min(0, ...values), Math.max(...values) || 1];
  const span = Math.max(1, (Date.parse(days[1]) - Date.parse(days[0])) / DAY_MS);
  const base = top + HEIGHT + 10;
  const places = points.map(([day, value]) => ({
    x: LEFT + 8 + ((width - 16) * day) / span,
    y: base - ((HEIGHT - 14) * (value - low)) / (high - low || 1),
    value,
  }));
  return [
    head,
    svg("path", { class: "bar-line", d: `M${LEFT} ${base}h${width}` }),
    svg("polyline", { class: "way", points: places.map(({ x, y }) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ") }),
    ...places.map(({ x, y, value }) => {
      const dot = svg("circle", { class: "dot", cx: x.toFixed(1), cy: y.toFixed(1), r: 3 });
      dot.append(svg("title", {}, fixed(value)));
      return dot;
    }),
    svg("text", { x: LEFT + 8, y: base + 13 }, days[0]),
    svg("text", { x: LEFT + width - 60, y: base + 13 }, days[1]),
    svg("text", { class: "most", x: LEFT - 6, y: base - HEIGHT + 18 }, fixed(high)),
  ];
}
