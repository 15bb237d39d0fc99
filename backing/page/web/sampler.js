// The sounds of the band on the audio clock: one strip of notes, a bus for each part, one room.

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Sound} Sound
 * @typedef {import("./types.js").VoiceData} VoiceData
 * @typedef {import("./types.js").ZoneRow} ZoneRow
 * @typedef {import("./types.js").Struck} Struck
 * @typedef {object} Voice  A note that sounds or will.
 * @property {number} when
 * @property {() => void} cancel  Take it back before it sounds.
 */

/** Seconds in which a part is silenced or brought back: too short to hear, too long to click. */
const FADE = 0.008;
/** A key struck again, or choked, falls so fast (dB per second). */
const CUT = 600;
/** An exponential fall with time constant 1 s loses so many dB in a second: 20 / ln 10. */
const DB_PER_TIME_CONSTANT = 8.685889638;

export class Sampler {
  /**
   * @param {BaseAudioContext} context
   * @param {Sound} sound
   * @param {AudioBuffer} strip
   * @param {AudioBuffer} room
   */
  constructor(context, sound, strip, room) {
    this.context = context;
    this.sound = sound;
    this.strip = strip;
    this.master = new GainNode(context, { gain: sound.gain });
    this.master.connect(context.destination);
    this.send = this.#room(room);
    /** @type {Map<string, GainNode>} */
    this.buses = new Map();
    /** @type {Map<string, Sounding>} */
    this.ringing = new Map();
  }

  /** What rings rings out; nothing more is heard of it. @param {number} seconds  Until then. */
  retire(seconds) {
    setTimeout(() => this.master.disconnect(), seconds * 1000);
  }

  /** @param {number} level  1 is the loudness of the tracks. */
  setVolume(level) {
    this.#glide(this.master.gain, level * this.sound.gain);
  }

  /**
   * @param {string} part
   * @param {number} level  0 is silent, 1 as mixed.
   */
  setLevel(part, level) {
    const bus = this.buses.get(part);
    if (bus) this.#glide(bus.gain, level);
  }

  /**
   * Make a bus for a part, in the place of its voice.
   * @param {string} part
   * @param {string} voice
   * @param {number} level
   */
  addPart(part, voice, level) {
    const [left, right] = this.sound.voices[voice].pan;
    const bus = new GainNode(this.context, { gain: level });
    // a panner in the middle turns mono down by 3 dB; the gains of the mix do not
    const place = new GainNode(this.context, { gain: Math.hypot(left, right) });
    const pan = (Math.atan2(right, left) * 4) / Math.PI - 1;
    const panner = new StereoPannerNode(this.context, { pan });
    bus.connect(place).connect(panner).connect(this.master);
    panner.connect(this.send);
    this.buses.set(part, bus);
  }

  /**
   * Strike a note at a time of the context and hold it; a drum rings until its key comes again.
   * @param {Struck} note
   * @param {number} when
   * @param {number} seconds
   * @returns {Voice | null}
   */
  play(note, when, seconds) {
    const data = this.sound.voices[note.voice];
    const bus = this.buses.get(note.part);
    const zone = zoneOf(data, note.pitch, note.velocity);
    if (!zone || !bus) return null;
    const [key, start, length, release, gains] = zone;
    const rate = data.kit ? 1 : 2 ** ((note.pitch - key) / 12);
    const source = new AudioBufferSourceNode(this.context, { buffer: this.strip, playbackRate: rate });
    const gain = new GainNode(this.context, { gain: gainOf(gains, note.velocity) });
    source.connect(gain).connect(bus);
    source.start(when, start, length);
    const voice = new Sounding(source, gain, when, data.kit ? null : [when + seconds, release]);
    this.#takeOver(note, data, voice);
    return voice;
  }

  /** Silence everything at once. */
  hush() {
    for (const voice of this.ringing.values()) voice.endAt(this.context.currentTime, CUT);
    this.ringing.clear();
  }

