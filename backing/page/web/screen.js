// What is seen: the stage, the necks and the chart, while the band plays and while it is still.

import { Chart } from "./chart.js";
import { tempoAt } from "./clock.js";
import { byId } from "./controls.js";
import { SIGNS, lineAt, lineNotes } from "./line.js";
import { Neck } from "./neck.js";
import { chorusOf, outOf } from "./rounds.js";
import { Spans } from "./spans.js";
import { Stage } from "./stage.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./settings.js").Settings} Settings
 */

/** Parts that are lit on the neck. */
const LINES = new Set(["third", "seventh", "etude"]);

/** Half steps above what sounds that the players of a part read. */
export const READS = { C: 0, Bb: 2, Eb: 9 };

export class Screen {
  /**
   * @param {PageData} data
   * @param {() => Settings} settings
   * @param {(bar: number) => void} choose  Told which bar is tapped.
   */
  constructor(data, settings, choose) {
    this.settings = settings;
    this.data = data;
    this.spans = new Spans(data);
    this.stage = new Stage(data, this.spans);
    /** @type {Neck[]} This chord's and the next one's. */
    this.necks = [];
    /** The key that is heard; -1: the chosen one. */
    this.key = -1;
    /** The bars in sight: the solo chorus, or the head that is played. */
    this.side = chorusOf(data);
    this.shown = "";
    /** Of the line, in its tablature, */
    this.take = 0;
    /** and which line it is. */
    this.line = 0;
    this.chart = new Chart(byId("chart"), byId("changes"), data, choose);
    /** The bar that is shown while nothing plays; -1 while it does. */
    this.rest = -1;
    new ResizeObserver(() => {
      this.shown = "";
      if (this.rest >= 0) this.still(this.rest);
    }).observe(byId("pair"));
    this.dark = matchMedia("(prefers-color-scheme: dark)");
    this.dark.addEventListener("change", () => this.looks());
    this.open(data);
  }

  /** Another tune. @param {PageData} data */
  open(data) {
    this.data = data;
    this.chart.data = data;
    this.spans = new Spans(data);
    this.stage = new Stage(data, this.spans);
    const { neck } = data;
    this.necks = neck ? ["neck", "neck-next"].map((id) => new Neck(/** @type {any} */ (byId(id)), data, neck, this.spans)) : [];
    this.key = this.rest = -1;
    this.side = chorusOf(data);
    this.shown = "";
  }

  get standing() {
    return document.body.classList.contains("stand");
  }

  /** Theme, size, chart, neck: all that depends on how the player wants to see it. */
  looks() {
    const { view } = this.settings();
    const root = document.documentElement;
    root.dataset.theme = view.theme === "auto" ? (this.dark.matches ? "dark" : "light") : view.theme;
    root.dataset.size = view.size;
    document.body.classList.toggle("neckless", !view.neck || this.necks.length === 0);
    if (this.data.neck) byId("position").textContent = `Position ${this.data.neck.positions[view.position]}`;
    this.drawChart();
    this.shown = "";
  }

