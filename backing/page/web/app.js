// What the player does, and what the page shows of it.

import { applyMix, samplerFor } from "./audio.js";
import { Chart } from "./chart.js";
import { bind, byId, fill, partRows, show } from "./controls.js";
import { Neck } from "./neck.js";
import { Player } from "./player.js";
import { FASTEST, SLOWEST } from "./rounds.js";
import { remember, remembered, within } from "./settings.js";
import { Spans } from "./spans.js";
import { Stage } from "./stage.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Turn} Turn
 * @typedef {import("./settings.js").Settings} Settings
 */

const PLAY = "M6 3l15 9-15 9z";
const STOP = "M5 5h14v14H5z";
/** Beats before a change from which the next chord's tones are shown. */
const COMING = 2;
/** The stage may take this part of the window. */
const MOST_PINNED = 0.56;
const SHEETS = ["band", "practice", "view"];

export class App {
  /** @param {PageData} data */
  constructor(data) {
    this.data = data;
    this.settings = remembered(data, storage());
    this.spans = new Spans(data);
    this.stage = new Stage(data, this.spans);
    this.chart = new Chart(byId("chart"), data, (bar) => this.tap(bar));
    this.neck = data.neck
      ? new Neck(/** @type {any} */ (byId("neck")), data, data.neck, this.spans)
      : null;
    /** @type {AudioContext} */
    this.context = new AudioContext({ latencyHint: "interactive" });
    /** @type {import("./sampler.js").Sampler | null} */
    this.sampler = null;
    /** @type {Player | null} */
    this.player = null;
    /** The bar to start from, and the one shown while nothing plays. */
    this.cursor = this.settings.routine.from;
    /** @type {number | null} */
    this.loopFrom = null;
    this.choosing = false;
    this.shown = "";
    this.heard = { tempo: 0, key: -1 };
    this.#texts();
    this.#pin();
    this.#wire();
    this.#looks();
    this.ready = this.#load();
  }

  /** Play or stop. */
  toggle() {
    if (this.player?.playing) this.stop();
    else this.play(this.cursor, true);
  }

  /**
   * @param {number} bar
   * @param {boolean} counted
   */
  play(bar, counted) {
    if (!this.player) return;
    this.context.resume();
    this.cursor = bar;
    this.player.start(bar, counted);
    byId("play-word").textContent = "Stop";
    byId("play-sign").setAttribute("d", STOP);
    this.#say(`Playing from bar ${this.data.bars[bar].label}`);
    this.#frame();
  }

  stop() {
    if (!this.player) return;
    const position = this.player.position();
    this.player.stop();
    this.cursor = position ? position.turn.bar : this.cursor;
    byId("play-word").textContent = "Play";
    byId("play-sign").setAttribute("d", PLAY);
    this.#say("Stopped");
    this.#still();
  }

  /**
   * A tapped bar: where to start, or an end of the loop that is being chosen.
   * @param {number} bar
   */
  tap(bar) {
    if (this.choosing) {
      this.#chosen(bar);
      return;
    }
    const { from, to } = this.settings.routine;
    if (bar < from || bar > to) this.setLoop(0, this.data.bars.length - 1);
    this.play(bar, !this.player?.playing);
  }

  /**
   * A bar back or on.
   * @param {number} by
   */
  step(by) {
    const { from, to } = this.settings.routine;
    const here = this.player?.position()?.turn.bar ?? this.cursor;
    const bar = from + ((((here - from + by) % (to - from + 1)) + to - from + 1) % (to - from + 1));
    if (this.player?.playing) this.play(bar, false);
    else {
      this.cursor = bar;
      this.#still();
      this.chart.focus(bar);
    }
  }

  /** @param {number} by */
  faster(by) {
    const tempo = this.player?.playing ? this.player.rounds.place.tempo : this.settings.routine.tempo;
    this.setTempo(tempo + by);
  }

  /** @param {number} tempo */
  setTempo(tempo) {
    const wanted = Math.round(within(tempo, SLOWEST, FASTEST));
    this.settings.routine.tempo = wanted;
    this.player?.setTempo(wanted);
    this.#showTempo(wanted);
    this.#keep();
  }

  /** Choose the ends of a loop in the chart; again: the whole chorus. */
  chooseLoop() {
    const { from, to } = this.settings.routine;
    const whole = from === 0 && to === this.data.bars.length - 1;
    if (this.choosing || !whole) this.setLoop(0, this.data.bars.length - 1);
    else {
      this.choosing = true;
      this.loopFrom = null;
      this.#hint("Tap the first bar of the loop.");
    }
    this.#showLoop();
  }