  /**
   * @param {AudioParam} param
   * @param {number} value
   */
  #glide(param, value) {
    const now = this.context.currentTime;
    param.cancelScheduledValues(now);
    param.setTargetAtTime(value, now, FADE);
  }

  /** @param {AudioBuffer} room */
  #room(room) {
    // at this rate the response has more samples to add up than at its own
    const scale = this.sound.room_rate / this.context.sampleRate;
    const send = new GainNode(this.context, {
      gain: this.sound.room_gain * scale,
      channelCount: 1,
      channelCountMode: "explicit",
    });
    const convolver = new ConvolverNode(this.context, { buffer: room, disableNormalization: true });
    send.connect(convolver).connect(this.master);
    return send;
  }

  /**
   * A key struck again ends its old note, as an open hi-hat ends when it is closed.
   * @param {Struck} note
   * @param {VoiceData} data
   * @param {Sounding} voice
   */
  #takeOver(note, data, voice) {
    const chokes = data.chokes.filter(([, by]) => by.includes(note.pitch)).map(([key]) => key);
    for (const key of [note.pitch, ...chokes]) {
      const name = `${note.part} ${key}`;
      const old = this.ringing.get(name);
      if (old && old.when < voice.when) voice.ends.set(name, old);
    }
    for (const old of voice.ends.values()) old.endAt(voice.when, CUT);
    const own = `${note.part} ${note.pitch}`;
    this.ringing.set(own, voice);
    voice.takenBack = (before) => {
      if (this.ringing.get(own) !== voice) return;
      if (before) this.ringing.set(own, before);
      else this.ringing.delete(own);
    };
    voice.own = own;
  }
}

/** A note on the audio clock. */
class Sounding {
  /**
   * @param {AudioBufferSourceNode} source
   * @param {GainNode} gain
   * @param {number} when
   * @param {[time: number, release: number] | null} end  When it is let go, and how fast it then falls.
   */
  constructor(source, gain, when, end) {
    this.source = source;
    this.gain = gain;
    this.level = gain.gain.value;
    this.when = when;
    this.end = end;
    this.own = "";
    /** @type {Map<string, Sounding>} Those it ends; once it is over it holds on to none of them. */
    this.ends = new Map();
    /** @type {(before: Sounding | undefined) => void} */
    this.takenBack = () => {};
    source.onended = () => this.#release();
    if (end) this.endAt(...end);
  }

  /** Take it back before it sounds. */
  cancel() {
    this.source.stop();
    for (const old of this.ends.values()) old.restore();
    this.takenBack(this.ends.get(this.own));
    this.#release();
  }

  /**
   * @param {number} time
   * @param {number} release  In dB a second.
   */
  endAt(time, release) {
    const { gain, level, when } = this;
    const constant = DB_PER_TIME_CONSTANT / release;
    gain.gain.cancelScheduledValues(0);
    gain.gain.setValueAtTime(level, when);
    gain.gain.setTargetAtTime(0, Math.max(when, time), constant);
    this.source.stop(Math.max(when, time) + 8 * constant);
  }

  /** Let it end as it was first told to. */
  restore() {
    if (this.end) this.endAt(...this.end);
    else {
      this.gain.gain.cancelScheduledValues(0);
      this.gain.gain.setValueAtTime(this.level, this.when);
    }
  }

  #release() {
    this.source.disconnect();
    this.gain.disconnect();
    this.ends.clear();
    this.takenBack = () => {};
  }
}

/**
 * The zone of a pitch and velocity: the nearest key, then the nearest velocity.
 * @param {VoiceData} data
 * @param {number} pitch
 * @param {number} velocity
 * @returns {ZoneRow | null}
 */
export function zoneOf(data, pitch, velocity) {
  /** @param {ZoneRow} zone */
  const distance = ([key, , , , gains]) => {
    if (data.kit && key !== pitch) return Infinity;
    const nearest = Math.min(...gains.map(([other]) => Math.abs(other - velocity)));
    return Math.abs(key - pitch) * 1000 + nearest;
  };
  /** @type {ZoneRow | null} */
  let best = null;
  for (const zone of data.zones) {
    if (distance(zone) < (best ? distance(best) : Infinity)) best = zone;
  }
  return best;
}

/**
 * @param {[velocity: number, gain: number][]} gains
 * @param {number} velocity
 */
function gainOf(gains, velocity) {
  const nearest = gains.reduce((best, pair) =>
    Math.abs(pair[0] - velocity) < Math.abs(best[0] - velocity) ? pair : best,
  );
  return nearest[1];
}
