// The drill as a sentence: its phrases can be changed where they stand, taken out, and added.

import { byId } from "./controls.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {object} Phrase  What can be added: whether it is in, and how it comes in and goes.
 * @property {(routine: Routine) => boolean} holds
 * @property {(routine: Routine) => Partial<Routine>} add
 * @property {Partial<Routine>} drop
 */

/** Beats a minute by which a climb rises in all when it is added. */
const CLIMB = 40;

/** @type {Record<string, Phrase>} */
const PHRASES = {
  climb: {
    holds: ({ climbStep }) => climbStep > 0,
    add: ({ tempo, climbTo }) => ({ climbStep: 8, climbUnit: "bpm", climbTo: climbTo > tempo ? climbTo : Math.min(400, Math.round(tempo) + CLIMB) }),
    drop: { climbStep: 0 },
  },
  keys: { holds: ({ walk }) => walk !== "stay", add: () => ({ walk: "fourths" }), drop: { walk: "stay" } },
  "count-in": { holds: ({ countIn }) => countIn, add: () => ({ countIn: true }), drop: { countIn: false } },
  "lead-in": { holds: ({ leadIn }) => leadIn > 0, add: () => ({ leadIn: 2 }), drop: { leadIn: 0 } },
  "rest bar": { holds: ({ restBars }) => restBars > 0, add: () => ({ restBars: 1 }), drop: { restBars: 0 } },
  trade: { holds: ({ trade }) => trade > 0, add: () => ({ trade: 4 }), drop: { trade: 0 } },
  "lay out": { holds: ({ layOut }) => layOut > 0, add: () => ({ layOut: 2 }), drop: { layOut: 0 } },
  same: { holds: ({ same }) => same, add: () => ({ same: true }), drop: { same: false } },
};

export class Sentence {
  /**
   * @param {PageData} data
   * @param {Routine} routine
   * @param {() => void} changed
   * @param {(from: number, to: number) => void} loop
   */
  constructor(data, routine, changed, loop) {
    this.data = data;
    this.routine = routine;
    this.changed = changed;
    this.loop = loop;
    this.element = byId("sentence");
    /** Whether the loop is given by its bars, also where they make a section. */
    this.byBars = false;
    /** @type {Map<string, {phrase: HTMLElement, add: HTMLButtonElement}>} */
    this.parts = new Map();
    for (const name of Object.keys(PHRASES)) this.parts.set(name, this.#part(name));
    byId("adds").replaceChildren(...[...this.parts.values()].map(({ add }) => add));
    this.#loops();
  }

  /** Show what is practised. */
  show() {
    const { from, to } = this.routine;
    for (const [name, { phrase, add }] of this.parts) {
      const holds = PHRASES[name].holds(this.routine);
      phrase.hidden = !holds;
      add.hidden = holds;
    }
    byId("no-climb").hidden = this.routine.climbTo > this.routine.tempo;
    const stops = [...this.element.querySelectorAll(".stop")].filter((stop) => !stop.closest("[data-phrase][hidden]"));
    for (const stop of stops) stop.textContent = stop === stops[stops.length - 1] ? "." : ",";
    const loops = /** @type {HTMLSelectElement} */ (byId("loop-of"));
    loops.value = `${from} ${to}`;
    if (this.byBars || loops.selectedIndex < 0) loops.value = "bars";
    byId("loop-bars").hidden = loops.value !== "bars";
    for (const [id, bar] of /** @type {const} */ ([["from", from], ["to", to]])) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      field.max = String(this.data.bars.length);
      field.value = String(bar + 1);
    }
    for (const word of /** @type {NodeListOf<HTMLElement>} */ (this.element.querySelectorAll("[data-plural]"))) {
      const one = /** @type {HTMLInputElement} */ (byId(word.dataset.plural ?? "")).value === "1";
      word.textContent = (word.textContent ?? "").replace(/s?$/, one ? "" : "s");
    }
    byId("plan").textContent = this.words;
  }