  /**
   * @param {number} from
   * @param {number} to
   */
  setLoop(from, to) {
    this.choosing = false;
    Object.assign(this.settings.routine, { from, to });
    this.cursor = from;
    this.#hint("Tap a bar to start there.");
    this.player?.replan();
    this.#showLoop();
    this.#drawChart();
    if (!this.player?.playing) this.#still();
    this.#keep();
  }

  /** @param {number} by */
  movePosition(by) {
    const { neck } = this.data;
    if (!neck) return;
    const { view } = this.settings;
    view.position = within(view.position + by, 0, neck.positions.length - 1);
    this.#looks();
    this.#keep();
  }

  /**
   * Open a sheet, or close it if it is open; null closes all.
   * @param {string | null} name
   */
  open(name) {
    for (const each of SHEETS) {
      const sheet = byId(`${each}-sheet`);
      const open = each === name && sheet.hidden;
      sheet.hidden = !open;
      byId(each).setAttribute("aria-expanded", String(open));
    }
  }

  async #load() {
    this.sampler = await samplerFor(this.data, this.context);
    applyMix(this.sampler, this.data, this.settings.mix);
    const { context } = this;
    this.player = new Player(this.data, this.settings.routine, this.sampler, () => context.currentTime);
    this.player.hidden = () => document.hidden;
    const play = /** @type {HTMLButtonElement} */ (byId("play"));
    play.disabled = false;
  }

  #texts() {
    const { data } = this;
    byId("title").textContent = data.title;
    const home = data.keys.find((key) => key.semitones === 0);
    const about = [data.by, home?.name, data.meter, data.feel].filter(Boolean);
    byId("about").textContent = about.join(" · ");
    byId("credits").textContent =
      `Sounds: ${data.sound.font}, licence: ${data.sound.licence}. Notes of it are inside this file.`;
    byId("notes").replaceChildren(
      ...data.notes.map((note) => {
        const item = document.createElement("li");
        item.textContent = note;
        return item;
      }),
    );
    byId("play-sign").setAttribute("d", PLAY);
  }

  /** The stage stays in sight while the chart moves under it, where there is room for both. */
  #pin() {
    const stage = /** @type {HTMLElement} */ (document.querySelector(".stage"));
    const pin = () => stage.classList.toggle("pinned", stage.offsetHeight < innerHeight * MOST_PINNED);
    new ResizeObserver(pin).observe(stage);
    addEventListener("resize", pin);
  }

  #wire() {
    const { settings } = this;
    fill(this.data, (from, to) => this.setLoop(from, to));
    bind(settings, (group) => this.#changed(group));
    partRows(this.data, settings, () => this.#changed("mix"));
    this.#on("play", () => this.toggle());
    this.#on("slower", () => this.faster(-2));
    this.#on("faster", () => this.faster(2));
    this.#on("loop", () => this.chooseLoop());
    this.#on("lower", () => this.movePosition(-1));
    this.#on("higher", () => this.movePosition(1));
    this.#on("labels", () => {
      settings.view.names = !settings.view.names;
      this.#changed("view");
    });
    for (const name of SHEETS) this.#on(name, () => this.open(name));
    this.#on("whole-band", () => this.#lineUp(true));
    this.#on("click-alone", () => this.#lineUp(false));
    this.#on("print", () => print());
    this.#on("full", () =>
      document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen(),
    );
    const tempo = /** @type {HTMLInputElement} */ (byId("tempo"));
    tempo.addEventListener("change", () => this.setTempo(tempo.valueAsNumber));
    for (const id of ["from", "to"]) byId(id).addEventListener("change", () => this.#typedLoop());
    this.#showTempo(settings.routine.tempo);
    this.#showLoop();
  }

  /**
   * @param {string} id
   * @param {() => void} act
   */
  #on(id, act) {
    byId(id).addEventListener("click", act);
  }

  /** @param {"routine" | "view" | "mix"} group */
  #changed(group) {
    if (group === "mix" && this.sampler) applyMix(this.sampler, this.data, this.settings.mix);
    if (group === "routine") this.player?.replan();
    if (group !== "mix") this.#looks();
    this.#keep();
  }

  /** @param {boolean} band */
  #lineUp(band) {
    const { mix } = this.settings;
    for (const part of ["bass", "comping", "drums"]) mix.on[part] = band;
    for (const part of ["thirds", "sevenths", "etude"]) mix.on[part] = false;
    mix.click = band ? "" : mix.click || "click all";
    show(this.settings);
    partRows(this.data, this.settings, () => this.#changed("mix"));
    this.#changed("mix");
  }

  #typedLoop() {
    const [from, to] = ["from", "to"].map((id) => {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      return within(Math.round(field.valueAsNumber) - 1, 0, this.data.bars.length - 1);
    });
    this.setLoop(Math.min(from, to), Math.max(from, to));
  }

  /** @param {number} bar */
  #chosen(bar) {
    if (this.loopFrom === null) {
      this.loopFrom = bar;
      this.#hint("Now tap its last bar.");
      return;
    }
    this.setLoop(Math.min(this.loopFrom, bar), Math.max(this.loopFrom, bar));
  }

  /** Theme, size, chart, neck: all that depends on how the player wants to see it. */
  #looks() {
    const { view } = this.settings;
    const root = document.documentElement;
    root.dataset.theme = view.theme;
    root.dataset.size = view.size;
    byId("hand").hidden = !view.neck || !this.neck;
    byId("legend").hidden = !view.threads;
    byId("labels").textContent = view.names ? "Degrees" : "Note names";
    if (this.data.neck) {
      byId("position").textContent = `Position ${this.data.neck.positions[view.position]}`;
    }
    this.#drawChart();
    this.shown = "";
    if (!this.player?.playing) this.#still();
  }

  #drawChart() {
    const { view, routine } = this.settings;
    const key = this.heard.key >= 0 ? this.heard.key : routine.key;
    this.chart.show({ threads: view.threads, names: view.names, key, from: routine.from, to: routine.to });
  }

  /** What is seen while nothing plays. */
  #still() {
    if (this.heard.key >= 0) {
      this.heard = { tempo: 0, key: -1 };
      this.#drawChart();
    }
    const { key } = this.settings.routine;
    this.#showChord(this.cursor, 0, key, true);
    this.stage.beat(this.data.bars[this.cursor].groups, -1);
    byId("now-tag").textContent = `bar ${this.data.bars[this.cursor].label}`;
    this.chart.mark(this.cursor, -1);
    this.#showTempo(this.settings.routine.tempo);
  }

  #frame() {
    const position = this.player?.position();
    if (!position) return;
    const { turn, beat } = position;
    const played = turn.kind === "play" || turn.kind === "lead";
    const bar = this.data.bars[turn.bar];
    this.#changes(turn);
    byId("now-tag").textContent = { count: "count", breath: "breath" }[String(turn.kind)] ?? restWord(turn);
    this.stage.beat(bar.groups, Math.floor(beat));
    this.chart.mark(turn.bar, played ? beat / turn.beats : -1);
    this.#showChord(turn.bar, played ? beat : 0, turn.key, !played);
    requestAnimationFrame(() => this.#frame());
  }

  /**
   * A climb has climbed, or the key has walked on.
   * @param {Turn} turn
   */
  #changes({ tempo, key }) {
    if (tempo !== this.heard.tempo) this.#showTempo(tempo);
    const moved = key !== this.heard.key;
    this.heard = { tempo, key };
    if (moved) this.#drawChart();
  }

  /**
   * @param {number} bar
   * @param {number} beat
   * @param {number} key
   * @param {boolean} both  Show the next chord's tones however far away it is.
   */
  #showChord(bar, beat, key, both) {
    const { view, routine } = this.settings;
    const span = this.spans.at(bar, beat);
    const next = this.spans.after(span, routine.from, routine.to);
    const coming = both || this.spans.left(span, bar, beat, routine.to) <= COMING;
    const shown = [span, next, key, coming, view.position, view.names].join();
    if (shown === this.shown) return;
    this.shown = shown;
    this.stage.show(span, next, key);
    if (view.neck) {
      this.neck?.show({ key, position: view.position, span, next, coming, names: view.names });
    }
  }

  /** @param {number} tempo */
  #showTempo(tempo) {
    const field = /** @type {HTMLInputElement} */ (byId("tempo"));
    if (document.activeElement !== field) field.value = String(Math.round(tempo));
  }

  #showLoop() {
    const { from, to } = this.settings.routine;
    const whole = from === 0 && to === this.data.bars.length - 1;
    const button = byId("loop");
    button.setAttribute("aria-pressed", String(this.choosing || !whole));
    button.textContent = whole ? "Loop" : `Loop ${from + 1}–${to + 1}`;
    for (const [id, bar] of /** @type {const} */ ([["from", from], ["to", to]])) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      field.max = String(this.data.bars.length);
      field.value = String(bar + 1);
    }
  }

  /** @param {string} text */
  #hint(text) {
    byId("hint").textContent = text;
    if (this.choosing) this.#say(text);
  }

  /** @param {string} text */
  #say(text) {
    byId("said").textContent = text;
  }

  #keep() {
    remember(this.data, this.settings, storage());
  }
}

/** @param {Turn} turn */
function restWord({ resting }) {
  if (resting.has("kit")) return "on your own";
  return resting.has("bass") ? "drums" : "now";
}

/** Where settings are kept; some browsers close it to files. */
function storage() {
  try {
    return localStorage;
  } catch {
    return null;
  }
}
