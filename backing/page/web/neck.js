// The fingerboard: this chord's shape in the chosen place and, before the change, where its tones go.

import { svg } from "./svg.js";
import { degreeSigns } from "./symbols.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").NeckData} NeckData
 * @typedef {import("./spans.js").Spans} Spans
 * @typedef {{string: number, fret: number, above: number, finger: number, light: boolean}} Dot
 *   A tone: string from 1, semitones above the root, finger 1 to 4 (0: open).
 * @typedef {object} View
 * @property {number} key
 * @property {number} position  Index into the positions.
 * @property {number} span
 * @property {number} next
 * @property {boolean} coming  Whether the next chord is shown too.
 * @property {boolean} names
 */

const SIGNS = "0123456789abcdefghijklmnopqrstuvwxyz";
const FRET = 84;
const STRING = 34;
const RADIUS = 14;
const MARKED = new Set([3, 5, 7, 9, 12, 15, 17, 19, 21]);
/** Tones of the next chord are near when a finger need move by no more than this. */
const NEAR = 2;

/**
 * The tones of a shape as the page's data writes it.
 * @param {string} shape
 * @returns {Dot[]}
 */
export function dotsOf(shape) {
  return shape.split(" ").flatMap((text, group) =>
    (text.match(/.{4}/g) ?? []).map((sign) => ({
      string: Number(sign[0]),
      fret: SIGNS.indexOf(sign[1]),
      above: SIGNS.indexOf(sign[2]),
      finger: Number(sign[3]),
      light: group > 0,
    })),
  );
}

/**
 * Where the tones of a shape go: for each tone of the next chord within reach of one of this
 * chord's, the nearest of them.
 * @param {Dot[]} here
 * @param {Dot[]} there
 * @param {number[]} strings
 * @returns {{from: Dot, to: Dot, by: number}[]}
 */
export function waysOf(here, there, strings) {
  /** @param {Dot} dot */
  const pitch = (dot) => strings[dot.string - 1] + dot.fret;
  return there.flatMap((to) => {
    const ways = here.map((from) => ({ from, to, by: pitch(to) - pitch(from) }));
    const near = ways.filter(({ by }) => Math.abs(by) <= NEAR);
    near.sort((a, b) => Math.abs(a.by) - Math.abs(b.by));
    return near.slice(0, 1);
  });
}

export class Neck {
  /**
   * @param {SVGSVGElement} picture
   * @param {PageData} data
   * @param {NeckData} neck
   * @param {Spans} spans
   */
  constructor(picture, data, neck, spans) {
    this.picture = picture;
    this.data = data;
    this.neck = neck;
    this.spans = spans;
    this.first = 0;
  }

  /** @param {View} view */
  show(view) {
    const here = this.#dots(view.span, view);
    const there = view.coming ? this.#dots(view.next, view) : [];
    const position = this.neck.positions[view.position];
    const frets = [...here, ...there].map(({ fret }) => fret);
    this.first = Math.max(0, Math.min(position - 1, ...frets.filter((fret) => fret > 0)));
    if (position === 1) this.first = 0;
    const last = Math.max(position + 4, ...frets);
    this.#size(last);
    const ways = waysOf(here, there, this.neck.strings);
    this.picture.replaceChildren(
      ...this.#board(last),
      ...ways.flatMap((way) => this.#way(way, view)),
      ...here.flatMap((dot) => this.#dot(dot, view)),
      ...ways.flatMap((way) => this.#coming(way, view)),
    );
    this.picture.setAttribute("aria-label", this.#inWords(here, view, position));
  }

  /**
   * @param {number} span
   * @param {View} view
   * @returns {Dot[]}
   */
  #dots(span, view) {
    const number = this.spans.numbers[span];
    if (number < 0) return [];
    return dotsOf(this.neck.shapes[this.neck.paths[view.key][view.position][number]]);
  }

  /** @param {number} last */
  #size(last) {
    const width = (last - this.first + 1) * FRET;
    const height = this.neck.strings.length * STRING + 30;
    this.picture.setAttribute("viewBox", `0 0 ${width} ${height}`);
  }

  /** @param {number} fret */
  #x(fret) {
    return (fret - this.first + 0.5) * FRET;
  }

  /** @param {number} string */
  #y(string) {
    return (string - 0.5) * STRING;
  }

