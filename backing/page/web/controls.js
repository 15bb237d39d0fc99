// The controls of the page and the settings they stand for.

import { lineName } from "./line.js";
import { within } from "./settings.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./settings.js").Settings} Settings
 * @typedef {"routine" | "climb" | "view" | "mix"} Group
 */

/** Control, group of settings, and the name it has there. */
const BOUND = /** @type {[id: string, group: Group, key: string][]} */ ([
  ["choruses", "routine", "choruses"],
  ["ending", "routine", "ending"],
  ["times", "routine", "times"],
  ["lead-in", "routine", "leadIn"],
  ["rest-bars", "routine", "restBars"],
  ["climb-from", "climb", "from"],
  ["climb-to", "climb", "to"],
  ["climb-step", "climb", "step"],
  ["climb-unit", "climb", "unit"],
  ["climb-order", "climb", "order"],
  ["trade", "routine", "trade"],
  ["partner", "routine", "partner"],
  ["partner-first", "routine", "partnerFirst"],
  ["lay-out", "routine", "layOut"],
  ["line", "routine", "line"],
  ["theme", "view", "theme"],
  ["size", "view", "size"],
  ["tones", "view", "tones"],
  ["ahead", "view", "ahead"],
  ["ribbon", "view", "ribbon"],
  ["show-neck", "view", "neck"],
  ["show-line", "view", "line"],
  ["part", "view", "part"],
  ["letters", "view", "letters"],
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
 * The group of settings of that name; nothing where there is no climb.
 * @param {Settings} settings
 * @param {Group} group
 * @returns {Record<string, unknown> | null}
 */
function groupOf(settings, group) {
  return /** @type {any} */ (group === "climb" ? settings.routine.climb : settings[group]);
}

/**
 * Show the settings in their controls, and tell of every change which group it belongs to.
 * @param {() => Settings} current
 * @param {(group: "routine" | "view" | "mix") => void} changed
 */
export function bind(current, changed) {
  for (const [id, group, key] of BOUND) {
    const control = byId(id);
    control.addEventListener("input", () => {
      const mine = groupOf(current(), group);
      const value = mine && read(control, mine[key]);
      if (!mine || value === null) return;
      mine[key] = value;
      if (group === "climb") mine.home = false;
      changed(group === "climb" ? "routine" : group);
    });
    // a field left empty or out of range shows what holds
    control.addEventListener("change", () => show(current()));
  }
}

/** @param {Settings} settings */
export function show(settings) {
  for (const [id, group, key] of BOUND) {
    const control = byId(id);
    const mine = groupOf(settings, group);
    const field = control instanceof HTMLInputElement || control instanceof HTMLSelectElement;
    if (mine && field && document.activeElement !== control) control.value = String(mine[key]);
  }
}

/**
 * What a control says, of the type that its setting has; null where it says nothing.
 * @param {HTMLElement} control
 * @param {unknown} like
 */
function read(control, like) {
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
  const parts = data.parts.filter((part) => part.voice !== "click" && !part.instead_of);
  const line = lineName(settings.routine.line || data.line.opens).replace(/^an? (.)/, (_, first) => first.toUpperCase());
  const rows = parts.map(({ id, ...part }) => {
    const name = id === "etude" ? line : part.name;
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

/**
 * The whole band, or a click alone.
 * @param {Settings["mix"]} mix
 * @param {boolean} band
 */
export function lineUp(mix, band) {
  for (const part of ["bass", "comp", "drums"]) mix.on[part] = band;
  for (const part of ["third", "seventh", "etude"]) mix.on[part] = false;
  mix.click = band ? "" : mix.click || "click all";
}
