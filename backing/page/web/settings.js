// What the player has chosen, kept from one visit to the next.

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./types.js").Routine} Routine
 * @typedef {object} View
 * @property {"auto" | "light" | "dark"} theme
 * @property {string} size
 * @property {"full" | "thin"} ribbon
 * @property {boolean} neck
 * @property {boolean} names
 * @property {number} position
 * @typedef {object} Mix
 * @property {Record<string, number>} levels  Of every part, 0 to 1.5.
 * @property {Record<string, boolean>} on
 * @property {string} click  The part that clicks, or "".
 * @property {number} volume
 * @typedef {{routine: Routine, view: View, mix: Mix}} Settings
 */

/**
 * What holds before anything is chosen.
 * @param {PageData} data
 * @returns {Settings}
 */
export function usual(data) {
  return {
    routine: {
      from: 0,
      to: data.bars.length - 1,
      tempo: data.tempo,
      countIn: true,
      leadIn: 0,
      restBars: 0,
      trade: 0,
      drumsFirst: false,
      layOut: 0,
      same: false,
      climbStep: 0,
      climbUnit: "bpm",
      climbTimes: 2,
      climbTo: Math.round(data.tempo),
      key: data.keys.findIndex((key) => key.semitones === 0),
      walk: "stay",
    },
    view: {
      theme: "auto",
      size: "1",
      ribbon: "full",
      neck: true,
      names: false,
      position: data.neck ? data.neck.best : 0,
    },
    mix: {
      levels: {},
      on: Object.fromEntries(
        ["bass", "comp", "drums", "third", "seventh", "etude"].map((id) => [
          id,
          ["bass", "comp", "drums"].includes(id) || data.heard.includes(id),
        ]),
      ),
      click: "",
      volume: 1,
    },
  };
}

/**
 * The settings of the last visit, as far as they still fit the tune.
 * @param {PageData} data
 * @param {Pick<Storage, "getItem"> | null} storage
 * @returns {Settings}
 */
export function remembered(data, storage) {
  const settings = usual(data);
  try {
    const kept = JSON.parse(storage?.getItem(name(data)) ?? "{}");
    for (const group of /** @type {const} */ (["routine", "view", "mix"])) {
      for (const [key, value] of Object.entries(kept[group] ?? {})) {
        const mine = /** @type {Record<string, unknown>} */ (settings[group]);
        if (typeof mine[key] === typeof value) mine[key] = value;
      }
    }
  } catch {
    // a storage that is closed or scrambled is as good as none
  }
  return fitting(settings, data);
}

/**
 * @param {PageData} data
 * @param {Settings} settings
 * @param {Pick<Storage, "setItem"> | null} storage
 */
export function remember(data, settings, storage) {
  try {
    storage?.setItem(name(data), JSON.stringify(settings));
  } catch {
    // full or closed: the page works, it only forgets
  }
}

/**
 * @param {Settings} settings
 * @param {PageData} data
 */
function fitting(settings, data) {
  const { routine, view } = settings;
  const last = data.bars.length - 1;
  routine.to = within(routine.to, 0, last);
  routine.from = within(routine.from, 0, routine.to);
  routine.tempo = within(routine.tempo, 30, 400);
  routine.key = within(routine.key, 0, data.keys.length - 1);
  view.position = within(view.position, 0, data.neck ? data.neck.positions.length - 1 : 0);
  return settings;
}

/**
 * @param {number} value
 * @param {number} low
 * @param {number} high
 */
export function within(value, low, high) {
  return Math.min(high, Math.max(low, Number.isFinite(value) ? value : low));
}

/** @param {PageData} data */
function name(data) {
  return `practice page: ${data.title}`;
}
