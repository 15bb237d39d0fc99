// The take: asking for an instrument, the last note while it is played, the account after it.

import { byId } from "./controls.js";
import { claimSound } from "./device.js";
import { offer, say } from "./said.js";
import { READS } from "./screen.js";
import { barWords } from "./session.js";
import { storage } from "./settings.js";
import { unresolved } from "./take_account.js";
import { Keys, Microphone, Refused, recorded } from "./take_input.js";
import { findLatency, keptLatency } from "./take_latency.js";
import { entryOf, keepTakes, keptTakes, linesOf, takesIn } from "./take_log.js";
import { takePicture } from "./take_picture.js";
import { figuresOf, outsideText } from "./take_report.js";
import { Watch, tellLive, tellRecorded } from "./take_session.js";
import { KeptSound, asFile } from "./take_sound.js";
import { weeksPicture } from "./take_weeks.js";

/**
 * @typedef {import("./app.js").App} App
 * @typedef {import("./take_input.js").Ended} Ended
 * @typedef {import("./take_input.js").Live} Live
 * @typedef {import("./take_session.js").Told} Told
 * @typedef {"begin" | "live" | "told"} State
 */

/** The usual latency of an input beside that of the output, in seconds, and by how much it may be off. */
const INPUT = 0.02;
const SLACK = 0.12;
const EVERY_MS = 200;
/** A note that was heard longer ago, in seconds, is not shown: the device is too slow for it. */
const STALE = 0.7;

export class TakePanel {
  /** @param {App} app */
  constructor(app) {
    this.app = app;
    /** @type {Microphone | Keys | null} */
    this.input = null;
    /** @type {Watch | null} */
    this.watch = null;
    /** @type {Told | null} */
    this.told = null;
    /** @type {KeptSound | null} */
    this.sound = null;
    /** The tune that the take is of. */
    this.data = app.data;
    this.slack = SLACK;
    this.stale = STALE;
    this.opening = false;
    this.label = "";
    /** @type {ReturnType<typeof setInterval> | undefined} */
    this.timer = undefined;
    this.#wire();
    this.#enter("begin");
  }

  /** Listen to an instrument while the band plays. @param {"microphone" | "keys"} what */
  async begin(what) {
    await this.#guarded(async () => {
      const { app } = this;
      if (!app.player || this.input) return;
      claimSound("play-and-record");
      app.context.resume().catch(() => {});
      const calls = { live: (/** @type {Live} */ live) => this.#live(live), lost: (/** @type {string} */ why) => this.#lost(why) };
      const how = { what: /** @type {const} */ ("notes"), keep: chosen("take-keep") };
      this.input = what === "keys" ? await Keys.open(app.context, calls) : await Microphone.open(app.context, app.data.take, how, calls);
      this.label = this.input.label;
      this.data = app.data;
      this.watch = new Watch(app.player);
      this.#enter("live", "Listening. Stop the band, or press Done, when the take is over.");
      if (!app.player.playing) app.play(app.cursor, true);
      claimSound("play-and-record");
      this.timer = setInterval(() => this.#look(), EVERY_MS);
    });
  }

