// The controls of the page and the settings they stand for.

import { within } from "./settings.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./settings.js").Settings} Settings
 * @typedef {"routine" | "view" | "mix"} Group
 */

/** Control, group of settings, and the name it has there. */
const BOUND = /** @type {[id: string, group: Group, key: string][]} */ ([
  ["lead-in", "routine", "leadIn"],
  ["rest-bars", "routine", "restBars"],
  ["climb-step", "routine", "climbStep"],
  ["climb-unit", "routine", "climbUnit"],
  ["climb-times", "routine", "climbTimes"],
  ["climb-to", "routine", "climbTo"],
  ["trade", "routine", "trade"],
  ["drums-first", "routine", "drumsFirst"],
  ["lay-out", "routine", "layOut"],
  ["key", "routine", "key"],
  ["walk", "routine", "walk"],
  ["theme", "view", "theme"],
  ["size", "view", "size"],
  ["names", "view", "names"],
  ["ribbon", "view", "ribbon"],
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
  if (typeof like === "boolean") return control.value === "true";
  return typeof like === "number" ? Number(control.value) : control.value;
}

/**
 * The keys to choose from.
 * @param {PageData} data
 */
export function fillKeys(data) {
  byId("key").replaceChildren(...data.keys.map(({ name }, at) => new Option(name, String(at))));
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
    toggle.dataset.part = id;
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
  input.setAttribute("aria-label", `Level: ${name}`);
  input.addEventListener("input", () => changed(input.valueAsNumber));
  return input;
}
