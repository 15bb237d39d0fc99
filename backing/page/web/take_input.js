// What a take comes from: the microphone, an instrument with MIDI, a recording.

import { Tap } from "./take_tap.js";

/**
 * @typedef {import("./take_types.js").Heard} Heard
 * @typedef {import("./take_types.js").HeardNote} HeardNote
 * @typedef {import("./take_types.js").TakeTable} TakeTable
 * @typedef {{pitch: number, seconds: number}} Live
 * @typedef {object} Ended  What was heard; it began at `begun` seconds of the audio clock.
 * @property {number} begun
 * @property {Heard} [heard]
 * @property {number[]} [loud]  dB, every 4 ms.
 * @property {Int16Array[] | null} [kept]
 * @property {number} [rate]  Of what was kept.
 * @typedef {object} Calls  What an input tells of while it is open.
 * @property {(live: Live) => void} live
 * @property {(why: string) => void} lost
 * @property {(part: number) => void} [done]
 */

const RAW = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
/** The longest recording that a page hears. */
const LONGEST_SECONDS = 20 * 60;
const TOGETHER = 0.03;
const CHORDS = 0.15;

/** A mistake or a refusal, in one sentence for the player. */
export class Refused extends Error {}

/** A thread that hears. */
class Ear {
  /**
   * @param {TakeTable} table
   * @param {"notes" | "strokes"} what
   * @param {number} rate
   * @param {boolean} keep
   * @param {Calls} calls
   */
  constructor(table, what, rate, keep, calls) {
    const script = document.getElementById("ear")?.textContent ?? "";
    const url = URL.createObjectURL(new Blob([script], { type: "text/javascript" }));
    this.worker = new Worker(url);
    URL.revokeObjectURL(url);
    const { bounds, sentences } = table;
    this.worker.postMessage({ order: { what, rate, keep, table: { bounds, sentences } } });
    /** @type {(ended: Ended) => void} */
    this.ended = () => {};
    this.worker.onerror = () => calls.lost("Hearing broke off: load the page again.");
    this.worker.onmessage = ({ data }) => {
      if (data.live) calls.live(data.live);
      else if ("done" in data) calls.done?.(data.done);
      else this.ended({ ...data, rate });
    };
  }

  /** @returns {Promise<Ended>} */
  async end() {
    const ended = new Promise((tell) => {
      this.ended = tell;
    });
    this.worker.postMessage({ end: true });
    const found = await ended;
    this.worker.terminate();
    return found;
  }
}

export class Microphone {
  /**
   * @param {AudioContext} context
   * @param {MediaStream} stream
   * @param {Ear} ear
   */
  constructor(context, stream, ear) {
    this.stream = stream;
    this.ear = ear;
    /** Which one it is: a latency is one microphone's. */
    this.label = stream.getAudioTracks()[0].label;
    const source = context.createMediaStreamSource(stream);
    this.tap = new Tap(source, (start, sound) => ear.worker.postMessage({ start, sound }, [sound.buffer]));
  }

  /**
   * Ask for the microphone as it is, without what phones do to voices; raises Refused.
   * @param {AudioContext} context
   * @param {TakeTable} table
   * @param {{what: "notes" | "strokes", keep: boolean}} how
   * @param {Calls} calls
   */
  static async open(context, table, { what, keep }, calls) {
    const stream = await asked();
    const [track] = stream.getAudioTracks();
    track.addEventListener("ended", () => calls.lost("The microphone is gone: plug it in again, and begin again."));
    return new Microphone(context, stream, new Ear(table, what, context.sampleRate, keep, calls));
  }

  /** @returns {Promise<Ended>} */
  async end() {
    this.tap.stop();
    for (const track of this.stream.getTracks()) track.stop();
    const ended = await this.ear.end();
    return { ...ended, begun: ended.begun + this.tap.shift };
  }
}

/** @returns {Promise<MediaStream>} */
async function asked() {
  const devices = navigator.mediaDevices;
  if (!devices?.getUserMedia) {
    throw new Refused(
      "This address gets no microphone: open the page as a file or on this machine, or choose a recording.",
    );
  }
  try {
    return await devices.getUserMedia({ audio: RAW });
  } catch (error) {
    const { name } = /** @type {DOMException} */ (error);
    if (name === "NotFoundError") throw new Refused("There is no microphone: plug one in, or choose a recording.");
    if (name === "NotAllowedError") throw new Refused("The microphone was refused: allow it to this page, or choose a recording.");
    throw new Refused("The microphone can't be opened: close the program that has it, or choose a recording.");
  }
}

/**
 * What was recorded elsewhere; raises Refused.
 * @param {File} file
 * @param {TakeTable} table
 * @param {Calls} calls
 * @returns {Promise<Ended & {sound: AudioBuffer}>}
 */
