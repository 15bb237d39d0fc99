// The controls of the page and the settings they stand for.

import { within } from "./settings.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./settings.js").Settings} Settings
 * @typedef {"routine" | "view" | "mix"} Group
 */

/** Control, group of settings, and the name it has there. */
const BOUND = /** @type {[id: string, group: Group, key: string][]} */ ([
  ["count-in", "routine", "countIn"],
  ["lead-in", "routine", "leadIn"],
  ["breath", "routine", "breath"],
  ["climb-step", "routine", "climbStep"],
  ["climb-unit", "routine", "climbUnit"],
  ["climb-rounds", "routine", "climbRounds"],
  ["climb-to", "routine", "climbTo"],
  ["trade", "routine", "trade"],
  ["drums-first", "routine", "drumsFirst"],
  ["lay-out", "routine", "layOut"],
  ["same", "routine", "same"],
  ["key", "routine", "key"],
  ["walk", "routine", "walk"],
  ["theme", "view", "theme"],
  ["size", "view", "size"],
  ["show-threads", "view", "threads"],
  ["show-neck", "view", "neck"],
  ["click", "mix", "click"],
  ["volume", "mix", "volume"],
]);

/**
 * @template {HTMLElement} T
 * @param {string} id
 * @returns {T}
 */
export function byId(id) {
  return /** @type {T} */ (document.getElementById(id));
}

/**
 * Show the settings in their controls, and tell of every change which group it belongs to.
 * @param {Settings} settings
 * @param {(group: Group) => void} changed
 */
export function bind(settings, changed) {
  for (const [id, group, key] of BOUND) {
    const control = byId(id);
    control.addEventListener("input", () => {
      const mine = /** @type {Record<string, unknown>} */ (settings[group]);
      const value = read(control, mine[key]);
      if (value === null) return;
      mine[key] = value;
      changed(group);
    });
    // a field left empty or out of range shows what holds
    control.addEventListener("change", () => show(settings));
  }
  show(settings);
}

/** @param {Settings} settings */
export function show(settings) {
  for (const [id, group, key] of BOUND) {
    const control = byId(id);
    const value = /** @type {Record<string, unknown>} */ (settings[group])[key];
    if (control instanceof HTMLInputElement && control.type === "checkbox") {
      control.checked = value === true;
    } else if (control instanceof HTMLInputElement || control instanceof HTMLSelectElement) {
      control.value = String(value);
    }
  }
}

/**
 * What a control says, of the type that its setting has; null where it says nothing.
 * @param {HTMLElement} control
 * @param {unknown} like
 */
function read(control, like) {
  if (control instanceof HTMLInputElement && control.type === "checkbox") return control.checked;
  if (control instanceof HTMLInputElement) {
    if (Number.isNaN(control.valueAsNumber)) return null;
    const value = within(control.valueAsNumber, Number(control.min), Number(control.max));
    return control.step === "1" ? Math.round(value) : value;
  }
  if (!(control instanceof HTMLSelectElement)) return null;
  return typeof like === "number" ? Number(control.value) : control.value;
}

/**
 * The choices that depend on the tune: its keys and its sections.
 * @param {PageData} data
 * @param {(from: number, to: number) => void} loop
 */
export function fill(data, loop) {
  byId("key").replaceChildren(
    ...data.keys.map((key, at) => new Option(key.name.replace(/b\b/, "♭").replace("#", "♯"), String(at))),
  );
  const tops = data.bars.flatMap((bar, at) => (bar.top ? [at] : []));
  const ends = [...tops.slice(1), data.bars.length].map((end) => end - 1);
  const whole = /** @type {[string, number, number]} */ (["All", 0, data.bars.length - 1]);
  const parts = tops.map(
    (from, at) => /** @type {[string, number, number]} */ ([data.bars[from].section, from, ends[at]]),
  );
  byId("sections").replaceChildren(
    ...[whole, ...(parts.length > 1 ? parts : [])].map(([name, from, to]) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = from === 0 && to === whole[2] ? name : `${name} ${from + 1}–${to + 1}`;
      button.addEventListener("click", () => loop(from, to));
      return button;
    }),
  );
}

/**
 * A row for each part of the band: on or off, and how loud.
 * @param {PageData} data
 * @param {Settings} settings
 * @param {() => void} changed
 */
export function partRows(data, settings, changed) {
  const { mix } = settings;
  const parts = data.parts.filter((part) => part.voice !== "click");
  const rows = parts.map(({ id, name }) => {
    const row = document.createElement("div");
    const toggle = document.createElement("button");
    toggle.type = "button";
    toggle.textContent = name;
    toggle.setAttribute("aria-pressed", String(mix.on[id] ?? false));
    toggle.addEventListener("click", () => {
      mix.on[id] = !mix.on[id];
      toggle.setAttribute("aria-pressed", String(mix.on[id]));
      changed();
    });
    row.append(toggle, fader(name, mix.levels[id] ?? 1, (level) => {
      mix.levels[id] = level;
      changed();
    }));
    return row;
  });
  byId("parts").replaceChildren(...rows);
}

/**
 * @param {string} name
 * @param {number} level
 * @param {(level: number) => void} changed
 */
function fader(name, level, changed) {
  const input = document.createElement("input");
  Object.assign(input, { type: "range", min: "0", max: "1.5", step: "0.05", value: String(level) });
  input.setAttribute("aria-label", `How loud: ${name}`);
  input.addEventListener("input", () => changed(input.valueAsNumber));
  return input;
}
