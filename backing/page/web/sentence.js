// The drill as a sentence: its phrases can be changed where they stand, taken out, and added.

import { temposOf } from "./climb.js";
import { byId } from "./controls.js";
import { SUBDIVISIONS, lineName, lineWords } from "./line.js";
import { chorusOf } from "./rounds.js";
import { cycleOf, cycled, sectionsOf } from "./session.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {object} Phrase  What can be added: whether it is in, and how it comes in and goes.
 * @property {(routine: Routine) => boolean} holds
 * @property {(routine: Routine, data: PageData) => Partial<Routine>} add
 * @property {(routine: Routine) => Partial<Routine>} drop
 * @property {boolean} [loop]  Whether it is for a loop alone.
 */

/** Where a climb begins that is added at the tune's own tempo, and its steps in beats a minute. */
const [START, STEP] = [0.6, 8];

/** @type {Record<string, Phrase>} */
const PHRASES = {
  climb: {
    loop: true,
    holds: ({ climb }) => climb !== null,
    add: ({ tempo }, { tempo: own }) => {
      const from = Math.round(tempo < own ? tempo : START * own);
      return { climb: { from, to: Math.round(own), step: STEP, unit: "bpm", order: "up", home: false } };
    },
    drop: () => ({ climb: null }),
  },
  keys: {
    loop: true,
    holds: ({ keys }) => keys.length > 1,
    add: ({ keys }, data) => ({ keys: cycled(data, keys[0], "fourths") }),
    drop: ({ keys }) => ({ keys: keys.slice(0, 1) }),
  },
  grow: { loop: true, holds: ({ grow }) => grow, add: () => ({ grow: true }), drop: () => ({ grow: false }) },
  "count-in": { holds: ({ countIn }) => countIn, add: () => ({ countIn: true }), drop: () => ({ countIn: false }) },
  "lead-in": { loop: true, holds: ({ leadIn }) => leadIn > 0, add: () => ({ leadIn: 2 }), drop: () => ({ leadIn: 0 }) },
  "rest bar": { loop: true, holds: ({ restBars }) => restBars > 0, add: () => ({ restBars: 1 }), drop: () => ({ restBars: 0 }) },
  trade: { holds: ({ trade }) => trade > 0, add: () => ({ trade: 4 }), drop: () => ({ trade: 0 }) },
  "lay out": { holds: ({ layOut }) => layOut > 0, add: () => ({ layOut: 2 }), drop: () => ({ layOut: 0 }) },
  line: {
    holds: ({ line }) => line !== "",
    add: ({ whole }, data) => ({ line: lineWords(data).find((words) => words === SUBDIVISIONS && !whole) ?? data.line.opens }),
    drop: () => ({ line: "" }),
  },
  same: { loop: true, holds: ({ same }) => same, add: () => ({ same: true }), drop: () => ({ same: false }) },
};

/** What players call turns of so many bars. */
const TURNS = /** @type {Record<string, string>} */ ({ 2: "twos", 4: "fours", 8: "eights" });

export class Sentence {
  /**
   * @param {PageData} data
   * @param {Routine} routine
   * @param {() => void} changed
   * @param {(bars: number[]) => void} loop
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
    const times = /** @type {HTMLElement} */ (this.element.querySelector('[data-phrase="times"]'));
    times.append(ending(times));
    byId("adds").replaceChildren(...[...this.parts.values()].map(({ add }) => add));
    byId("loop-of").addEventListener("change", () => this.#chosen());
    for (const id of ["from", "to"]) byId(id).addEventListener("change", () => this.#typed());
    for (const id of ["key", "cycle"]) byId(id).addEventListener("change", () => this.#keyed());
  }

  /**
   * Another tune, or another routine in it.
   * @param {PageData} data
   * @param {Routine} routine
   */
  open(data, routine) {
    Object.assign(this, { data, routine, byBars: false });
    const sections = sectionsOf(data).map(({ bars }) => {
      const [first, last] = [bars[0], bars[bars.length - 1]].map((bar) => data.bars[bar].label);
      return new Option(`${data.bars[bars[0]].section}, bars ${first}–${last},`, bars.join());
    });
    byId("line").replaceChildren(...lineWords(data).map((words) => new Option(lineName(words), words)));
    byId("ending").replaceChildren(...Object.keys(data.form?.out ?? {}).map((name) => new Option(name, name)));
    byId("loop-of").replaceChildren(
      new Option("The whole chorus", chorusOf(data).join()),
      ...(sections.length > 1 ? sections : []),
      new Option("Bars", "bars"),
      ...(data.form ? [new Option("The whole form, head to ending,", "form")] : []),
    );
  }

  /** Name the keys as they are read, half steps above what sounds. @param {number} up */
  nameKeys(up) {
    const { keys } = this.data;
    const options = keys.map((_, at) => new Option(keys[(at + up) % keys.length].name, String(at)));
    byId("key").replaceChildren(...options);
    this.show();
  }

  /** Show what is practiced. */
  show() {
    this.#phrases();
    this.#loop();
    const stops = [...this.element.querySelectorAll(".stop")].filter((stop) => !stop.closest("[data-phrase][hidden]"));
    for (const stop of stops) stop.textContent = stop === stops[stops.length - 1] ? "." : ",";
    for (const word of /** @type {NodeListOf<HTMLElement>} */ (this.element.querySelectorAll("[data-plural]"))) {
      const one = /** @type {HTMLInputElement} */ (byId(word.dataset.plural ?? "")).value === "1";
      word.textContent = (word.textContent ?? "").replace(/s?$/, one ? "" : "s");
    }
    byId("plan").textContent = this.words;
  }

  #phrases() {
    const { data, routine } = this;
    const { climb, keys, whole } = routine;
    for (const [name, { phrase, add }] of this.parts) {
      const fits = !(whole && PHRASES[name].loop);
      const holds = PHRASES[name].holds(routine);
      phrase.hidden = !(fits && holds);
      add.hidden = !fits || holds;
    }
    this.#lines();
    byId("no-climb").hidden = climb === null || temposOf(climb, data.tempo).length > 0;
    byId("at-tempo").hidden = !whole && climb !== null && temposOf(climb, data.tempo).length > 0;
    const names = byId("key").querySelectorAll("option");
    const list = /** @type {HTMLOptionElement} */ (byId("cycle").querySelector('[value=""]'));
    list.text = keys.map((key) => names[key]?.text.split(" ")[0]).join(", ");
    select("key", String(keys[0]));
    select("cycle", cycleOf(data, keys));
  }

  /** Times are told where something changes after them; subdivisions are for loops. */
  #lines() {
    const { climb, keys, whole, grow, line } = this.routine;
    const times = /** @type {HTMLElement} */ (this.element.querySelector('[data-phrase="times"]'));
    times.hidden = whole || (climb === null && keys.length === 1 && !grow && line !== SUBDIVISIONS);
    for (const option of byId("line").querySelectorAll("option")) option.hidden = whole && option.value === SUBDIVISIONS;
  }