  /** The sentence as it reads now. */
  get words() {
    return wordsOf(this.element).replace(/\s+/g, " ").replace(/ ([,.])/g, "$1").trim();
  }

  /**
   * A phrase, with a button that takes it out, and the button that adds it.
   * @param {string} name
   */
  #part(name) {
    const phrase = /** @type {HTMLElement} */ (this.element.querySelector(`[data-phrase="${name}"]`));
    const drop = button("×", `Take out: ${name}`, "drop");
    const add = button(`+ ${name}`, `Add: ${name}`, "add");
    phrase.setAttribute("role", "group");
    phrase.setAttribute("aria-label", name);
    phrase.append(ending(phrase, drop));
    add.addEventListener("click", () => {
      Object.assign(this.routine, PHRASES[name].add(this.routine));
      this.changed();
      const first = /** @type {HTMLElement} */ (phrase.querySelector("input, select, button"));
      first.focus();
      if (first instanceof HTMLInputElement) first.select();
    });
    drop.addEventListener("click", () => {
      Object.assign(this.routine, PHRASES[name].drop);
      this.changed();
      add.focus();
    });
    return { phrase, add };
  }

  /** What can be looped: the chorus, its sections, any bars. */
  #loops() {
    const { bars } = this.data;
    const tops = bars.flatMap((bar, at) => (bar.top ? [at] : []));
    const sections = tops.map((from, at) => {
      const to = (tops[at + 1] ?? bars.length) - 1;
      return new Option(`${bars[from].section}, bars ${bars[from].label}–${bars[to].label},`, `${from} ${to}`);
    });
    const loops = /** @type {HTMLSelectElement} */ (byId("loop-of"));
    loops.append(
      new Option("The whole chorus", `0 ${bars.length - 1}`),
      ...(sections.length > 1 ? sections : []),
      new Option("Bars", "bars"),
    );
    loops.addEventListener("change", () => {
      this.byBars = loops.value === "bars";
      if (this.byBars) this.show();
      else this.loop(...(/** @type {[number, number]} */ (loops.value.split(" ").map(Number))));
    });
    for (const id of ["from", "to"]) byId(id).addEventListener("change", () => this.#typed());
  }

  #typed() {
    const last = this.data.bars.length;
    const [from, to] = ["from", "to"].map((id) => {
      const bar = /** @type {HTMLInputElement} */ (byId(id)).valueAsNumber;
      return Math.min(last, Math.max(1, Math.round(bar) || 1)) - 1;
    });
    this.byBars = true;
    this.loop(Math.min(from, to), Math.max(from, to));
  }
}

/**
 * @param {string} text
 * @param {string} label
 * @param {string} name
 */
function button(text, label, name) {
  const element = document.createElement("button");
  element.type = "button";
  element.className = name;
  element.textContent = text;
  element.ariaLabel = label;
  return element;
}

/**
 * The last word of a phrase, its button and its comma, which stay in one line.
 * @param {HTMLElement} phrase
 * @param {HTMLButtonElement} drop
 */
function ending(phrase, drop) {
  const end = document.createElement("span");
  const stop = document.createElement("span");
  end.className = "end";
  stop.className = "stop";
  const last = /** @type {ChildNode} */ (phrase.lastChild);
  const word = last instanceof Text ? last.splitText(last.data.lastIndexOf(" ") + 1) : last;
  end.append(word, drop, stop);
  return end;
}

/**
 * What an element says where every control says its value.
 * @param {Node} node
 * @returns {string}
 */
function wordsOf(node) {
  if (node instanceof HTMLElement && (node.hidden || node.matches("button"))) return "";
  if (node instanceof HTMLInputElement) return node.value;
  if (node instanceof HTMLSelectElement) return node.selectedOptions[0]?.text ?? "";
  return node.childNodes.length > 0 ? [...node.childNodes].map(wordsOf).join("") : (node.textContent ?? "");
}
