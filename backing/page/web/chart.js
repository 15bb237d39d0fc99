// The chart: rows of bars as long as their beats, the beat that sounds, and the ribbon under each.

import { bendsOf, drawBends } from "./bends.js";
import { lineIn, rangeOf, rowsOf } from "./ribbon.js";
import { isPickup } from "./spans.js";
import { svg } from "./svg.js";
import { setSymbol, spoken } from "./symbols.js";
import { STRING_EM, tablature } from "./tab.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").GuideTone} GuideTone
 * @typedef {import("./ribbon.js").Row} Row
 * @typedef {object} Look
 * @property {"full" | "thin" | "tab" | "none"} ribbon
 * @property {number} take  Of the line, in its tablature,
 * @property {number} line  and which line it is.
 * @property {boolean} names  Note names in place of degrees.
 * @property {number} key  As it is read,
 * @property {number} sounding  and as it sounds.
 * @property {number[]} loop  The bars that go round; all that are shown: none do.
 * @property {number[]} bars  Those that are shown, in a row.
 */

/** A bar narrower than this (in em of the root) is hard to read from a stand. */
const NARROWEST_EM = 8;
/** Chords that would be set smaller than this part of their size get rows of fewer bars. */
const SMALLEST = 0.66;
/** Heights in em of the root; page.css has the first, too. */
const CHORDS_EM = 2.7;
const RULER_EM = 0.8;
const RIBBON_EM = { full: 3.9, thin: 1.2, tab: 0, none: -0.6 };
/** Room above and below the lines of a ribbon, for the names of its tones. */
const MARGIN_EM = { full: 1.1, thin: 0.15, tab: 0, none: 0 };
const GAP = 6;
/** Room for a repeat sign in px; page.css has it, too. */
const REPEAT = 12;

export class Chart {
  /**
   * @param {HTMLElement} list
   * @param {HTMLElement} view  What scrolls.
   * @param {PageData} data
   * @param {(bar: number) => void} choose  Told which bar is tapped.
   */
  constructor(list, view, data, choose) {
    this.list = list;
    this.view = view;
    this.data = data;
    this.bends = bendsOf(data.bars);
    this.choose = choose;
    /** @type {HTMLButtonElement[]} */
    this.measures = [];
    /** @type {{row: Row, element: HTMLElement}[]} */
    this.rows = [];
    /** @type {Look} */
    this.look = { ribbon: "full", take: 0, line: 0, names: false, key: 0, sounding: 0, loop: [], bars: [] };
    this.beat = document.createElement("div");
    this.beat.className = "beat";
    this.needle = document.createElement("div");
    this.needle.className = "needle";
    /** Width of a beat in px. */
    this.width = 0;
    /** @type {PageData["bars"]} The bars that are shown. */
    this.bars = [];
    /** Places among them. */
    this.current = -1;
    this.marked = -1;
    this.seen = 0;
    new ResizeObserver(() => this.#resized()).observe(list);
    // paper has a width of its own, which holds before its pages are counted
    for (const [event, printing] of /** @type {const} */ ([["beforeprint", true], ["afterprint", false]])) {
      addEventListener(event, () => {
        document.documentElement.classList.toggle("printing", printing);
        this.#resized();
      });
    }
  }

  /** @param {Look} look */
  show(look) {
    this.look = look;
    this.bars = look.bars.map((bar) => this.data.bars[bar]);
    const focused = this.measures.indexOf(/** @type {HTMLButtonElement} */ (document.activeElement));
    this.measures = look.bars.map((_, at) => this.#measure(at));
    this.marked = -1;
    this.#layOut();
    if (this.current >= look.bars.length) this.current = -1;
    if (this.current >= 0) this.#place(this.current, -1);
    if (focused >= 0) this.measures[focused]?.focus();
  }

  /**
   * Mark a bar and how far it has come (below 0: it does not sound).
   * @param {number} bar
   * @param {number} share
   */
  mark(bar, share) {
    const at = this.look.bars.indexOf(bar);
    const moved = at !== this.current;
    this.current = at;
    if (at < 0) return;
    this.#place(at, share);
    if (moved) this.#keepInSight(this.#home(at)?.element);
  }

  /** @param {number} bar */
  focus(bar) {
    this.measures[this.look.bars.indexOf(bar)]?.focus({ preventScroll: true });
  }

  /** Whether all that is shown goes round. */
  get #whole() {
    return this.look.loop.length === this.look.bars.length;
  }

  /** @param {number} at */
  #home(at) {
    return this.rows.find(({ row }) => at >= row.first && at < row.first + row.count);
  }