export async function recorded(file, table, calls) {
  const rate = 16000;
  let sound;
  try {
    sound = await new OfflineAudioContext(1, 1, rate).decodeAudioData(await file.arrayBuffer());
  } catch {
    throw new Refused(`${file.name} isn't a recording that this browser can read: save it as .wav.`);
  }
  if (sound.duration > LONGEST_SECONDS) {
    throw new Refused(`${file.name} lasts longer than 20 minutes: cut out the take, or give it to backing take.`);
  }
  const ear = new Ear(table, "notes", rate, false, calls);
  ear.worker.postMessage({ recording: monoOf(sound) });
  return { ...(await ear.end()), sound };
}

/** @param {AudioBuffer} sound */
function monoOf(sound) {
  const found = sound.getChannelData(0).slice();
  for (let channel = 1; channel < sound.numberOfChannels; channel += 1) {
    sound.getChannelData(channel).forEach((value, at) => (found[at] += value));
  }
  return found.map((value) => value / sound.numberOfChannels);
}

/** Its moments are those at which the band was heard: there is no latency to take off. */
export class Keys {
  /**
   * @param {AudioContext} context
   * @param {MIDIAccess} access
   * @param {Calls} calls
   */
  constructor(context, access, calls) {
    this.context = context;
    this.access = access;
    this.label = ["MIDI", ...[...access.inputs.values()].map(({ name }) => name)].join();
    this.calls = calls;
    this.begun = context.currentTime;
    /** @type {HeardNote[]} */
    this.notes = [];
    /** @type {Map<number, HeardNote>} */
    this.held = new Map();
    for (const input of access.inputs.values()) input.onmidimessage = (event) => this.#message(event);
    access.onstatechange = ({ port }) => {
      if (port?.type === "input" && port.state === "disconnected") calls.lost("The instrument is gone: plug it in again, and begin again.");
    };
  }

  /**
   * Ask for the instruments with MIDI; raises Refused.
   * @param {AudioContext} context
   * @param {Calls} calls
   */
  static async open(context, calls) {
    const cure = "use the microphone, or choose a recording.";
    if (!navigator.requestMIDIAccess) throw new Refused(`This browser gets no instruments with MIDI: ${cure}`);
    let access;
    try {
      access = await navigator.requestMIDIAccess();
    } catch {
      throw new Refused("The instrument was refused: allow MIDI to this page, or use the microphone.");
    }
    if (access.inputs.size === 0) throw new Refused("There is no instrument with MIDI: plug one in, or use the microphone.");
    return new Keys(context, access, calls);
  }

  /** @returns {Promise<Ended>} */
  async end() {
    for (const input of this.access.inputs.values()) input.onmidimessage = null;
    this.access.onstatechange = null;
    return { begun: this.begun, heard: heardKeys(this.notes) };
  }

  /** @param {MIDIMessageEvent} event */
  #message({ data, timeStamp }) {
    const [status = 0, pitch = 0, velocity = 0] = data ?? [];
    const kind = status & 0xf0;
    if (kind !== 0x90 && kind !== 0x80) return;
    const seconds = this.#heardAt(timeStamp);
    const held = this.held.get(pitch);
    if (held) held.end = seconds;
    this.held.delete(pitch);
    if (kind === 0x90 && velocity > 0) {
      const note = { onset: seconds, end: seconds + 0.5, pitch, level: velocity, sure: 1, cents: 0 };
      this.notes.push(note);
      this.held.set(pitch, note);
    }
    const [last] = [...this.held.keys()].slice(-1);
    this.calls.live({ pitch: last ?? 0, seconds: seconds + this.begun });
  }

  /** Seconds since the beginning at which the band was heard at a moment of the page's clock.
   * @param {number} stamp  In ms. */
  #heardAt(stamp) {
    const { contextTime = 0, performanceTime = 0 } = this.context.getOutputTimestamp();
    const now = performanceTime > 0 ? contextTime + (stamp - performanceTime) / 1000 : this.context.currentTime;
    return now - this.begun;
  }
}

/** Keys as a take, one note at a time: of keys struck together the highest. @param {HeardNote[]} notes
 * @returns {Heard} */
export function heardKeys(notes) {
  const ordered = [...notes].sort((a, b) => a.onset - b.onset);
  const together = ordered.slice(1).filter(({ onset }, at) => onset - ordered[at].onset < TOGETHER).length;
  const several = together > CHORDS * Math.max(1, ordered.length - 1);
  /** @type {HeardNote[]} */
  const kept = [];
  for (const note of ordered) {
    const last = kept[kept.length - 1];
    if (!last || note.onset - last.onset >= TOGETHER) kept.push(note);
    else if (note.pitch > last.pitch) kept[kept.length - 1] = note;
  }
  const refusal = several ? "Several notes are struck at once, and a take is heard one note at a time." : "";
  return { notes: kept, tuning: 0, doubts: [], exact: true, clean: true, refusal, remarks: [] };
}
