// The chart: bars to read and to tap, the sounding one marked, the threads drawn through.

import { svg } from "./svg.js";
import { degreeSigns, setSymbol, spoken } from "./symbols.js";
import { rangeOf, rowsOf, threadIn } from "./thread.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Knot} Knot
 * @typedef {import("./thread.js").Row} Row
 * @typedef {object} Look
 * @property {boolean} threads
 * @property {boolean} names  Note names in place of degrees.
 * @property {number} key
 * @property {number} from
 * @property {number} to
 */

/** Narrower columns than this (in em of the root) cannot hold two chords. */
const COLUMN_EM = 8.5;
const MOST_COLUMNS = 4;
/** As page.css leaves room for it, in px. */
const THREAD_HEIGHT = 80;
const MARGIN = 18;

export class Chart {
  /**
   * @param {HTMLElement} list
   * @param {PageData} data
   * @param {(bar: number) => void} choose  Told which bar is tapped.
   */
  constructor(list, data, choose) {
    this.list = list;
    this.data = data;
    this.choose = choose;
    /** @type {HTMLButtonElement[]} */
    this.measures = [];
    /** @type {{row: Row, element: HTMLElement}[]} */
    this.rows = [];
    /** @type {Look} */
    this.look = { threads: true, names: false, key: 0, from: 0, to: 0 };
    this.needle = document.createElement("div");
    this.needle.className = "needle";
    this.columns = 0;
    this.width = 0;
    this.current = -1;
    new ResizeObserver(() => this.#resized()).observe(list);
  }

  /** @param {Look} look */
  show(look) {
    this.look = look;
    this.columns = this.#fitting();
    this.list.classList.toggle("threads", look.threads);
    this.#build();
    this.#draw();
  }

  /**
   * Mark a bar and how far it has come (below 0: it does not sound); bar -1 is none.
   * @param {number} bar
   * @param {number} share
   */
  mark(bar, share) {
    if (bar !== this.current) {
      this.measures[this.current]?.removeAttribute("aria-current");
      this.measures[bar]?.setAttribute("aria-current", "true");
      this.current = bar;
      const home = this.rows.find(({ row }) => bar >= row.first && bar < row.first + row.count);
      if (home) home.element.append(this.needle);
      else this.needle.remove();
      this.#keepInSight(home?.element);
    }
    const home = this.rows.find(({ row }) => bar >= row.first && bar < row.first + row.count);
    this.needle.hidden = share < 0;
    if (home) {
      const x = (bar - home.row.first + share) * this.width;
      this.needle.style.transform = `translateX(${x.toFixed(1)}px)`;
    }
  }

  /** @param {number} bar */
  focus(bar) {
    this.measures[bar]?.focus();
  }

  /** @param {HTMLElement | undefined} row */
  #keepInSight(row) {
    if (!row) return;
    const dock = document.querySelector(".dock")?.getBoundingClientRect().top ?? innerHeight;
    const head = document.querySelector(".pinned")?.getBoundingClientRect().bottom ?? 0;
    const { top, bottom } = row.getBoundingClientRect();
    if (top >= head && bottom <= dock) return;
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    // the row goes to the top of what is free, so that those that follow are in sight
    scrollBy({ top: top - Math.max(0, head) - 8, behavior: calm ? "auto" : "smooth" });
  }