  /**
   * Put the beat and the needle where a bar has come to.
   * @param {number} at
   * @param {number} share
   */
  #place(at, share) {
    const home = this.#home(at);
    if (!home) return;
    if (this.beat.parentElement !== home.element) home.element.append(this.beat, this.needle);
    if (at !== this.marked) {
      const before = this.measures[Math.max(0, this.marked)];
      before.removeAttribute("aria-current");
      before.tabIndex = -1;
      this.measures[at].setAttribute("aria-current", "true");
      this.measures[at].tabIndex = 0;
      this.marked = at;
    }
    const { beats } = this.bars[at];
    const gone = Math.max(0, share) * beats;
    const start = this.#x(home.row, at, 0);
    const whole = Math.floor(gone);
    this.beat.classList.toggle("waiting", share < 0);
    this.beat.style.width = `${(Math.min(1, beats - whole) * this.width).toFixed(1)}px`;
    this.beat.style.transform = `translateX(${(start + whole * this.width).toFixed(1)}px)`;
    this.needle.hidden = share < 0;
    this.needle.style.transform = `translateX(${(start + gone * this.width).toFixed(1)}px)`;
  }

  /**
   * A row out of sight goes to the top, so that those that follow are in sight.
   * @param {HTMLElement | undefined} row
   */
  #keepInSight(row) {
    if (!row) return;
    const [around, box] = [this.view.getBoundingClientRect(), row.getBoundingClientRect()];
    if (box.top >= around.top && box.bottom <= around.bottom) return;
    const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
    const first = this.rows[0].element === row;
    const top = first ? 0 : this.view.scrollTop + box.top - around.top;
    this.view.scrollTo({ top, behavior: calm ? "auto" : "smooth" });
  }

  #resized() {
    if (this.measures.length === 0 || this.list.clientWidth === this.seen) return;
    this.#layOut();
    if (this.current >= 0) this.#place(this.current, -1);
  }

  /** As many bars to a row as can be read. */
  #layOut() {
    this.seen = this.list.clientWidth;
    const em = emOf();
    let most = [4, 2].find((count) => this.seen >= count * NARROWEST_EM * em) ?? 1;
    while (this.#fill(most, em) < SMALLEST && most > 1) most /= 2;
    for (const { row, element } of this.rows) element.prepend(this.#picture(row, em));
  }

  /**
   * Make rows of so many bars.
   * @param {number} most
   * @param {number} em
   * @returns {number} By how much the widest chord had to be made smaller.
   */
  #fill(most, em) {
    const { bars } = this;
    const rows = rowsOf(bars, most);
    /** @param {Row} row */
    const beats = (row) => bars.slice(row.first, row.first + row.count).reduce((sum, bar) => sum + bar.beats, 0);
    this.width = this.seen / Math.max(...rows.map(beats));
    this.rows = rows.map((row) => ({ row, element: this.#row(row) }));
    const size = Math.min(2.1 * em, Math.max(1.25 * em, 0.62 * this.width));
    this.list.style.setProperty("--chord", `${size.toFixed(1)}px`);
    this.list.dataset.ribbon = this.look.ribbon;
    this.list.replaceChildren(...this.rows.map(({ element }) => element));
    return this.#fit();
  }

  /** @param {Row} row */
  #row(row) {
    const element = document.createElement("li");
    element.className = "row";
    const first = this.bars[row.first];
    const margin = document.createElement("div");
    margin.className = "margin";
    margin.ariaHidden = "true";
    for (const [name, text] of [["section", begins(first) ? first.section : ""], ["number", first.label]]) {
      if (!text) continue;
      const mark = document.createElement("span");
      mark.className = name;
      mark.textContent = text;
      margin.append(mark);
    }
    const bars = document.createElement("ol");
    for (let at = row.first; at < row.first + row.count; at += 1) {
      const item = document.createElement("li");
      item.style.width = `${this.bars[at].beats * this.width}px`;
      item.append(this.measures[at]);
      bars.append(item);
    }
    element.append(margin, bars);
    return element;
  }

  /** Chords of a bar that would run into what follows are made smaller together. */
  #fit() {
    for (const measure of this.measures) /** @type {HTMLElement} */ (measure.lastElementChild).style.fontSize = "";
    const rooms = this.measures.map((measure, at) => {
      const { beats, changes } = this.bars[at];
      const chords = /** @type {HTMLElement} */ (measure.lastElementChild);
      const sign = this.#isEnd(at, 0) || this.#isEnd(at, -1) ? REPEAT : 0;
      const parts = [...chords.children].map((chord, n) => {
        const until = changes[n + 1] ? changes[n + 1][0] / this.data.ticks : beats;
        const room = (until - changes[n][0] / this.data.ticks) * this.width - GAP - sign;
        return room / /** @type {HTMLElement} */ (chord).offsetWidth;
      });
      return { chords, ratio: Math.min(1, ...parts) };
    });
    for (const { chords, ratio } of rooms) {
      if (ratio < 1) chords.style.fontSize = `calc(var(--chord) * ${ratio.toFixed(3)})`;
    }
    return Math.min(...rooms.map(({ ratio }) => ratio));
  }

  /** @param {number} at */
  #measure(at) {
    const bar = this.bars[at];
    const { loop, bars, key } = this.look;
    const button = document.createElement("button");
    button.type = "button";
    button.className = "measure";
    // the chart is one stop for the keyboard: arrows go on from there
    button.tabIndex = at === 0 ? 0 : -1;
    button.classList.toggle("outside", !loop.includes(bars[at]));
    button.classList.toggle("opens", this.#isEnd(at, 0));
    const symbols = bar.changes.map(([, chord]) => (chord < 0 ? null : this.data.keys[key].symbols[chord]));
    const section = begins(bar) ? `${bar.section}, ` : "";
    const { slows, hold } = this.bends[bars[at]];
    const bent = [...(slows ? ["rit."] : []), ...(hold >= 0 ? [`hold ${hold + 1}`] : [])];
    const said = document.createElement("span");
    said.className = "unseen";
    said.textContent = `Bar ${bar.label}, ${section}${[...symbols.map(spoken), ...bent].join(", ")}`;
    const chords = document.createElement("span");
    chords.className = "chords";
    chords.ariaHidden = "true";
    symbols.forEach((symbol, n) => {
      const one = document.createElement("span");
      setSymbol(one, symbol);
      one.style.left = `${(bar.changes[n][0] / this.data.ticks / bar.beats) * 100}%`;
      chords.append(one);
    });
    button.append(said, chords);
    button.addEventListener("click", () => this.choose(bars[at]));
    return button;
  }

  /**
   * Whether a bar is the first (0) or the last (-1) of a loop.
   * @param {number} at
   * @param {number} end
   */
  #isEnd(at, end) {
    return !this.#whole && this.look.loop.at(end) === this.look.bars[at];
  }

  /**
   * Where a tick of a bar stands in its row.
   * @param {Row} row
   * @param {number} at
   * @param {number} tick
   */
  #x(row, at, tick) {
    const before = this.bars.slice(row.first, at).reduce((sum, each) => sum + each.beats, 0);
    return (before + tick / this.data.ticks) * this.width;
  }

  /**
   * Bar lines, beats and ribbon of a row.
   * @param {Row} row
   * @param {number} em
   */
  #picture(row, em) {
    const { ribbon } = this.look;
    const end = this.#x(row, row.first + row.count, 0);
    const tab = ribbon === "tab" ? STRING_EM * (this.data.neck?.strings.length ?? 0) : 0;
    const height = (CHORDS_EM + RULER_EM + RIBBON_EM[ribbon] + tab) * em;
    const picture = svg("svg", { width: end, height, "aria-hidden": "true" });
    const { upright, fill } = this.#ribbon(row, end, em);
    picture.append(...fill, ...this.#ruler(row, end, em, height), ...upright, ...this.#bent(row, em));
    return picture;
  }

  /**
   * @param {Row} row
   * @param {number} end
   * @param {number} em
   * @param {number} height
   */
  #ruler(row, end, em, height) {
    const { bars } = this;
    const { loop } = this.look;
    const top = 0.3 * em;
    const level = CHORDS_EM * em;
    const parts = [svg("line", { class: "rule", x1: 0, x2: end, y1: level, y2: level })];
    for (let at = row.first; at < row.first + row.count; at += 1) {
      const x = this.#x(row, at, 0);
      const next = this.#x(row, at + 1, 0);
      parts.push(svg("line", { class: "bar-line", x1: x, x2: x, y1: top, y2: height }));
      if (begins(bars[at])) parts.push(svg("line", { class: "bar-line", x1: x + 3, x2: x + 3, y1: top, y2: height }));
      let group = 0;
      const tops = bars[at].groups.map((size) => (group += size) - size);
      for (let beat = 1; beat < bars[at].beats; beat += 1) {
        const tick = (tops.includes(beat) ? 0.6 : 0.35) * em;
        const where = x + beat * this.width;
        parts.push(svg("line", { class: "tick", x1: where, x2: where, y1: level, y2: level + tick }));
      }
      if (this.#whole || !loop.includes(this.look.bars[at])) continue;
      parts.push(svg("line", { class: "loop", x1: x, x2: next, y1: level, y2: level }));
      if (this.#isEnd(at, 0)) parts.push(svg("path", { class: "loop-end", d: repeatSign(x, 1, top, level) }));
      if (this.#isEnd(at, -1)) parts.push(svg("path", { class: "loop-end", d: repeatSign(next, -1, top, level) }));
    }
    const last = row.first + row.count === bars.length;
    parts.push(svg("line", { class: last ? "final" : "bar-line", x1: end, x2: end, y1: top, y2: height }));
    return parts;
  }

  /** @param {Row} row @param {number} em */
  #bent(row, em) {
    const places = this.look.bars.slice(row.first, row.first + row.count).map((bar, n) => {
      const at = row.first + n;
      const goesOn = this.look.bars[at - 1] === bar - 1 && this.bends[bar - 1].slows;
      return { ...this.bends[bar], goesOn, beats: this.bars[at].beats, x: (/** @type {number} */ beat) => this.#x(row, at, beat * this.data.ticks) };
    });
    return drawBends(places, em);
  }

  /**
   * Both lines, and what lies between them.
   * @param {Row} row
   * @param {number} end
   * @param {number} em
   */
  #ribbon(row, end, em) {
    const { ribbon } = this.look;
    const nothing = /** @type {{upright: SVGElement[], fill: SVGElement[]}} */ ({ upright: [], fill: [] });
    if (ribbon === "tab") return { ...nothing, upright: this.#tablature(row, end, em) };
    if (ribbon === "none" || isPickup(this.bars[row.first])) return nothing;
    const lines = this.data.guide_lines.map((line) => this.#inPlace(line));
    if (lines[0].length === 0) return nothing;
    const top = (CHORDS_EM + RULER_EM + MARGIN_EM[ribbon]) * em;
    const [low, high] = rangeOf(lines);
    const step = ((RIBBON_EM[ribbon] - 2 * MARGIN_EM[ribbon]) * em) / Math.max(1, high - low);
    /** @param {number} pitch */
    const height = (pitch) => top + (high - pitch) * step;
    /** @param {number} bar @param {number} tick */
    const place = (bar, tick) => this.#x(row, bar, tick);
    const drawn = lines.map((line) => lineIn(line, row, place, end, this.width, height));
    // closed along the same edge, two areas leave what lies between them
    const between = drawn.map(({ path }) => `${path}V0H0Z`).join("");
    const upright = drawn.flatMap(({ path, tones }, voice) => {
      const name = voice === 0 ? "third" : "seventh";
      const marks = ribbon === "thin" ? [] : tones.flatMap(({ x, y, tone }) => {
        const other = lines[1 - voice][lines[voice].indexOf(tone)];
        const above = tone[2] === other[2] ? voice === 0 : tone[2] > other[2];
        return [
          svg("circle", { class: `tone ${name}`, cx: x + 5, cy: y, r: 4 }),
          svg("text", { x: x + 11, y: y + (above ? -0.4 : 1) * em }, this.#label(tone)),
        ];
      });
      return [svg("path", { class: `guide-line ${name}`, d: path }), ...marks];
    });
    return { upright, fill: path(between) };
  }

  /**
   * @param {Row} row
   * @param {number} end
   * @param {number} em
   */
  #tablature(row, end, em) {
    const { bars, sounding: key, line, take } = this.look;
    const places = bars.slice(row.first, row.first + row.count).map((bar, at) => ({
      bar,
      x: (/** @type {number} */ tick) => this.#x(row, row.first + at, tick),
    }));
    return tablature(this.data, places, { key, line, take, top: (CHORDS_EM + RULER_EM) * em, end, em });
  }

  /**
   * The tones of a line that are shown, by the places of their bars.
   * @param {GuideTone[]} line
   */
  #inPlace(line) {
    const { bars } = this.look;
    const tones = line.map(([bar, ...rest]) => /** @type {GuideTone} */ ([bars.indexOf(bar), ...rest]));
    return tones.filter(([at]) => at >= 0).sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  }

  /** @param {GuideTone} tone */
  #label([, , pitch, degree, chord]) {
    if (!this.look.names) return degree;
    const above = (pitch - this.data.chords[chord].root + 120) % 12;
    return this.data.keys[this.look.key].names[chord][above];
  }
}

/** A pickup only leads to its section. @param {{top: boolean, label: string}} bar */
function begins(bar) {
  return bar.top && !isPickup(bar);
}

/** @param {string} d */
function path(d) {
  return d.startsWith("V") ? [] : [svg("path", { class: "ribbon", d, "fill-rule": "evenodd" })];
}

/**
 * A repeat sign that opens to the right (1) or to the left (-1).
 * @param {number} x @param {number} side @param {number} top @param {number} bottom
 */
function repeatSign(x, side, top, bottom) {
  const middle = (top + bottom) / 2;
  const dots = [-5, 5].map((by) => `M${x + side * 8 - 2} ${middle + by}h4v4h-4z`);
  return `M${x} ${top}h${side * 3}V${bottom}h${-side * 3}z${dots.join("")}`;
}

/** The size of the page's text in px. */
function emOf() {
  return parseFloat(getComputedStyle(document.documentElement).fontSize);
}
