// From the text in the page to sound: the strip of notes and the room, decoded before the first tap.

import { Sampler } from "./sampler.js";

/**
 * @typedef {import("./types.js").PageData} PageData
 * @typedef {import("./settings.js").Mix} Mix
 */

/**
 * The bytes that an element of the page carries in base64.
 * @param {string} id
 * @param {Document} page
 */
export function bytesOf(id, page = document) {
  const told = page.getElementById(id)?.textContent ?? "";
  const { fromBase64 } = /** @type {{fromBase64?: (text: string) => Uint8Array<ArrayBuffer>}} */ (Uint8Array);
  if (fromBase64) return fromBase64.call(Uint8Array, told).buffer;
  const text = atob(told);
  const bytes = new Uint8Array(text.length);
  for (let at = 0; at < text.length; at += 1) bytes[at] = text.charCodeAt(at);
  return bytes.buffer;
}

/**
 * The strip of notes and the room, decoded.
 * @param {BaseAudioContext} context
 * @param {Document} [page]  Where they are.
 */
export async function soundsOf(context, page) {
  const [strip, room] = await Promise.all(
    ["strip", "room"].map((id) => context.decodeAudioData(bytesOf(id, page))),
  );
  return { strip, room };
}

/**
 * A sampler of a tune that plays to the speakers, or into an offline context.
 * @param {PageData} data
 * @param {BaseAudioContext} context
 * @param {{strip: AudioBuffer, room: AudioBuffer}} sounds
 */
export function samplerFor(data, context, { strip, room }) {
  const sampler = new Sampler(context, data.sound, strip, room);
  for (const part of data.parts) sampler.addPart(part.id, part.voice, 1);
  sampler.addPart("count", "drums", 1);
  return sampler;
}

/**
 * How loud each part is. While a guide line is heard, the comp is the one that leaves it room.
 * @param {PageData} data
 * @param {Mix} mix
 */
export function levelsOf(data, mix) {
  const guided = data.parts.some(({ id, voice }) => voice === "guide" && mix.on[id]);
  const replaced = data.parts.map((part) => part.instead_of);
  return data.parts.map(({ id, voice, instead_of }) => {
    if (voice === "click") return { id, level: mix.click === id ? (mix.levels.click ?? 1) : 0 };
    const name = instead_of ?? id;
    const other = instead_of ? !guided : guided && replaced.includes(id);
    return { id, level: mix.on[name] && !other ? (mix.levels[name] ?? 1) : 0 };
  });
}

/**
 * Put the mix the player chose on the buses.
 * @param {Sampler} sampler
 * @param {PageData} data
 * @param {Mix} mix
 */
export function applyMix(sampler, data, mix) {
  for (const { id, level } of levelsOf(data, mix)) sampler.setLevel(id, level);
  sampler.setVolume(mix.volume);
}
