// Beats to seconds of the audio clock and back, while the tempo may change under way.

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
