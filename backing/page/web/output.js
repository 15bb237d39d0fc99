// The sound of the page: one context, its one state, and what is said of it.

import { soundsOf } from "./audio.js";
import { claimSound, goes } from "./device.js";
import { DAMAGED, SILENT, SUSPENDED, showState } from "./said.js";

/** @typedef {import("./said.js").State} State */

export class Output {
  /** @param {() => void} stop  Told when no sound comes. */
  constructor(stop) {
    this.stop = stop;
    this.context = new AudioContext({ latencyHint: "interactive" });
    this.context.addEventListener("statechange", () => this.#interrupted());
    /** @type {State} */
    this.state = "loading";
    /** @type {{strip: AudioBuffer, room: AudioBuffer} | null} */
    this.sounds = null;
    this.loaded = this.#load();
  }

  /** By how much later than the audio clock says it is heard, in seconds: Bluetooth takes a fifth of one. */
  get latency() {
    return this.context.outputLatency || this.context.baseLatency || 0;
  }

  /**
   * @param {State} state
   * @param {string} [words]  What is to be said of it.
   */
  enter(state, words = "") {
    this.state = state;
    showState(state, words);
  }

  /** Read the sounds of the page; null where they are damaged. */
  async #load() {
    try {
      this.sounds = await soundsOf(this.context);
    } catch {
      this.enter("failed", DAMAGED);
    }
    return this.sounds;
  }

  /** Let the clock go, and stop if it does not. */
  async resume() {
    claimSound();
    this.context.resume().catch(() => {});
    const playing = await goes(this.context);
    if (playing || this.state !== "playing") return;
    this.stop();
    this.enter("ready", SILENT);
  }

  /** A call, a lock, a headphone pulled out: the clock stands still, and so does the band. */
  #interrupted() {
    const running = this.context.state === "running";
    if (this.state === "playing" && !running) this.enter("suspended", SUSPENDED);
    else if (this.state === "suspended" && running) this.enter("playing");
  }
}
