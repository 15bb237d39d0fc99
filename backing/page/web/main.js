// The page: its parts put together.

import { App } from "./app.js";
import { byId } from "./controls.js";
import { listen } from "./keyboard.js";
import { watch } from "./watch.js";

/** @typedef {import("./types.js").PageData} PageData */

const data = /** @type {PageData} */ (JSON.parse(byId("data").textContent ?? ""));
const app = new App(data);
listen(app);
if (data.watched) watch(app);
// for the console, and for those who measure
Object.assign(globalThis, { practice: app });
