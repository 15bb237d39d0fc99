// The first page of a lesson, with which its page opens: put away with a tap, and to be had again.

import { byId } from "./controls.js";

/** Show it, unless a link asks for a task already. */
export function showBeginning() {
  const page = /** @type {HTMLDialogElement | null} */ (document.getElementById("beginning"));
  if (!page) return;
  const again = byId("what-to-do");
  const show = () => {
    page.showModal();
    page.scrollTo({ top: 0 });
    byId("begin").focus({ preventScroll: true });
  };
  again.hidden = false;
  again.addEventListener("click", show);
  byId("piece-word").textContent = "Task";
  byId("piece-word").className = "unseen"; // the button beside it needs the room
  byId("begin").addEventListener("click", () => page.close());
  // a task that is chosen here opens behind it
  for (const link of page.querySelectorAll("a")) link.addEventListener("click", () => page.close());
  if (!location.hash) show();
}
