// What the player does: plays, stops, chooses, and goes on to another tune.

import { applyMix, samplerFor } from "./audio.js";
import { bind, byId, lineUp, partRows, show } from "./controls.js";
import { Wakefulness } from "./device.js";
import { Output } from "./output.js";
import { Player } from "./player.js";
import { FASTEST, SLOWEST } from "./rounds.js";
import { lettered, offer, say, texts } from "./said.js";
import { READS, Screen } from "./screen.js";
import { Sentence } from "./sentence.js";
import { barWords, isChorus, readWords, wordsOf } from "./session.js";
import { fitting, plain, remember, remembered, storage, suitLine, usual, within } from "./settings.js";

/** @typedef {import("./types.js").PageData} PageData */

const TEMPOS = ["tempo", "start-tempo"];
const SHEETS = ["band", "drill", "take", "view"];
/** Beats a minute of a step of the tempo. */
const NUDGE = 2;
/** Seconds in which the notes of a tune that was left ring out. */
const RING = 4;

export class App {
  /** @param {PageData} data */
  constructor(data) {
    this.output = new Output(() => this.stop()); // first: it decodes while the rest is made
    this.context = this.output.context;
    this.data = data;
    this.settings = remembered(data, storage());
    this.screen = new Screen(data, () => this.settings, (bar) => this.tap(bar));
    this.sentence = new Sentence(
      data,
      this.settings.routine,
      () => this.#changed("routine"),
      (bars) => this.setLoop(bars),
    );
    this.wakefulness = new Wakefulness();
    /** @type {import("./sampler.js").Sampler | null} */
    this.sampler = null;
    /** @type {Player | null} */
    this.player = null;
    /** The bar to start from, and the one shown while nothing plays. */
    this.cursor = 0;
    this.loopFrom = -1;
    this.choosing = false;
    this.tempo = 0;
    this.frame = 0;
    /** Told when settings have changed. */
    this.told = () => {};
    this.#wire();
    this.#show();
    // chords are fitted to their room by what they measure in the page's own type
    this.lettered = lettered().then(() => this.#looks());
    this.ready = this.#load();
  }

  /** Play, stop, or go on. */
  toggle() {
    if (this.output.state === "playing") this.stop();
    else if (this.output.state === "suspended") this.output.resume();
    else this.play(this.cursor, true);
  }

  /**
   * @param {number} bar
   * @param {boolean} counted
   */
  play(bar, counted) {
    if (!this.player || this.output.state === "failed") return;
    this.cursor = bar;
    this.player.start(bar, counted);
    this.output.enter("playing");
    this.output.resume();
    this.wakefulness.keep(true);
    say(`Playing from bar ${this.data.bars[bar].label}`);
    cancelAnimationFrame(this.frame);
    this.#frame();
  }

  stop() {
    if (!this.player?.playing) return;
    const turn = this.player.position()?.turn;
    this.player.stop();
    cancelAnimationFrame(this.frame);
    this.cursor = !turn || turn.kind === "end" ? this.#top : turn.bar;
    this.output.enter("ready");
    this.wakefulness.keep(false);
    say("Stopped");
    this.#still();
  }

  /** To the first bar of what is practiced. */
  goToTop() {
    if (this.player?.playing) this.play(this.#top, false);
    else {
      this.cursor = this.#top;
      this.#still();
      byId("changes").scrollTo({ top: 0 });
    }
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
    const { routine } = this.settings;
    if (!routine.whole && !routine.bars.includes(bar)) {
      const words = barWords(this.data, routine.bars);
      offer(`From bar ${this.data.bars[bar].label} into the loop, ${words}.`, "Leave the loop", () =>
        this.setLoop(plain(this.data).bars),
      );
    }
    this.play(bar, !this.player?.playing);
  }

  /**
   * A bar back or on.
   * @param {number} by
   */
  step(by) {
    const { routine } = this.settings;
    const bars = routine.whole ? this.screen.side : routine.bars;
    const here = bars.indexOf(this.player?.position()?.turn.bar ?? this.cursor);
    const bar = bars[(Math.max(0, here) + by + bars.length) % bars.length];
    if (this.player?.playing) this.play(bar, false);
    else {
      this.cursor = bar;
      this.#still();
      this.screen.chart.focus(bar);
    }
  }

  /**
   * So many steps of the tempo up or down; while a climb is played, of the climb.
   * @param {number} by
   */
  faster(by) {
    const { routine } = this.settings;
    const { player } = this;
    if (routine.climb && !routine.whole && player?.playing) {
      const step = within(player.rounds.place.step + Math.sign(by), 0, player.rounds.steps.length - 1);
      player.jump(step);
      this.#showTempo(player.rounds.steps[step].tempo);
    } else this.setTempo(routine.tempo + by * NUDGE);
  }

  /** @param {number} tempo */
  setTempo(tempo) {
    const wanted = Math.round(within(tempo, SLOWEST, FASTEST));
    this.settings.routine.tempo = wanted;
    this.player?.setTempo(wanted);
    this.#showTempo(wanted);
    this.#keep();
  }

  /** Choose the ends of a loop in the chart; again: the whole chorus, with a way back. */
  chooseLoop() {
    const { routine } = this.settings;
    const { bars } = routine;
    if (this.choosing || routine.whole || !isChorus(this.data, bars)) {
      routine.whole = false;
      this.setLoop(plain(this.data).bars);
      if (!isChorus(this.data, bars)) {
        const words = barWords(this.data, bars);
        offer("", `Back to ${/^\d/.test(words) ? "bars " : ""}${words}`, () => this.setLoop(bars));
      }
      return;
    }
    this.choosing = true;
    this.loopFrom = -1;
    offer("Tap the first bar of the loop.");
    this.#showLoop();
  }

  /** @param {number[]} bars */
  setLoop(bars) {
    this.choosing = false;
    this.settings.routine.bars = bars;
    this.cursor = this.#top;
    offer("");
    this.#changed("routine");
  }

  /** @param {number} by */
  movePosition(by) {
    const { neck } = this.data;
    if (!neck) return;
    const { view } = this.settings;
    view.position = within(view.position + by, 0, neck.positions.length - 1);
    this.#changed("view");
  }

  /** Degrees, note names, fingers. */
  rename() {
    const { view } = this.settings;
    const kinds = /** @type {const} */ (["degrees", "names", "fingers"]);
    view.tones = kinds[(kinds.indexOf(view.tones) + 1) % kinds.length];
    this.#changed("view");
  }

  /** The view for a music stand, and back. */
  stand() {
    const standing = document.body.classList.toggle("stand");
    byId("stand").setAttribute("aria-pressed", String(standing));
    this.open(null);
    if (standing) document.documentElement.requestFullscreen?.().catch(() => {});
    else if (document.fullscreenElement) document.exitFullscreen();
    this.#looks();
  }

  /** Close what is open. */
  escape() {
    if (this.screen.standing) this.stand();
    else this.open(null);
    if (this.choosing) this.setLoop(this.settings.routine.bars);
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

  /**
   * Play and show a tune written anew, from the next bar on if it has that bar still.
   * @param {PageData} data
   * @param {{strip: AudioBuffer, room: AudioBuffer}} sounds
   */
  adopt(data, sounds) {
    const words = wordsOf(this.data, this.settings.routine);
    const routine = { ...plain(data), ...readWords(data, words).routine };
    this.output.sounds = sounds;
    this.#take(data, fitting({ ...this.settings, routine }, data));
  }

  /** Another tune, from its top. @param {PageData} data */
  change(data) {
    this.stop();
    this.cursor = Infinity;
    this.#take(data, remembered(data, storage()));
  }

  /**
   * @param {PageData} data
   * @param {import("./settings.js").Settings} settings
   */
  #take(data, settings) {
    const { player, sampler: before } = this;
    const { sounds } = this.output;
    Object.assign(this, { data, settings });
    this.screen.open(data);
    if (player && sounds) {
      before?.retire(RING);
      this.sampler = samplerFor(data, this.context, sounds);
      const here = player.position()?.turn.bar ?? this.cursor;
      this.cursor = here < data.bars.length ? here : this.#top;
      player.routine = player.rounds.routine = settings.routine;
      if (player.playing && here === this.cursor) player.adopt(data, this.sampler);
      else {
        this.stop();
        this.player = this.#playerOf(this.sampler);
      }
      applyMix(this.sampler, data, settings.mix);
    }
    this.#show();
  }

  /** The settings the file was made with, whatever has been chosen since. */
  asOpened() {
    const { theme, size, letters } = this.settings.view;
    const { view, ...rest } = usual(this.data);
    this.use({ ...rest, view: { ...view, theme, size, letters } });
  }

  /** Other settings. @param {import("./settings.js").Settings} settings */
  use(settings) {
    this.settings = fitting(settings, this.data);
    if (this.player) this.player.routine = this.player.rounds.routine = settings.routine;
    this.cursor = this.#top;
    this.player?.setTempo(settings.routine.tempo);
    this.player?.replan();
    this.#show();
    this.#changed("mix");
  }

  get #top() {
    const { routine } = this.settings;
    return routine.whole && this.data.form ? this.data.form.head[0] : routine.bars[0];
  }

  async #load() {
    const [sounds] = await Promise.all([this.output.loaded, this.lettered]);
    if (!sounds) return;
    this.sampler = samplerFor(this.data, this.context, sounds);
    applyMix(this.sampler, this.data, this.settings.mix);
    this.player = this.#playerOf(this.sampler);
    this.output.enter("ready");
  }

