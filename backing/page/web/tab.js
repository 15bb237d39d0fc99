// The line as tablature under the chords of a row.

import { lineNotes } from "./line.js";
import { placeOf } from "./neck.js";
import { svg } from "./svg.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {{bar: number, x: (tick: number) => number}} Place  A bar, and where its ticks stand.
 */

/** Room for a string, in em. */
export const STRING_EM = 0.85;

/**
 * The strings of a row and the frets of a take of the line on them.
 * @param {PageData} data
 * @param {Place[]} bars
 * @param {{key: number, line: number, take: number, top: number, end: number, em: number}} look  In px.
 */
export function tablature(data, bars, { key, line, take, top, end, em }) {
  const { neck } = data;
  if (!neck) return [];
  /** @param {number} string */
  const height = (string) => top + (string - 0.5) * STRING_EM * em;
  const strings = neck.strings.map((_, at) =>
    svg("line", { class: "rule", x1: 0, x2: end, y1: height(at + 1), y2: height(at + 1) }),
  );
  const up = data.keys[key].semitones;
  const frets = bars.flatMap(({ bar, x }) => {
    return lineNotes(data, line, take, bar).map(({ row: [onset, , pitch], place }) => {
      const { string, fret } = placeOf({ pitch: pitch + up, place }, neck, neck.positions[neck.best]);
      return svg("text", { class: "fret-number", x: x(Math.max(0, onset)) + 9, y: height(string) }, String(fret));
    });
  });
  return [...strings, ...frets];
}
