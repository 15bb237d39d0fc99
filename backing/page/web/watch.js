// A page at the bench: it asks its server whether the tune has changed, takes the new one in where it
// plays, and shows its mistakes.

import { soundsOf } from "./audio.js";
import { tell } from "./said.js";

/**
 * @typedef {import("./app.js").App} App
 * @typedef {import("./types.js").PageData} PageData
 */

const EVERY_MS = 700;

/** @param {App} app */
export function watch(app) {
  let version = "";
  let told = "";
  const ask = async () => {
    try {
      const answer = await fetch("state", { cache: "no-store" });
      const state = /** @type {{version: string, problems: string}} */ (await answer.json());
      if (version && state.version !== version && !state.problems) await renew(app);
      if (!state.problems) version = state.version;
      if (state.problems !== told) tell(state.problems);
      told = state.problems;
    } catch {
      // the server rests; the page plays on
    }
    setTimeout(ask, EVERY_MS);
  };
  ask();
}

/** The tune as it is now, into the page as it is. @param {App} app */
async function renew(app) {
  const page = await (await fetch("/", { cache: "no-store" })).text();
  const made = new DOMParser().parseFromString(page, "text/html");
  const data = /** @type {PageData} */ (JSON.parse(made.getElementById("data")?.textContent ?? ""));
  if (data.version !== app.data.version) location.reload();
  else app.adopt(data, await soundsOf(app.context, made));
}