  /** @param {import("./sampler.js").Sampler} sampler */
  #playerOf(sampler) {
    const { context } = this;
    const player = new Player(this.data, this.settings.routine, sampler, () => context.currentTime);
    player.hidden = () => document.hidden;
    return player;
  }

  #wire() {
    bind(() => this.settings, (group) => this.#changed(group));
    const acts = /** @type {Record<string, () => void>} */ ({
      play: () => this.toggle(),
      top: () => this.goToTop(),
      slower: () => this.faster(-1),
      faster: () => this.faster(1),
      loop: () => this.chooseLoop(),
      lower: () => this.movePosition(-1),
      higher: () => this.movePosition(1),
      plan: () => this.open("drill"),
      stand: () => this.stand(),
      "as-opened": () => this.asOpened(),
      "whole-band": () => lineUp(this.settings.mix, true),
      "click-alone": () => lineUp(this.settings.mix, false),
      print: () => print(),
    });
    for (const name of SHEETS) acts[name] = () => this.open(name);
    for (const [id, act] of Object.entries(acts)) byId(id).addEventListener("click", act);
    for (const id of ["whole-band", "click-alone"]) byId(id).addEventListener("click", () => this.#changed("mix"));
    for (const id of TEMPOS) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      field.addEventListener("change", () => this.setTempo(field.valueAsNumber));
    }
  }

  /** @param {"routine" | "view" | "mix"} group */
  #changed(group) {
    const { routine, mix } = this.settings;
    const { line } = routine;
    suitLine(this.settings, this.data, group === "mix");
    if (group !== "view" && this.sampler) applyMix(this.sampler, this.data, mix);
    if (group === "routine" || routine.line !== line) this.player?.replan();
    show(this.settings);
    if (!byId("parts").contains(document.activeElement)) this.#rows();
    this.#showLoop();
    if (group === "view") this.sentence.nameKeys(READS[this.settings.view.part]);
    if (group !== "mix") this.#looks();
    this.#keep();
  }

  /** All that depends on the tune and its settings. */
  #show() {
    const { data, settings } = this;
    texts(data);
    if (!settings.routine.whole && !settings.routine.bars.includes(this.cursor)) this.cursor = this.#top;
    this.sentence.open(data, settings.routine);
    this.sentence.nameKeys(READS[settings.view.part]);
    show(settings);
    this.#rows();
    this.#showTempo(settings.routine.tempo);
    this.#showLoop();
    this.#looks();
    this.#showKept(true);
  }

  #rows() {
    partRows(this.data, this.settings, () => this.#changed("mix"));
  }

  /** @param {number} bar */
  #chosen(bar) {
    if (this.loopFrom < 0) {
      this.loopFrom = bar;
      offer("Now tap its last bar.");
      return;
    }
    const [from, to] = [Math.min(this.loopFrom, bar), Math.max(this.loopFrom, bar)];
    this.setLoop(Array.from({ length: to - from + 1 }, (_, at) => from + at));
  }

  #looks() {
    this.screen.looks();
    if (!this.player?.playing) this.#still();
  }

  #still() {
    this.screen.still(this.cursor);
    this.#showTempo(this.settings.routine.tempo);
  }

  #frame() {
    const time = this.context.currentTime - this.output.latency;
    const { player } = this;
    const position = player?.position(time);
    if (!player || !position) return;
    const { turn, beat } = position;
    if (turn.kind === "end" && turn.counted > 0) {
      this.stop();
      return;
    }
    if (turn.tempo !== this.tempo) this.#showTempo(turn.tempo);
    this.screen.draw(turn, turn.kind === "end" ? turn.beats - 0.01 : beat);
    this.screen.light((of) => player.sounding(time, of));
    this.frame = requestAnimationFrame(() => this.#frame());
  }

  /** @param {number} tempo */
  #showTempo(tempo) {
    this.tempo = tempo;
    for (const id of TEMPOS) {
      const field = /** @type {HTMLInputElement} */ (byId(id));
      const shown = id === "tempo" ? tempo : this.settings.routine.tempo;
      if (document.activeElement !== field) field.value = String(Math.round(shown));
    }
    this.sentence.show();
  }

  #showLoop() {
    const { bars, whole } = this.settings.routine;
    byId("loop").setAttribute("aria-pressed", String(this.choosing || (!whole && !isChorus(this.data, bars))));
    this.sentence.show();
  }

  #keep() {
    this.#showKept(remember(this.data, this.settings, storage()));
  }

  /** @param {boolean} kept */
  #showKept(kept) {
    byId("kept").hidden = kept;
    this.told();
    const { routine, mix, view } = usual(this.data);
    const mine = this.settings;
    const same = [[routine, mine.routine], [mix, mine.mix], [view.position, mine.view.position]];
    byId("as-opened").hidden = same.every(([a, b]) => JSON.stringify(a) === JSON.stringify(b));
  }
}
