// A page at the bench: it asks its server whether the tune has changed, and shows its mistakes.

const EVERY_MS = 700;

/** @param {HTMLElement} notice */
export function watch(notice) {
  let version = "";
  const ask = async () => {
    try {
      const answer = await fetch("state", { cache: "no-store" });
      const state = /** @type {{version: string, problems: string}} */ (await answer.json());
      if (version && state.version !== version && !state.problems) location.reload();
      if (!state.problems) version = state.version;
      notice.textContent = state.problems;
      notice.hidden = !state.problems;
    } catch {
      // the server rests; the page plays on
    }
    setTimeout(ask, EVERY_MS);
  };
  ask();
}
