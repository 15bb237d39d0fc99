// A session as a link: the words of the command line behind the #, which open the page the same way.

import { byId } from "./controls.js";
import { tell } from "./said.js";
import { readWords, wordsOf } from "./session.js";
import { plain } from "./settings.js";

/**
 * @typedef {import("./app.js").App} App
 * @typedef {import("./pieces.js").Pieces} Pieces
 * @typedef {import("./settings.js").Settings} Settings
 * @typedef {import("./types.js").PageData} PageData
 */

const BAND = ["bass", "comp", "drums"];
/** Guide-tone lines that are heard, in words. */
const GUIDES = /** @type {Record<string, string[]>} */ ({
  guide: ["third"], "guide from the 3rd": ["third"], "guide from the 7th": ["seventh"], "guide both": ["third", "seventh"],
});

/** @param {Settings["mix"]} mix */
function guideWords({ on }) {
  const heard = ["third", "seventh"].filter((part) => on[part]).join();
  return Object.keys(GUIDES).find((words) => GUIDES[words].join() === heard) ?? "";
}

/**
 * What is practiced and who plays, in words by the names of the options.
 * @param {PageData} data
 * @param {Settings} settings
 */
export function sessionWords(data, { routine, mix }) {
  const without = BAND.filter((part) => !mix.on[part]).join(",");
  const click = mix.click.replace("click ", "");
  const { line, ...words } = wordsOf(data, routine);
  const lines = [guideWords(mix), line].filter(Boolean).join(" and ");
  return { ...words, ...(lines && { line: lines }), ...(without && { without }), ...(click && { click }) };
}

/**
 * Settings of the words of a link, and what in them is not understood.
 * @param {PageData} data
 * @param {Settings} settings  What holds beside them.
 * @param {Record<string, string>} words
 * @returns {{settings: Settings, refused: string[]}}
 */
export function settingsOf(data, { view, mix }, { without = "", click = "", line: lines = "", ...words }) {
  const said = lines.split(/\s+and\s+/);
  const guide = said.find((each) => each in GUIDES) ?? "";
  const line = said.filter((each) => each !== guide).join(" and ");
  const { routine, refused } = readWords(data, { ...words, ...(line && { line }) });
  const names = without.split(",").filter(Boolean);
  const on = { ...mix.on, ...Object.fromEntries(BAND.map((part) => [part, !names.includes(part)])) };
  for (const part of GUIDES[guide] ?? []) on[part] = true;
  const clicks = data.parts.some(({ id }) => id === `click ${click}`);
  const strange = [...names.filter((name) => !BAND.includes(name)).map((name) => `--without ${name}`)];
  if (click && !clicks) strange.push(`--click ${click}`);
  return {
    settings: { view, mix: { ...mix, on, click: clicks ? `click ${click}` : "" }, routine: { ...plain(data), ...routine } },
    refused: [...refused, ...strange],
  };
}

/**
 * Open what the address asks for, now and whenever it changes.
 * @param {App} app
 * @param {Pieces} pieces
 */
export function followLinks(app, pieces) {
  const follow = () => {
    const { piece, ...words } = Object.fromEntries(new URLSearchParams(location.hash.slice(1)));
    if (piece) pieces.open(app, Number(piece) - 1);
    if (Object.keys(words).length === 0) return;
    const { settings, refused } = settingsOf(app.data, app.settings, words);
    app.use(settings);
    if (refused.length > 0) tell(`This link asks for what the page does not know: ${refused.join(" ")}`);
  };
  addEventListener("hashchange", follow);
  follow();
  app.told = () => {
    const words = Object.entries(sessionWords(app.data, app.settings));
    const piece = pieces.at > 0 ? [["piece", String(pieces.at + 1)]] : [];
    /** @type {HTMLAnchorElement} */ (byId("link")).hash = new URLSearchParams([...piece, ...words]).toString();
    byId("words").textContent = words.map(([name, text]) => `--${name} ${/\s/.test(text) ? `"${text}"` : text}`).join(" ");
  };
  app.told();
}
