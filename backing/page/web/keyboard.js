// The keys of the page: for a player with one hand on the neck.

/** @typedef {import("./app.js").App} App */

/**
 * @param {App} app
 */
export function listen(app) {
  /** @type {Record<string, (event: KeyboardEvent) => void>} */
  const keys = {
    " ": () => app.toggle(),
    ArrowLeft: () => app.step(-1),
    ArrowRight: () => app.step(1),
    ArrowUp: (event) => app.faster(event.shiftKey ? 10 : 2),
    ArrowDown: (event) => app.faster(event.shiftKey ? -10 : -2),
    "[": () => app.movePosition(-1),
    "]": () => app.movePosition(1),
    l: () => app.chooseLoop(),
    b: () => app.open("band"),
    d: () => app.open("drill"),
    n: () => app.rename(),
    v: () => app.open("view"),
    Escape: () => app.open(null),
  };
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const target = /** @type {HTMLElement} */ (event.target);
    const typing = target.matches("input, select, textarea");
    const pressing = target.matches("button") && event.key === " ";
    const act = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act || pressing || (typing && event.key !== "Escape")) return;
    event.preventDefault();
    act(event);
  });
}
