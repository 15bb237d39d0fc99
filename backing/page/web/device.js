// What the device is asked for while the band plays: a screen that stays on, sound like that of a player.

/** How long a page waits for an audio device to start its clock, in ms. */
const PATIENCE_MS = 2500;

/**
 * Sound that a silent switch does not mute, where the device knows the word (Audio Session, W3C draft).
 * @param {"playback" | "play-and-record"} type
 */
export function claimSound(type = "playback") {
  const { audioSession } = /** @type {{audioSession?: {type: string}}} */ (/** @type {unknown} */ (navigator));
  if (audioSession) audioSession.type = type;
}

/** Keeps the screen on while it is wanted, also after another page was in front (Screen Wake Lock, W3C). */
export class Wakefulness {
  constructor() {
    this.wanted = false;
    /** @type {{release: () => Promise<void>} | null} */
    this.lock = null;
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.keep(this.wanted);
    });
  }

  /** @param {boolean} awake */
  async keep(awake) {
    this.wanted = awake;
    const before = this.lock;
    this.lock = null;
    try {
      await before?.release();
      if (awake && navigator.wakeLock) this.lock = await navigator.wakeLock.request("screen");
    } catch {
      // a low battery refuses: the screen then goes dark as it always does
    }
  }
}

/**
 * Whether the clock of a context that has been resumed goes, told once it is known.
 * @param {AudioContext} context
 * @returns {Promise<boolean>}
 */
export function goes(context) {
  const before = context.currentTime;
  return new Promise((tell) => {
    setTimeout(() => tell(context.currentTime > before), PATIENCE_MS);
  });
}
