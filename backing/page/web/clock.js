// Beats to seconds of the audio clock and back, while the tempo may change under way and within a bar.

/** @typedef {Pick<import("./types.js").Turn, "beats" | "tempos">} Paced  A bar and its tempos. */
/** @typedef {{beat: number, time: number, bpm: number}} Stretch */

export class Clock {
  constructor() {
    /** @type {Stretch[]} */
    this.stretches = [];
  }

  /**
   * From `beat`, which falls on `time`, it goes on at `bpm`; what was said of later beats is void.
   * @param {number} beat
   * @param {number} time
   * @param {number} bpm
   */
  set(beat, time, bpm) {
    this.cut(beat);
    this.stretches.push({ beat, time, bpm });
  }

  /**
   * Nothing is said any more of a beat and those after it.
   * @param {number} beat
   */
  cut(beat) {
    this.stretches = this.stretches.filter((stretch) => stretch.beat < beat);
  }

  /** @param {number} beat */
  time(beat) {
    const here = this.#last((stretch) => stretch.beat <= beat);
    return here.time + ((beat - here.beat) * 60) / here.bpm;
  }

  /** @param {number} time */
  beat(time) {
    const here = this.#last((stretch) => stretch.time <= time);
    return here.beat + ((time - here.time) * here.bpm) / 60;
  }

  /** @param {number} beat */
  bpm(beat) {
    return this.#last((stretch) => stretch.beat <= beat).bpm;
  }

  /**
   * Forget what lies before a beat, so that hours of play take no more room than minutes.
   * @param {number} beat
   */
  forget(beat) {
    const here = this.#last((stretch) => stretch.beat <= beat);
    this.stretches = this.stretches.slice(this.stretches.indexOf(here));
  }

  /**
   * @param {(stretch: Stretch) => boolean} holds
   * @returns {Stretch}
   */
  #last(holds) {
    for (let at = this.stretches.length - 1; at > 0; at -= 1) {
      if (holds(this.stretches[at])) return this.stretches[at];
    }
    return this.stretches[0];
  }
}

/**
 * The stretches of a bar, each at one tempo: the beats from its start at which they begin.
 * @param {Paced} bar
 */
export function stretchesOf({ beats, tempos }) {
  return tempos.map((bpm, at) => ({ beat: (at * beats) / tempos.length, bpm }));
}

/**
 * The tempo at a beat of a bar, in beats a minute.
 * @param {Paced} bar
 * @param {number} beat
 */
export function tempoAt({ beats, tempos }, beat) {
  const at = Math.floor((beat * tempos.length) / beats);
  return tempos[Math.max(0, Math.min(at, tempos.length - 1))];
}

/** How long a bar lasts, in seconds. @param {Paced} bar */
export function secondsOf({ beats, tempos }) {
  return tempos.reduce((sum, bpm) => sum + (60 * beats) / tempos.length / bpm, 0);
}

/**
 * The beat of a bar at a time after its start.
 * @param {Paced} bar
 * @param {number} seconds
 */
export function beatAt(bar, seconds) {
  const clock = new Clock();
  for (const { beat, bpm } of stretchesOf(bar)) clock.set(beat, beat > 0 ? clock.time(beat) : 0, bpm);
  return clock.beat(seconds);
}
