// Where the time bends, as a chart says it: bars that slow down, and beats under a fermata.

import { svg } from "./svg.js";

/**
 * @typedef {object} Bend
 * @property {boolean} slows
 * @property {number} hold  The beat that is held, from 0; -1: none is.
 */

/** What is held lasts twice as long: bar.HELD. */
const HELD = 2;
/** A beat this much slower than the one before is held: no ritardando falls so far in a beat. */
const FALL = 0.6;

/**
 * @param {{section: string, tempo_ratios: number[]}[]} bars  In the order in which they are played.
 * @returns {Bend[]}
 */
export function bendsOf(bars) {
  let [section, before] = ["", 0];
  return bars.map((bar) => {
    const ratios = bar.tempo_ratios;
    if (bar.section !== section) [section, before] = [bar.section, 0];
    const hold = heldBeat(ratios, before);
    const plain = ratios.map((ratio, beat) => (hold >= 0 && beat >= hold ? ratio * HELD : ratio));
    before = plain[plain.length - 1];
    return { slows: plain.some((ratio, beat) => ratio < plain[beat - 1]), hold };
  });
}

/**
 * Ratios beat by beat that are all alike are those of a bar that is held from its first beat.
 * @param {number[]} ratios
 * @param {number} before  Of the beat before the bar; 0 where that says nothing.
 */
function heldBeat(ratios, before) {
  const alike = ratios.every((ratio) => ratio === ratios[0]);
  if (ratios.length > 1 && (alike || ratios[0] < FALL * before)) return 0;
  return ratios.findIndex((ratio, beat) => ratio < FALL * ratios[beat - 1]);
}

/**
 * What stands over a row: a fermata where the beat waits, "rit." with a line for as long as it slows
 * down.
 * @param {(Bend & {goesOn: boolean, beats: number, x: (beat: number) => number})[]} bars  With whether
 *   the bar before slows down, too, and where a beat stands.
 * @param {number} em
 */
export function drawBends(bars, em) {
  return bars.flatMap(({ slows, hold, goesOn, beats, x }) => {
    const held = hold < 0 ? [] : [fermata(x(hold) + 0.5 * em, em)];
    if (!slows) return held;
    const words = goesOn ? [] : [svg("text", { class: "rit", x: x(0), y: -0.2 * em }, "rit.")];
    const [x1, x2] = [x(0) + (goesOn ? 0 : 2 * em), x(hold < 0 ? beats : hold)];
    const line = svg("line", { class: "rit", x1, x2, y1: -0.35 * em, y2: -0.35 * em });
    return [...words, ...(x1 < x2 ? [line] : []), ...held];
  });
}

/** @param {number} x @param {number} em */
function fermata(x, em) {
  const sign = svg("g", { class: "fermata", transform: `translate(${x} ${-1.05 * em}) scale(${em / 16})` });
  sign.append(svg("path", { d: "M0 10C1 -3 19 -3 20 10" }), svg("circle", { cx: 10, cy: 7.6, r: 2 }));
  return sign;
}