  #fitting() {
    const em = parseFloat(getComputedStyle(document.documentElement).fontSize);
    const fits = Math.floor(this.list.clientWidth / (COLUMN_EM * em));
    return fits >= MOST_COLUMNS ? MOST_COLUMNS : Math.max(1, Math.min(2, fits));
  }

  #resized() {
    if (this.measures.length === 0) return;
    if (this.#fitting() !== this.columns) this.show(this.look);
    else this.#draw();
  }

  #build() {
    const focused = this.measures.indexOf(/** @type {HTMLButtonElement} */ (document.activeElement));
    this.measures = this.data.bars.map((_, at) => this.#measure(at));
    this.rows = rowsOf(this.data.bars, this.columns).map((row) => {
      const element = document.createElement("li");
      element.className = "row";
      const bars = document.createElement("ol");
      bars.style.gridTemplateColumns = `repeat(${this.columns}, minmax(0, 1fr))`;
      for (const measure of this.measures.slice(row.first, row.first + row.count)) {
        const item = document.createElement("li");
        item.append(measure);
        bars.append(item);
      }
      element.append(bars);
      return { row, element };
    });
    this.list.replaceChildren(...this.rows.map(({ element }) => element));
    const marked = this.current;
    this.current = -1;
    if (marked >= 0) this.mark(marked, this.needle.hidden ? -1 : 0);
    if (focused >= 0) this.focus(focused);
  }

  /** @param {number} at */
  #measure(at) {
    const bar = this.data.bars[at];
    const { from, to, key } = this.look;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "measure";
    button.classList.toggle("outside", at < from || at > to);
    const whole = from === 0 && to === this.data.bars.length - 1;
    button.classList.toggle("first", !whole && at === from);
    button.classList.toggle("last", !whole && at === to);
    const symbols = bar.changes.map(([, chord]) => (chord < 0 ? null : this.data.keys[key].symbols[chord]));
    const section = bar.top ? `${bar.section}, ` : "";
    const said = document.createElement("span");
    said.className = "unseen";
    said.textContent = `Bar ${bar.label}, ${section}${symbols.map(spoken).join(", ")}`;
    button.append(said, place(bar), chordsOf(symbols));
    button.addEventListener("click", () => this.choose(at));
    return button;
  }

  /** The threads of every row, at the width the rows have now. */
  #draw() {
    this.width = this.list.clientWidth / this.columns;
    for (const { row, element } of this.rows) {
      element.querySelector("svg")?.remove();
      if (this.look.threads) element.append(this.#threads(row));
    }
  }

  /** @param {Row} row */
  #threads(row) {
    const width = row.count * this.width;
    const picture = svg("svg", { width, height: THREAD_HEIGHT, "aria-hidden": "true" });
    const [low, high] = rangeOf(this.data.threads);
    const step = (THREAD_HEIGHT - 2 * MARGIN) / Math.max(1, high - low);
    /** @param {number} pitch */
    const height = (pitch) => MARGIN + (high - pitch) * step;
    /** @param {number} bar @param {number} tick */
    const share = (bar, tick) => tick / this.data.ticks / this.data.bars[bar].beats;
    this.data.threads.forEach((thread, voice) => {
      const side = voice === 0 ? "upper" : "lower";
      const { path, knots } = threadIn(thread, row, share, this.width, height);
      picture.append(svg("path", { class: "halo", d: path }));
      picture.append(svg("path", { class: `thread ${side}`, d: path }));
      for (const { x, y, knot } of knots) {
        picture.append(svg("circle", { class: `knot ${side}`, cx: x + 5, cy: y, r: 4 }));
        const other = this.data.threads[1 - voice][thread.indexOf(knot)];
        const upper = knot[2] === other[2] ? voice === 0 : knot[2] > other[2];
        const label = { x: x + 8, y: y + (upper ? -7 : 16) };
        picture.append(svg("text", label, this.#label(knot)));
      }
    });
    return picture;
  }

  /** @param {Knot} knot */
  #label([, , pitch, degree, chord]) {
    if (!this.look.names) return degreeSigns(degree);
    const above = (pitch - this.data.chords[chord].root + 120) % 12;
    return this.data.keys[this.look.key].names[chord][above];
  }
}

/** @param {import("./types.js").Bar} bar */
function place(bar) {
  const element = document.createElement("span");
  element.className = "place";
  element.ariaHidden = "true";
  if (bar.top) {
    const section = document.createElement("span");
    section.className = "section";
    section.textContent = bar.section;
    element.append(section);
  }
  element.append(bar.label);
  return element;
}

/** @param {(import("./symbols.js").Symbol | null)[]} symbols */
function chordsOf(symbols) {
  const element = document.createElement("span");
  element.className = "chords";
  element.ariaHidden = "true";
  element.classList.toggle("many", symbols.length > 1);
  for (const symbol of symbols) {
    const one = document.createElement("span");
    setSymbol(one, symbol);
    element.append(one);
  }
  return element;
}