  /** The take is over: tell of it. @param {string} why  What broke it off. */
  async done(why = "") {
    const { app, data, input, watch } = this;
    if (!input || !watch) return;
    clearInterval(this.timer);
    const usual = this.#usual;
    watch.look();
    watch.stop();
    const { after, played } = watch;
    this.input = this.watch = null;
    app.screen.necks[0]?.heard(0, true);
    byId("take-doing").textContent = "Reading the take.";
    if (app.player === watch.player && app.data === data) app.stop();
    claimSound();
    await this.#guarded(async () => {
      const ended = await input.end();
      if (app.data !== data) throw new Refused("Another tune was chosen, or this one was changed: the take is over.");
      const latency = keptLatency(storage(), this.label);
      const told = tellLive(data, played, after, this.#how, ended, { latency, usual, slack: this.slack });
      this.sound = typeof told === "string" ? null : KeptSound.of(ended, told.offset);
      this.#tell(told, why);
    });
  }

  /** A recording made elsewhere. @param {File} file */
  async read(file) {
    await this.#guarded(async () => {
      const { data, settings } = this.app;
      this.data = data;
      this.#enter("live", `Reading ${file.name}.`);
      const reading = (/** @type {number} */ part) => {
        byId("take-doing").textContent = `Reading ${file.name}: ${Math.round(part * 100)}%`;
      };
      const ended = await recorded(file, data.take, { live: () => {}, lost: (why) => this.#lost(why), done: reading });
      if (!ended.heard) return;
      const told = tellRecorded(data, settings.routine, this.#how, ended.heard, ended.sound.duration, valueOf("take-from"));
      this.sound = typeof told === "string" ? null : new KeptSound(ended.sound, told.offset);
      this.#tell(told);
    });
  }

  /** The latency where none was found, in seconds. */
  get #usual() {
    return this.input instanceof Keys ? 0 : this.app.output.latency + INPUT;
  }

  /** How the band is held against the take. */
  get #how() {
    const { routine, mix, view } = this.app.settings;
    const whole = routine.whole && this.app.data.form;
    return {
      first: whole ? whole.head[0] : routine.bars[0],
      line: mix.on.etude ?? false,
      partner: routine.trade > 0 ? routine.partner : /** @type {const} */ (""),
      reads: READS[view.part],
      position: view.neck && READS[view.part] === 0 ? view.position : -1,
    };
  }

  /** Do something that may be refused, in a sentence. @param {() => Promise<void>} act */
  async #guarded(act) {
    if (this.opening) return;
    this.opening = true;
    try {
      await act();
    } catch (error) {
      if (!(error instanceof Refused)) throw error;
      this.#enter("begin");
      this.#notice(error.message);
    } finally {
      this.opening = false;
    }
  }

  /** The band has stopped, or is another one. */
  #look() {
    const { app, watch } = this;
    if (watch && (app.player !== watch.player || app.data !== this.data || !app.player.playing)) this.done();
  }

  /** @param {string} why */
  #lost(why) {
    if (this.input) this.done(why);
    else this.#notice(why);
  }

  /** The note that is heard, as a degree of the chord that sounds. @param {Live} live */
  #live({ pitch, seconds }) {
    const { app, watch } = this;
    if (!watch || !chosen("take-shown") || app.context.currentTime - seconds > this.stale) return;
    const latency = keptLatency(storage(), this.label)?.seconds ?? this.#usual;
    const judged = pitch > 0 ? watch.judge(app.data, seconds - latency, pitch) : null;
    app.screen.necks[0]?.heard(judged ? pitch : 0, judged?.kind !== "outside");
    if (judged) this.#last(judged); // it stays to be read
  }

  /** The last note. @param {{degree: string, kind: string}} note */
  #last({ degree, kind }) {
    byId("take-degree").textContent = degree || (kind ? "–" : "");
    byId("take-degree").dataset.kind = kind;
    byId("take-kind").textContent = kind;
  }

  /** @param {Told | string} told @param {string} [why] */
  #tell(told, why = "") {
    if (typeof told === "string") {
      this.#enter("begin");
      this.#notice([why, told].filter(Boolean).join(" "));
      return;
    }
    this.told = told;
    this.#enter("told");
    this.#notice([why, ...told.remarks].filter(Boolean).join(" "));
    const { course, advice } = told;
    byId("take-sentences").replaceChildren(...advice.sentences.map((text) => element("li", text)));
    byId("take-picture").replaceChildren(...(told.told.notes.length > 0 ? [takePicture(course, told.told)] : []));
    byId("take-figures").replaceChildren(...figuresOf(told).map(([name, text]) => rowOf(name, text)));
    byId("take-outside").replaceChildren(...unresolved(told.told).map((note) => element("li", outsideText(course, note))));
    const bars = loopBars(told, this.app.data.chorus);
    byId("take-loop").hidden = bars.length === 0;
    if (bars.length > 0) byId("take-loop").textContent = `Loop ${bars.length > 1 ? "bars" : "bar"} ${barWords(this.app.data, bars)}`;
    for (const id of ["take-hear", "take-save"]) byId(id).hidden = this.sound === null;
    say(advice.sentences.join(" "));
    if (!keepTakes(storage(), [entryOf(told, new Date())])) this.#notice("This browser keeps no log for this file: export it.");
    this.#showLog();
  }

  /** Play the take over the band that it was played to. */
  #hear() {
    const { app, told, sound } = this;
    if (!told || !sound || !app.player || app.data !== this.data) return;
    app.play(told.first.bar, told.first.kind === "count");
    sound.play(app.context, app.player.clock.time(0));
    const timer = setInterval(() => {
      if (app.player?.playing) return;
      sound.stop();
      clearInterval(timer);
    }, EVERY_MS);
  }

  /** @param {State} state @param {string} [doing] */
  #enter(state, doing = "") {
    for (const each of ["begin", "live", "told"]) byId(`take-${each}`).hidden = each !== state;
    byId("take-doing").textContent = doing;
    byId("take-sheet").scrollTop = 0;
    byId("take-done").hidden = this.input === null;
    this.#last({ degree: "", kind: "" });
    this.#notice("");
    if (state !== "told") this.sound = null;
    this.#showLog();
    const latency = keptLatency(storage(), this.label);
    byId("take-latency").textContent = latency
      ? `Latency: ${Math.round(latency.seconds * 1000)} ms, by ${latency.how === "clicks" ? "the clicks" : "your playing"}.`
      : "The latency isn't known, so nothing is said of how late you are.";
  }

  /** @param {string} words */
  #notice(words) {
    byId("take-notice").textContent = words;
    byId("take-notice").hidden = !words;
  }

  #showLog() {
    const count = keptTakes(storage()).length;
    byId("take-kept").textContent = count === 0 ? "No takes in the log." : `${count} take${count === 1 ? "" : "s"} in the log.`;
    byId("take-export").hidden = byId("take-weeks").hidden = count === 0;
    this.#plotLog();
  }

  /** The log as a picture, as wide as there is room. */
  #plotLog() {
    const takes = keptTakes(storage());
    const { clientWidth: room } = byId("take-weeks");
    if (takes.length > 0 && room > 0) byId("take-weeks").replaceChildren(weeksPicture(takes, this.app.data.take, room));
  }

  async #find() {
    await this.#guarded(async () => {
      const { app } = this;
      if (this.input) return;
      app.stop();
      app.context.resume().catch(() => {});
      this.#enter("live", "Eight clicks come. Hold an earphone to the microphone, or play a short note on each of them.");
      const { latency, label } = await findLatency(app.context, app.data.take, storage(), (why) => this.#lost(why));
      this.label = label;
      this.#enter("begin");
      if (!latency) this.#notice("The clicks weren't heard: hold the earphone nearer, or play louder on each.");
    });
  }

  #wire() {
    const acts = /** @type {Record<string, () => void>} */ ({
      "take-microphone": () => this.begin("microphone"),
      "take-keys": () => this.begin("keys"),
      "take-choose": () => byId("take-file").click(),
      "take-find": () => this.#find(),
      "take-done": () => this.done(),
      "take-loop": () => this.#loop(),
      "take-again": () => this.#enter("begin"),
      "take-hear": () => this.#hear(),
      "take-save": () => this.sound && asFile("take.wav", this.sound.wav()),
      "take-export": () => asFile("takes.jsonl", new Blob([linesOf(keptTakes(storage()))])),
      "take-import": () => byId("take-lines").click(),
    });
    for (const [id, act] of Object.entries(acts)) byId(id).addEventListener("click", act);
    onFile("take-file", (file) => this.read(file));
    onFile("take-lines", (file) => this.#guarded(async () => {
      keepTakes(storage(), takesIn(await file.text()));
      this.#showLog();
    }));
    new ResizeObserver(() => this.#plotLog()).observe(byId("take-weeks"));
    const sheet = byId("take-sheet");
    sheet.addEventListener("dragover", (event) => event.preventDefault());
    sheet.addEventListener("drop", (event) => {
      event.preventDefault();
      const file = event.dataTransfer?.files[0];
      if (file && !this.input) this.read(file);
    });
  }

  /** The bars to work on, as the loop. */
  #loop() {
    if (!this.told || this.app.data !== this.data) return;
    const bars = loopBars(this.told, this.app.data.chorus);
    const { routine } = this.app.settings;
    const before = routine.bars;
    routine.whole = false;
    this.app.setLoop(bars);
    offer("", "Back to the bars before", () => this.app.setLoop(before));
    this.app.open(null);
  }
}

/** The bars of the solo chorus that are to be looped. @param {Told} told @param {number} chorus */
function loopBars({ course, advice }, chorus) {
  return [...new Set(advice.loop.map((at) => course.bars[at].at ?? 0))].filter((bar) => bar < chorus);
}

/** @param {string} id */
function valueOf(id) {
  return /** @type {HTMLSelectElement | HTMLInputElement} */ (byId(id)).value;
}

/** @param {string} id */
function chosen(id) {
  return valueOf(id) !== "";
}

/** @param {string} id @param {(file: File) => void} act */
function onFile(id, act) {
  const field = /** @type {HTMLInputElement} */ (byId(id));
  field.addEventListener("change", () => {
    const [file] = field.files ?? [];
    if (file) act(file);
    field.value = "";
  });
}

/** @param {string} name @param {string} text */
function element(name, text) {
  const made = document.createElement(name);
  made.textContent = text;
  return made;
}

/** @param {string} name @param {string} text */
function rowOf(name, text) {
  const row = document.createElement("tr");
  const head = element("th", name);
  head.setAttribute("scope", "row");
  row.append(head, element("td", text));
  return row;
}
