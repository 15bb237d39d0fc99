// What the player does, and what the page shows of it.

import { applyMix, samplerFor } from "./audio.js";
import { Chart } from "./chart.js";
import { bind, byId, fillKeys, partRows, show } from "./controls.js";
import { Neck } from "./neck.js";
import { keepStage } from "./pin.js";
import { Player } from "./player.js";
import { FASTEST, SLOWEST } from "./rounds.js";
import { Sentence } from "./sentence.js";
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
/** The tempo stands beside Play and in the sentence. */
const TEMPOS = ["tempo", "start-tempo"];
const SHEETS = ["band", "drill", "view"];

export class App {
  /** @param {PageData} data */
  constructor(data) {
    this.data = data;
    this.settings = remembered(data, storage());
    this.spans = new Spans(data);
    this.stage = new Stage(data, this.spans);
    this.sentence = new Sentence(
      data,
      this.settings.routine,
      () => {
        show(this.settings);
        this.#changed("routine");
      },
      (from, to) => this.setLoop(from, to),
    );
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
    this.frame = 0;
    this.dark = matchMedia("(prefers-color-scheme: dark)");
    this.#texts();
    keepStage();
    this.#wire();
    this.#looks();
    // chords are fitted to their room by what they measure in the page's own type
    document.fonts.ready.then(() => this.#looks());
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
    cancelAnimationFrame(this.frame);
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
    this.#hint("");
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

  /** Degrees in place of note names, and back. */
  rename() {
    this.settings.view.names = !this.settings.view.names;
    show(this.settings);
    this.#changed("view");
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
    byId("plan").ariaExpanded = byId("drill").ariaExpanded;
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
    const { font, licence, notice } = data.sound;
    const sounds = [`sounds: ${font} (${licence})`, notice].filter(Boolean).join(", ");
    byId("credits").textContent =
      `backing ${data.version} · ${data.recipe} · ${sounds} · type: a subset of Lato (SIL OFL 1.1)`;
    byId("notes").replaceChildren(
      ...data.notes.map((note) => {
        const item = document.createElement("li");
        item.textContent = note;
        return item;
      }),
    );
    byId("play-sign").setAttribute("d", PLAY);
  }

  #wire() {
    const { settings } = this;
    fillKeys(this.data);
    bind(settings, (group) => this.#changed(group));
    partRows(this.data, settings, () => this.#changed("mix"));
    this.#on("play", () => this.toggle());
    this.#on("slower", () => this.faster(-2));
    this.#on("faster", () => this.faster(2));
    this.#on("loop", () => this.chooseLoop());
    this.#on("lower", () => this.movePosition(-1));
    this.#on("higher", () => this.movePosition(1));
    this.#on("plan", () => this.open("drill"));
    this.dark.addEventListener("change", () => this.#looks());
    for (const name of SHEETS) this.#on(name, () => this.open(name));
    this.#on("whole-band", () => this.#lineUp(true));
    this.#on("click-alone", () => this.#lineUp(false));
    this.#on("print", () => print());
    this.#on("full", () =>
      document.fullscreenElement ? document.exitFullscreen() : document.documentElement.requestFullscreen(),
    );
    for (const id of TEMPOS) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      field.addEventListener("change", () => this.setTempo(field.valueAsNumber));
    }
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
    this.sentence.show();
    this.#keep();
  }

  /** @param {boolean} band */
  #lineUp(band) {
    const { mix } = this.settings;
    for (const part of ["bass", "comp", "drums"]) mix.on[part] = band;
    for (const part of ["third", "seventh", "etude"]) mix.on[part] = false;
    mix.click = band ? "" : mix.click || "click all";
    show(this.settings);
    partRows(this.data, this.settings, () => this.#changed("mix"));
    this.#changed("mix");
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
    const device = this.dark.matches ? "dark" : "light";
    root.dataset.theme = view.theme === "auto" ? device : view.theme;
    root.dataset.size = view.size;
    document.body.classList.toggle("neckless", !view.neck || !this.neck);
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
    this.chart.show({ ribbon: view.ribbon, names: view.names, key, from: routine.from, to: routine.to });
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
    byId("now-tag").textContent = { count: "count", rest: "rest bar" }[String(turn.kind)] ?? restWord(turn);
    this.stage.beat(bar.groups, Math.floor(beat));
    this.chart.mark(turn.bar, played ? beat / turn.beats : -1);
    this.#showChord(turn.bar, played ? beat : 0, turn.key, !played);
    this.frame = requestAnimationFrame(() => this.#frame());
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
    for (const id of TEMPOS) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      const shown = id === "tempo" ? tempo : this.settings.routine.tempo;
      if (document.activeElement !== field) field.value = String(Math.round(shown));
    }
    this.sentence.show();
  }

  #showLoop() {
    const { from, to } = this.settings.routine;
    const whole = from === 0 && to === this.data.bars.length - 1;
    const button = byId("loop");
    button.setAttribute("aria-pressed", String(this.choosing || !whole));
    button.textContent = whole ? "Loop" : `Loop ${from + 1}–${to + 1}`;
    this.sentence.show();
  }

  /** @param {string} text */
  #hint(text) {
    byId("hint").textContent = text;
    byId("hint").hidden = !text;
    if (text) this.#say(text);
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
  if (resting.has("kit")) return "lay out";
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
