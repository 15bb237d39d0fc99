// In the audio thread: sound as it comes in, mono, is handed to the one who hears it.

/** Samples that are handed over at once: 21 ms at 48 kHz. */
const BLOCK = 1024;
/** @type {any} */
const scope = globalThis;

class Tap extends scope.AudioWorkletProcessor {
  constructor() {
    super();
    this.block = new Float32Array(BLOCK);
    this.filled = 0;
    /** @type {MessagePort | null} */
    this.ear = null;
    /** @param {MessageEvent} event */
    this.port.onmessage = ({ ports }) => {
      this.ear = ports[0];
    };
  }

  /** @param {Float32Array[][]} inputs */
  process([channels]) {
    if (channels.length === 0) return true;
    for (let at = 0; at < channels[0].length; at += 1) {
      let sum = 0;
      for (const channel of channels) sum += channel[at];
      this.block[this.filled++] = sum / channels.length;
    }
    if (this.filled >= BLOCK) this.#hand(channels[0].length);
    return true;
  }

  /** @param {number} last  Samples since the time that the scope tells. */
  #hand(last) {
    const start = scope.currentFrame + last - this.filled;
    if (this.ear) this.ear.postMessage({ start, sound: this.block.slice(0, this.filled) });
    this.filled = 0;
  }
}

scope.registerProcessor("tap", Tap);