  #loop() {
    const { bars, whole } = this.routine;
    const loops = select("loop-of", whole ? "form" : bars.join());
    if (!whole && (this.byBars || loops.selectedIndex < 0)) loops.value = "bars";
    byId("loop-bars").hidden = loops.value !== "bars";
    byId("form-of").hidden = !whole;
    for (const [id, bar] of /** @type {const} */ ([["from", bars[0]], ["to", bars[bars.length - 1]]])) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      field.max = String(this.data.chorus);
      field.value = String(bar + 1);
    }
  }

  /** The sentence as it reads now. */
  get words() {
    const words = wordsOf(this.element).replace(/\s+/g, " ").replace(/ ([,.])/g, "$1").trim();
    return words.replace(/turns of (\d+) bars?/, (turns, bars) => TURNS[bars] ?? turns)
      .replace(/\b[12] times? each/, (times) => (times.startsWith("1") ? "once each" : "twice each"));
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
      Object.assign(this.routine, PHRASES[name].add(this.routine, this.data));
      this.changed();
      const first = /** @type {HTMLElement} */ (phrase.querySelector("input, select, button"));
      first.focus();
      if (first instanceof HTMLInputElement) first.select();
    });
    drop.addEventListener("click", () => {
      Object.assign(this.routine, PHRASES[name].drop(this.routine));
      this.changed();
      add.focus();
    });
    return { phrase, add };
  }

  /** The whole chorus, a section, any bars, the whole form. */
  #chosen() {
    const { value } = /** @type {HTMLSelectElement} */ (byId("loop-of"));
    this.byBars = value === "bars";
    this.routine.whole = value === "form";
    this.loop(this.byBars || this.routine.whole ? this.routine.bars : value.split(",").map(Number));
  }

  /** Bars from one to another, over the top of the chorus if need be. */
  #typed() {
    const { chorus } = this.data;
    const [from, to] = ["from", "to"].map((id) => {
      const bar = /** @type {HTMLInputElement} */ (byId(id)).valueAsNumber;
      return Math.min(chorus, Math.max(1, Math.round(bar) || 1)) - 1;
    });
    this.byBars = true;
    this.loop(Array.from({ length: ((to - from + chorus) % chorus) + 1 }, (_, at) => (from + at) % chorus));
  }

  #keyed() {
    const [first, cycle] = ["key", "cycle"].map((id) => /** @type {HTMLSelectElement} */ (byId(id)).value);
    const { keys } = this.routine;
    this.routine.keys = keys.length > 1 && cycle ? cycled(this.data, Number(first), cycle) : [Number(first)];
    this.changed();
  }
}

/**
 * @param {string} id
 * @param {string} value
 */
function select(id, value) {
  const element = /** @type {HTMLSelectElement} */ (byId(id));
  element.value = value;
  return element;
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
 * @param {HTMLButtonElement} [drop]
 */
function ending(phrase, drop) {
  const end = document.createElement("span");
  const stop = document.createElement("span");
  end.className = "end";
  stop.className = "stop";
  const last = /** @type {ChildNode} */ (phrase.lastChild);
  const word = last instanceof Text ? last.splitText(last.data.lastIndexOf(" ") + 1) : last;
  end.append(word, ...(drop ? [drop] : []), stop);
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