  /** @param {number} last */
  #board(last) {
    const strings = this.neck.strings.length;
    const left = this.first === 0 ? FRET : 0;
    const right = (last - this.first + 1) * FRET;
    const parts = [svg("rect", { class: "wood", x: left, y: 0, width: right - left, height: strings * STRING })];
    for (let fret = this.first; fret <= last; fret += 1) {
      const x = (fret - this.first + 1) * FRET;
      const nut = fret === 0;
      parts.push(svg("line", { class: nut ? "nut" : "fret", x1: x, x2: x, y1: 0, y2: strings * STRING }));
      const mark = MARKED.has(fret) ? `${fret} •` : String(fret);
      if (fret > 0) parts.push(svg("text", { class: "mark", x: this.#x(fret), y: strings * STRING + 16 }, mark));
    }
    for (let string = 1; string <= strings; string += 1) {
      const y = this.#y(string);
      const thick = 1 + string * 0.3;
      parts.push(svg("line", { class: "string", x1: left, x2: right, y1: y, y2: y, "stroke-width": thick }));
    }
    return parts;
  }

  /**
   * The root is a square, guide tones are filled.
   * @param {Dot} dot
   * @param {View} view
   */
  #dot(dot, view) {
    const chord = this.data.spans[view.span][3];
    const [x, y] = [this.#x(dot.fret), this.#y(dot.string)];
    const guide = this.data.chords[chord].guide.includes(dot.above);
    const look = `tone${guide ? " guide" : ""}${dot.light ? " light" : ""}`;
    const shape =
      dot.above === 0
        ? svg("rect", { class: look, x: x - RADIUS, y: y - RADIUS, width: 2 * RADIUS, height: 2 * RADIUS, rx: 3 })
        : svg("circle", { class: look, cx: x, cy: y, r: RADIUS });
    return [shape, svg("text", { x, y }, this.#label(dot, chord, view))];
  }

  /**
   * @param {{from: Dot, to: Dot, by: number}} way
   * @param {View} view
   */
  #way({ from, to, by }, view) {
    if (by === 0 || from.string !== to.string || !view.coming) return [];
    const ends = { x1: this.#x(from.fret), y1: this.#y(from.string), x2: this.#x(to.fret), y2: this.#y(to.string) };
    return [svg("line", { class: "way", ...ends })];
  }

  /**
   * A tone of the next chord: a ring, around the dot where a finger stays.
   * @param {{from: Dot, to: Dot, by: number}} way
   * @param {View} view
   */
  #coming({ to, by }, view) {
    const [x, y] = [this.#x(to.fret), this.#y(to.string)];
    const look = by === 0 ? "coming stays" : "coming";
    const ring = svg("circle", { class: look, cx: x, cy: y, r: by === 0 ? RADIUS + 4 : RADIUS - 1 });
    if (by === 0) return [ring];
    const chord = this.data.spans[view.next][3];
    return [ring, svg("text", { class: "coming-name", x, y }, this.#label(to, chord, view))];
  }

  /**
   * @param {Dot} dot
   * @param {number} chord
   * @param {View} view
   */
  #label(dot, chord, view) {
    if (view.names) return this.data.keys[view.key].names[chord][dot.above];
    return degreeSigns(this.data.chords[chord].degrees[dot.above]);
  }

  /**
   * @param {Dot[]} dots
   * @param {View} view
   * @param {number} position
   */
  #inWords(dots, view, position) {
    const chord = this.data.spans[view.span][3];
    if (chord < 0) return "Fingerboard: no chord";
    const tones = dots.map((dot) => `string ${dot.string} fret ${dot.fret}: ${this.#label(dot, chord, view)}`);
    return `Fingerboard, position ${position}. ${tones.join("; ")}`;
  }
}
