// The keys of the page: for a player with one hand on the neck.

/** @typedef {import("./app.js").App} App */

/** Whether a key is for the browser, or for a dialog. @param {KeyboardEvent} event */
function elsewhere({ ctrlKey, metaKey, altKey, target }) {
  return ctrlKey || metaKey || altKey || /** @type {HTMLElement} */ (target).closest("dialog") !== null;
}

/**
 * Space plays and stops wherever the focus is, except in text that is being typed. Single letters can be
 * turned off (WCAG 2.2, 2.1.4).
 * @param {App} app
 */
export function listen(app) {
  /** @type {Record<string, (event: KeyboardEvent) => void>} */
  const keys = {
    ArrowLeft: () => app.step(-1),
    ArrowRight: () => app.step(1),
    ArrowUp: (event) => app.faster(event.shiftKey ? 5 : 1),
    ArrowDown: (event) => app.faster(event.shiftKey ? -5 : -1),
    Escape: () => app.escape(),
  };
  /** @type {Record<string, () => void>} */
  const letters = {
    "[": () => app.movePosition(-1),
    "]": () => app.movePosition(1),
    l: () => app.chooseLoop(),
    b: () => app.open("band"),
    d: () => app.open("drill"),
    n: () => app.rename(),
    s: () => app.stand(),
    t: () => app.open("take"),
    v: () => app.open("view"),
  };
  document.addEventListener("keydown", (event) => {
    const target = /** @type {HTMLElement} */ (event.target);
    if (elsewhere(event)) return;
    if (event.key === " ") {
      if (target.matches("textarea, input[type=text]")) return;
      event.preventDefault();
      if (!event.repeat) app.toggle();
      return;
    }
    const typing = target.matches("input, select, textarea") && event.key !== "Escape";
    const act = keys[event.key] ?? (app.settings.view.letters ? letters[event.key.toLowerCase()] : undefined);
    if (!act || typing) return;
    event.preventDefault();
    act(event);
  });
  // where a button has the focus, it would be pressed when space is let go
  document.addEventListener("keyup", (event) => {
    const target = /** @type {HTMLElement} */ (event.target);
    if (event.key === " " && !target.closest("dialog") && !target.matches("textarea, input[type=text]")) event.preventDefault();
  });
}
