// The fingerboard: this chord's shape in the chosen place and, before the change, where its tones go.

import { SIGNS } from "./line.js";
import { svg } from "./svg.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").NeckData} NeckData
 * @typedef {import("./spans.js").Spans} Spans
 * @typedef {{string: number, fret: number, above: number, finger: number, light: boolean}} Dot
 *   A tone: string from 1, half steps above the root, finger 1 to 4 (0: open).
 * @typedef {{pitch: number, place: string}} Sounding
 * @typedef {object} View
 * @property {number} key
 * @property {number} read  The key in which tones are named.
 * @property {number} position  Index into the positions.
 * @property {number} span
 * @property {number} next
 * @property {boolean} coming  Whether the next chord is shown too.
 * @property {"degrees" | "names" | "fingers"} tones
 * @property {number[]} line  Frets for which there is room, too.
 * @property {number[]} seen  Spans for whose shapes there is room, so that the neck stands still.
 */

const FRET = 80;
const STRING = 40;
const RADIUS = 19;
const SMALL = 17;
/** Room for what is lit on the highest string. */
const OVER = 8;
/** Room for the numbers of the frets. */
const NUMBERS = 26;
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
export function movesOf(here, there, strings) {
  /** @param {Dot} dot */
  const pitch = (dot) => strings[dot.string - 1] + dot.fret;
  return there.flatMap((to) => {
    const ways = here.map((from) => ({ from, to, by: pitch(to) - pitch(from) }));
    const near = ways.filter(({ by }) => Math.abs(by) <= NEAR);
    near.sort((a, b) => Math.abs(a.by) - Math.abs(b.by));
    return near.slice(0, 1);
  });
}

/**
 * Where a note lies: on the string it is told, else nearest to the hand.
 * @param {Sounding} note
 * @param {NeckData} neck
 * @param {number} hand  A fret.
 */
