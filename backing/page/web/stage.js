// The stage: this chord, the next one, and the two guide-tone lines that lead from one to the other.

import { byId } from "./controls.js";
import { svg } from "./svg.js";
import { fit, setSymbol } from "./symbols.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").GuideTone} GuideTone
 * @typedef {import("./spans.js").Spans} Spans
 */

const LEFT = 62;
const RIGHT = 138;
const MIDDLE = [26, 70];
/** Picture units for a half step of motion. */
const STEP = 5;

export class Stage {
  /**
   * @param {PageData} data
   * @param {Spans} spans
   */
  constructor(data, spans) {
    this.data = data;
    this.spans = spans;
    this.now = byId("now");
    this.next = byId("next");
    this.lead = byId("lead");
    this.pulse = byId("pulse");
    this.beats = "";
  }

  /**
   * Whose turn it is, said large in a trade; "" is nobody's.
   * @param {string} whose
   */
  turn(whose) {
    const word = byId("turn");
    word.hidden = !whose;
    word.classList.toggle("you", whose === "you");
    word.textContent = whose;
  }

  /**
   * @param {number} span
   * @param {number} next
   * @param {number} key
   */
  show(span, next, key) {
    for (const [face, index] of /** @type {const} */ ([[this.now, span], [this.next, next]])) {
      setSymbol(face, this.#symbol(index, key));
      fit(face, face.parentElement?.clientWidth ?? 0);
    }
    const here = this.#tones(span);
    const there = this.#tones(next);
    const order = here.length === 2 && here[0][2] < here[1][2] ? [1, 0] : [0, 1];
    this.lead.replaceChildren(
      ...order.flatMap((voice, at) => this.#voice(voice, MIDDLE[at], here[voice], there[voice], key)),
    );
  }

  /**
   * The beats of a bar, the sounding one filled; -1 is none.
   * @param {number[]} groups
   * @param {number} beat
   */
  beat(groups, beat) {
    const wanted = groups.join("+");
    if (wanted !== this.beats) {
      this.beats = wanted;
      this.pulse.replaceChildren(
        ...groups.flatMap((size, group) =>
          Array.from({ length: size }, (_, at) => {
            const dot = document.createElement("span");
            dot.classList.toggle("group", group > 0 && at === 0);
            return dot;
          }),
        ),
      );
    }
    [...this.pulse.children].forEach((dot, at) => dot.classList.toggle("on", at === beat));
  }

  /**
   * @param {number} span
   * @param {number} key
   */
  #symbol(span, key) {
    const chord = this.data.spans[span][3];
    return chord < 0 ? null : this.data.keys[key].symbols[chord];
  }

  /**
   * @param {number} span
   * @returns {GuideTone[]}
   */
  #tones(span) {
    const number = this.spans.led[span];
    return number < 0 ? [] : this.data.guide_lines.map((line) => line[number]);
  }

  /**
   * One voice: its tone here, its tone there, the line between, falling or rising as it does.
   * @param {number} voice
   * @param {number} middle
   * @param {GuideTone | undefined} here
   * @param {GuideTone | undefined} there
   * @param {number} key
   */
  #voice(voice, middle, here, there, key) {
    if (!here || !there) return [];
    const apart = (((there[2] - here[2] + 6) % 12) + 12) % 12 - 6;
    const slope = Math.max(-3, Math.min(3, apart)) * STEP;
    const [y0, y1] = [middle + slope / 2, middle - slope / 2];
    const half = (LEFT + RIGHT) / 2;
    const path = `M${LEFT} ${y0}C${half} ${y0} ${half} ${y1} ${RIGHT} ${y1}`;
    const name = voice === 0 ? "third" : "seventh";
    return [
      svg("path", { class: `guide-line ${name}`, d: path }),
      svg("circle", { class: `tone ${name}`, cx: LEFT, cy: y0, r: 5 }),
      svg("circle", { class: `tone ${name}`, cx: RIGHT, cy: y1, r: 5 }),
      svg("text", { x: LEFT - 12, y: y0 + 8, "text-anchor": "end" }, this.#name(here, key)),
      svg("text", { x: RIGHT + 12, y: y1 + 8, "text-anchor": "start" }, this.#name(there, key)),
    ];
  }

  /**
   * @param {GuideTone} tone
   * @param {number} key
   */
  #name([, , pitch, , chord], key) {
    return this.data.keys[key].names[chord][(pitch - this.data.chords[chord].root + 120) % 12];
  }
}
