// The stage in sight while the chart moves under it or beside it.

/** The stage over the chart may take this part of the window. */
const MOST_PINNED = 0.6;
/** A stage that takes less of the width than this stands beside the chart. */
const MOST_BESIDE = 0.7;

/** The stage stays in sight while the chart moves under it or beside it, where it has room. */
export function keepStage() {
  const stage = /** @type {HTMLElement} */ (document.querySelector(".stage"));
  const side = /** @type {HTMLElement} */ (document.querySelector(".side"));
  const dock = /** @type {HTMLElement} */ (document.querySelector(".dock"));
  const bar = /** @type {HTMLElement} */ (document.querySelector(".bar"));
  const root = document.documentElement;
  const pin = () => {
    const beside = stage.offsetWidth < root.clientWidth * MOST_BESIDE;
    const room = beside ? innerHeight - bar.offsetHeight : innerHeight * MOST_PINNED;
    const height = Math.max(stage.offsetHeight, side.offsetHeight);
    const pinned = height <= room;
    document.body.classList.toggle("pinned", pinned);
    root.style.setProperty("--above", `${pinned && !beside ? height + 8 : 8}px`);
    root.style.setProperty("--below", `${dock.offsetHeight + 8}px`);
  };
  const watcher = new ResizeObserver(pin);
  for (const each of [stage, side, dock]) watcher.observe(each);
  addEventListener("resize", pin);
}