export function placeOf({ pitch, place }, { strings, frets }, hand) {
  const fits = strings
    .map((open, at) => ({ string: at + 1, fret: pitch - open, finger: 0 }))
    .filter(({ fret }) => fret >= 0 && fret <= frets);
  const told = fits.find(({ string }) => string === Number(place[0]));
  if (told) return { ...told, finger: Number(place[2]) };
  const near = fits.sort((a, b) => Math.abs(a.fret - hand) - Math.abs(b.fret - hand));
  return near[0] ?? { string: 1, fret: pitch - strings[0], finger: 0 };
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
    this.width = 0;
    this.group = svg("g", {});
    this.lit = "";
  }

  /**
   * Light the notes that sound, with the fingers that play them.
   * @param {Sounding[]} notes
   */
  light(notes) {
    const middle = this.first + this.width / FRET / 2;
    const places = notes.map((note) => placeOf(note, this.neck, middle));
    const lit = JSON.stringify([places, this.first, this.width]);
    if (lit === this.lit) return;
    this.lit = lit;
    this.group.replaceChildren(
      ...places.flatMap(({ string, fret, finger }) => {
        const [x, y] = [this.#x(fret), this.#y(string)];
        const ring = svg("circle", { class: "lit", cx: x, cy: y, r: RADIUS + 3 });
        if (!finger) return [ring];
        const [right, above] = [x + RADIUS + 6, y - RADIUS + 3];
        return [
          ring,
          svg("circle", { class: "disc", cx: right, cy: above, r: 11 }),
          svg("text", { class: "finger", x: right, y: above }, String(finger)),
        ];
      }),
    );
  }

  /** @param {View} view */
  show(view) {
    const here = this.#dots(view.span, view);
    const there = view.coming ? this.#dots(view.next, view) : [];
    const position = this.neck.positions[view.position];
    const shapes = view.seen.flatMap((span) => this.#dots(span, view)).map(({ fret }) => fret);
    const frets = [...shapes, ...view.line];
    this.first = Math.max(0, Math.min(position - 1, ...frets.filter((fret) => fret > 0)));
    if (position === 1) this.first = 0;
    const last = Math.max(position + 4, ...frets);
    this.#size(last);
    const moves = movesOf(here, there, this.neck.strings);
    this.picture.replaceChildren(
      ...this.#board(last),
      ...moves.flatMap((move) => this.#move(move, view)),
      ...here.flatMap((dot) => this.#dot(dot, view)),
      this.group,
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
    const { shapes, paths, order } = this.neck;
    return dotsOf(shapes[paths[view.key][view.position][order[number]]]);
  }

  /**
   * The note that is heard, wherever it lies in sight: a frame around it, crossed out outside the chord.
   * @param {number} pitch  0 for none.
   * @param {boolean} inside
   */
  heard(pitch, inside) {
    for (const mark of this.picture.querySelectorAll(".heard")) mark.remove();
    if (!pitch) return;
    this.neck.strings.forEach((open, at) => {
      const [fret, half] = [pitch - open, RADIUS + 4];
      if (fret < this.first || fret >= this.first + this.width / FRET) return;
      const [x, y] = [this.#x(fret), this.#y(at + 1)];
      const cross = inside ? "" : `l${2 * half} ${2 * half}m0 ${-2 * half}l${-2 * half} ${2 * half}`;
      this.picture.append(svg("path", { class: "heard", d: `M${x - half} ${y - half}h${2 * half}v${2 * half}h${-2 * half}zm0 0${cross}` }));
    });
  }

  /** @param {number} last */
  #size(last) {
    this.width = (last - this.first + 1) * FRET;
    const height = this.neck.strings.length * STRING + NUMBERS;
    this.picture.setAttribute("viewBox", `0 ${-OVER} ${this.width} ${height + OVER}`);
  }

  /** @param {number} fret */
  #x(fret) {
    return this.#across((fret - this.first + 0.5) * FRET);
  }

  /**
   * The place of a right-handed neck, turned around for left hands.
   * @param {number} x
   */
  #across(x) {
    return this.neck.left_handed ? this.width - x : x;
  }

  /** @param {number} string */
  #y(string) {
    return (string - 0.5) * STRING;
  }

  /** @param {number} last */
  #board(last) {
    const strings = this.neck.strings.length;
    const ends = [this.#across(this.first === 0 ? FRET : 0), this.#across(this.width)];
    const [left, right] = [Math.min(...ends), Math.max(...ends)];
    const bottom = strings * STRING;
    const parts = [svg("rect", { class: "wood", x: left, y: 0, width: right - left, height: bottom })];
    for (let fret = this.first; fret <= last; fret += 1) {
      const x = this.#across((fret - this.first + 1) * FRET);
      parts.push(svg("line", { class: fret === 0 ? "nut" : "fret", x1: x, x2: x, y1: 0, y2: bottom }));
      if (fret === 0) continue;
      parts.push(svg("text", { class: "number", x: this.#x(fret), y: bottom + NUMBERS / 2 + 3 }, String(fret)));
      if (MARKED.has(fret)) parts.push(svg("circle", { class: "inlay", cx: this.#x(fret), cy: bottom / 2, r: 6 }));
    }
    for (let string = 1; string <= strings; string += 1) {
      const y = this.#y(string);
      const thick = 1 + string * 0.3;
      parts.push(svg("line", { class: "string", x1: left, x2: right, y1: y, y2: y, "stroke-width": thick }));
    }
    return parts;
  }

  /**
   * A solid square is the root, a solid disc 3 or 7 in the color of its line, a ring another chord
   * tone, a dashed ring an optional one.
   * @param {Dot} dot
   * @param {View} view
   */
  #dot(dot, view) {
    const chord = this.data.spans[view.span][3];
    const [x, y] = [this.#x(dot.fret), this.#y(dot.string)];
    const text = this.#label(dot, chord, view);
    const label = svg("text", { x, y, class: text.length > 2 ? "wide" : "" }, text);
    const at = { cx: x, cy: y, r: RADIUS };
    if (dot.light) return [svg("circle", { ...at, class: "ring added", r: SMALL }), label];
    if (dot.above === 0) {
      const side = 2 * RADIUS - 3;
      return [svg("rect", { class: "root", x: x - side / 2, y: y - side / 2, width: side, height: side }), label];
    }
    const disc = this.data.chords[chord].discs.includes(dot.above);
    return [svg("circle", { ...at, class: disc ? `disc ${this.#line(view.span, dot.above)}` : "ring" }), label];
  }

  /**
   * The line that has this tone of a chord: "third", "seventh" or "".
   * @param {number} span
   * @param {number} above
   */
  #line(span, above) {
    const { chords, guide_lines: lines } = this.data;
    const number = this.spans.led[span];
    const voice = number < 0 ? -1 : lines.findIndex((line) => {
      const [, , pitch, , chord] = line[number];
      return (pitch - chords[chord].root + 120) % 12 === above;
    });
    return ["third", "seventh"][voice] ?? "";
  }

  /**
   * Where a tone goes with the next chord: a line, and what it will be there. Guide tones go along
   * their own line.
   * @param {{from: Dot, to: Dot, by: number}} move
   * @param {View} view
   */
  #move({ from, to, by }, view) {
    const [x, y] = [this.#x(to.fret), this.#y(to.string)];
    const line = this.#line(view.next, to.above);
    const own = line && line === this.#line(view.span, from.above) ? ` guide-line ${line}` : "";
    const label = this.#label(to, this.data.spans[view.next][3], view);
    const start = { x1: this.#x(from.fret), y1: this.#y(from.string) };
    if (from.string !== to.string) return [svg("text", { class: "next", x, y }, label)];
    const end = by === 0 ? x + RADIUS + 5 : x;
    return [
      svg("line", { class: `way${own}`, ...start, x2: end, y2: y }),
      svg("text", { class: "next", x: end === x ? x : end + 11, y }, label),
    ];
  }

  /**
   * @param {Dot} dot
   * @param {number} chord
   * @param {View} view
   */
  #label(dot, chord, view) {
    if (view.tones === "fingers") return dot.finger === 0 ? "0" : String(dot.finger);
    if (view.tones === "names") return this.data.keys[view.read].names[chord][dot.above];
    return this.data.chords[chord].degrees[dot.above];
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