  drawChart() {
    const { view, routine } = this.settings();
    if (this.rest >= 0) this.line = lineAt(this.data, routine.line);
    const key = this.key >= 0 ? this.key : routine.keys[0];
    const loop = routine.whole ? this.side : routine.bars;
    const bars = this.standing ? loop : this.side;
    const ribbon = this.standing ? "none" : view.ribbon;
    const names = view.tones === "names";
    this.chart.show({ ribbon, take: this.take, line: this.line, names, key: this.#read(key), sounding: key, loop, bars });
  }

  /** The key in which a sounding one is read. @param {number} key */
  #read(key) {
    return (key + READS[this.settings().view.part]) % this.data.keys.length;
  }

  /** What is seen while nothing plays. @param {number} bar */
  still(bar) {
    this.rest = bar;
    if (this.key >= 0 || !this.side.includes(bar)) {
      this.key = -1;
      this.side = this.#sideOf(bar);
      this.drawChart();
    }
    this.#chord(bar, 0, this.settings().routine.keys[0], 0, true);
    this.stage.beat(this.data.bars[bar].groups, -1);
    this.stage.turn("");
    this.necks[0]?.light([]);
    byId("now-tag").textContent = `bar ${this.data.bars[bar].label}`;
    this.chart.mark(bar, -1);
  }

  /**
   * A bar as it sounds.
   * @param {Turn} turn
   * @param {number} beat
   */
  draw(turn, beat) {
    this.rest = -1;
    const played = turn.kind === "play" || turn.kind === "lead";
    const bar = this.data.bars[turn.bar];
    const moved = !this.side.includes(turn.bar);
    if (moved) this.side = this.#sideOf(turn.bar);
    const tab = this.settings().view.ribbon === "tab";
    const [take, line] = tab ? [turn.take, turn.line] : [this.take, turn.line];
    if (moved || turn.key !== this.key || take !== this.take || (tab && line !== this.line)) {
      Object.assign(this, { key: turn.key, take, line });
      this.drawChart();
    }
    byId("now-tag").textContent = { count: "count", rest: "rest bar" }[String(turn.kind)] ?? `bar ${bar.label}`;
    this.stage.turn(this.#whose(turn));
    this.stage.beat(bar.groups, Math.floor(beat));
    this.chart.mark(turn.bar, played ? beat / turn.beats : -1);
    this.#chord(turn.bar, played ? beat : 0, turn.key, tempoAt(turn, beat), !played);
  }

  /**
   * Light what sounds of the lines, where that is to be seen.
   * @param {(of: (part: string) => boolean) => import("./neck.js").Sounding[]} sounding
   */
  light(sounding) {
    const { view, mix } = this.settings();
    this.necks[0]?.light(view.line ? sounding((part) => LINES.has(part) && mix.on[part]) : []);
  }

  /** The bars that are read together with a bar. @param {number} bar */
  #sideOf(bar) {
    const { form } = this.data;
    const sides = [form?.head, outOf(this.data, this.settings().routine)];
    return sides.find((bars) => bars?.includes(bar)) ?? chorusOf(this.data);
  }

  /**
   * The frets of the line in a bar, where it is heard and seen.
   * @param {number} bar
   * @param {number} key
   */
  #frets(bar, key) {
    const { view, mix } = this.settings();
    const up = this.data.keys[key].semitones;
    if (!view.line || !mix.on.etude) return [];
    const notes = lineNotes(this.data, this.line, 0, bar);
    return notes.map(({ place }) => SIGNS.indexOf(place[1]) + up).filter((fret) => fret >= 0);
  }

  /** Whose turn it is, said large. @param {Turn} turn */
  #whose({ resting, kind }) {
    const { trade, partner } = this.settings().routine;
    if (resting.has("kit")) return "alone";
    if (trade <= 0 || kind !== "play") return "";
    if (partner === "line") return resting.has("etude") ? "you" : "line";
    return resting.has("bass") ? "drums" : "you";
  }

  /**
   * @param {number} bar
   * @param {number} beat
   * @param {number} key
   * @param {number} bpm
   * @param {boolean} both  Show the next chord's tones however far away it is.
   */
  #chord(bar, beat, key, bpm, both) {
    const { view, routine } = this.settings();
    const loop = routine.whole ? this.side : routine.bars;
    const span = this.spans.at(bar, beat);
    const next = this.spans.after(span, bar, loop);
    const coming = both || this.spans.left(span, bar, beat, loop) * 60 <= view.ahead * bpm;
    const shown = [span, next, key, coming, view.position, view.tones, view.part, this.standing].join();
    if (shown === this.shown) return;
    this.shown = shown;
    this.stage.show(span, next, this.#read(key));
    if (!view.neck) return;
    const same = { key, read: this.#read(key), position: view.position, tones: view.tones, seen: [span, next], line: this.#frets(bar, key) };
    this.necks[0]?.show({ ...same, span, next, coming: coming && !this.standing });
    if (this.standing) this.necks[1]?.show({ ...same, span: next, next, coming: false });
  }
}
