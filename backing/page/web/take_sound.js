// The sound of a take, kept because the player asked: played over the band, and saved.

/** @typedef {import("./take_input.js").Ended} Ended */

export class KeptSound {
  /**
   * @param {AudioBuffer} sound
   * @param {number} offset  Seconds of the band at which it begins.
   */
  constructor(sound, offset) {
    this.sound = sound;
    this.offset = offset;
    /** @type {AudioBufferSourceNode | null} */
    this.source = null;
  }

  /** What was kept of a take; null where nothing was. @param {Ended} ended @param {number} offset */
  static of({ kept, rate }, offset) {
    if (!kept || !rate) return null;
    const length = kept.reduce((sum, part) => sum + part.length, 0);
    const sound = new AudioBuffer({ length: Math.max(1, length), sampleRate: rate });
    const samples = sound.getChannelData(0);
    let at = 0;
    for (const part of kept) {
      samples.set(Float32Array.from(part, (value) => value / 32768), at);
      at += part.length;
    }
    return new KeptSound(sound, offset);
  }

  /** @param {AudioContext} context @param {number} start  When the band begins. */
  play(context, start) {
    this.source?.stop();
    this.source = new AudioBufferSourceNode(context, { buffer: this.sound });
    this.source.connect(context.destination);
    const begins = start + this.offset;
    this.source.start(Math.max(begins, start), Math.max(0, -this.offset));
  }

  stop() {
    this.source?.stop();
    this.source = null;
  }

  /** As a file: RIFF, 16 bits, one channel. */
  wav() {
    const samples = this.sound.getChannelData(0);
    const { sampleRate } = this.sound;
    const view = new DataView(new ArrayBuffer(44 + 2 * samples.length));
    const text = (/** @type {number} */ at, /** @type {string} */ word) =>
      [...word].forEach((sign, n) => view.setUint8(at + n, sign.charCodeAt(0)));
    text(0, "RIFF");
    view.setUint32(4, 36 + 2 * samples.length, true);
    text(8, "WAVEfmt ");
    view.setUint32(16, 16, true);
    view.setUint16(20, 1, true);
    view.setUint16(22, 1, true);
    view.setUint32(24, sampleRate, true);
    view.setUint32(28, 2 * sampleRate, true);
    view.setUint16(32, 2, true);
    view.setUint16(34, 16, true);
    text(36, "data");
    view.setUint32(40, 2 * samples.length, true);
    samples.forEach((value, at) => view.setInt16(44 + 2 * at, Math.round(Math.max(-1, Math.min(1, value)) * 32767), true));
    return new Blob([view.buffer], { type: "audio/wav" });
  }
}

/** Hand something to the player as a file. @param {string} name @param {Blob} blob */
export function asFile(name, blob) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
