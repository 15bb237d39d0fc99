// The tunes of the page: one is open, the others are read when they are chosen.

import { byId } from "./controls.js";

/**
 * @typedef {import("./app.js").App} App
 * @typedef {import("./types.js").PageData} PageData
 */

export class Pieces {
  constructor() {
    /** @type {HTMLElement[]} */
    this.elements = [...document.querySelectorAll("script.tune")].map((each) => /** @type {HTMLElement} */ (each));
  }

  /**
   * What a tune says of itself.
   * @param {number} at
   * @returns {PageData}
   */
  data(at = 0) {
    return JSON.parse(this.elements[at].textContent ?? "");
  }

  /** Let the player choose, where there is a choice. @param {App} app */
  offer(app) {
    const list = /** @type {HTMLSelectElement} */ (byId("piece"));
    list.replaceChildren(...this.elements.map(({ dataset }, at) => new Option(`${at + 1}. ${dataset.name}`, String(at))));
    list.addEventListener("change", () => app.change(this.data(Number(list.value))));
    byId("pieces").hidden = this.elements.length < 2;
  }
}
