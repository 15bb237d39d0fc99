// The tunes of the page: one is open, the others are read when they are chosen.

import { byId } from "./controls.js";

/**
 * @typedef {import("./app.js").App} App
 * @typedef {import("./types.js").PageData} PageData
 */

export class Pieces {
  constructor() {
    this.at = 0;
    /** @type {HTMLElement[]} */
    this.elements = [...document.querySelectorAll("script.tune")].map((each) => /** @type {HTMLElement} */ (each));
  }

  /**
   * What a tune says of itself; where the band plays as in an earlier one, only in what it differs.
   * @param {number} at
   * @returns {PageData}
   */
  data(at = 0) {
    const { dataset, textContent } = this.elements[at];
    const first = dataset.of ? this.data(Number(dataset.of)) : {};
    return { ...first, ...JSON.parse(textContent ?? "") };
  }

  /** Let the player choose, where there is a choice. @param {App} app */
  offer(app) {
    const list = /** @type {HTMLSelectElement} */ (byId("piece"));
    list.replaceChildren(...this.elements.map(({ dataset }, at) => new Option(`${at + 1}. ${dataset.name}`, String(at))));
    list.addEventListener("change", () => this.open(app, Number(list.value)));
    byId("pieces").hidden = this.elements.length < 2;
  }

  /**
   * Open a tune, if it is there and is not open.
   * @param {App} app
   * @param {number} at
   */
  open(app, at) {
    if (at === this.at || !(at in this.elements)) return;
    this.at = at;
    /** @type {HTMLSelectElement} */ (byId("piece")).value = String(at);
    app.change(this.data(at));
  }
}
