// What the page says in words: what state it is in, what stands in the way, what can be done about it.

import { byId } from "./controls.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {"loading" | "ready" | "playing" | "suspended" | "failed"} State
 */

const PLAY = "M6 3l15 9-15 9z";
const STOP = "M5 5h14v14H5z";
/** What the button does in each state. */
const WORDS = /** @type {Record<State, string>} */ ({
  loading: "Loading", ready: "Play", playing: "Stop", suspended: "Go on", failed: "No sound",
});
export const SUSPENDED = "The device has taken the sound away, for a call or a lock. Go on when it is free again.";
export const SILENT = "No sound comes: is there a loudspeaker or a headphone, and is it free? Then press Play again.";
export const DAMAGED = "The sounds in this file cannot be read: it is damaged. Get it again, or make it anew.";

/**
 * What the button does now, and what is to be said of it.
 * @param {State} state
 * @param {string} words
 */
export function showState(state, words) {
  document.body.dataset.state = state;
  byId("play-word").textContent = WORDS[state];
  byId("play-sign").setAttribute("d", state === "playing" ? STOP : PLAY);
  /** @type {HTMLButtonElement} */ (byId("play")).disabled = state === "loading" || state === "failed";
  tell(words);
}

/** What stands in the way, in words; "" is nothing. @param {string} words */
export function tell(words) {
  byId("notice").textContent = words;
  byId("notice").hidden = !words;
}

/** For a screen reader. @param {string} text */
export function say(text) {
  byId("said").textContent = text;
}

/**
 * A sentence, and a way to do otherwise; without either nothing is seen.
 * @param {string} text
 * @param {string} [label]
 * @param {() => void} [act]
 */
export function offer(text, label = "", act = () => {}) {
  const [hint, undo] = [byId("hint"), byId("undo")];
  hint.textContent = text;
  hint.hidden = !text;
  undo.textContent = label;
  undo.hidden = !label;
  undo.onclick = () => {
    offer("");
    act();
  };
  if (text) say(text);
}

/** What the page says of its tune. @param {PageData} data */
export function texts(data) {
  byId("title").textContent = document.title = data.title;
  const home = data.keys.find((key) => key.semitones === 0);
  byId("about").textContent = [data.by, home?.name, data.meter, data.feel].filter(Boolean).join(" · ");
  const { comp, occasion, others } = data.band;
  byId("holds").textContent = `This file holds one band: ${data.feel}, ${comp} comp, as at a ${occasion}. To make another: `;
  const options = others.split(/ (?=--)/).map((text) => Object.assign(document.createElement("span"), { textContent: text }));
  byId("others").replaceChildren("backing page TUNE ", ...options.flatMap((option) => [option, " "]));
  const { font, licence, notice } = data.sound;
  const sounds = [`sounds: ${font} (${licence})`, notice].filter(Boolean).join(", ");
  byId("credits").textContent =
    `backing ${data.version} · ${data.recipe} · ${sounds} · type: a subset of Lato (SIL OFL 1.1)`;
  byId("notes").replaceChildren(
    ...data.notes.map((note) => {
      const item = document.createElement("li");
      item.textContent = note;
      return item;
    }),
  );
}

/** Once the page's own type is there. */
export async function lettered() {
  await Promise.all(["1rem", "bold 1rem"].map((size) => document.fonts.load(`${size} "Backing Text"`)));
  await document.fonts.ready;
}
