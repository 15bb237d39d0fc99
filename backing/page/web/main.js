// The page: its parts put together.

import { App } from "./app.js";
import { showBeginning } from "./beginning.js";
import { listen } from "./keyboard.js";
import { followLinks } from "./link.js";
import { Pieces } from "./pieces.js";
import { TakePanel } from "./take_panel.js";
import { watch } from "./watch.js";

const pieces = new Pieces();
const app = new App(pieces.data());
pieces.offer(app);
showBeginning();
followLinks(app, pieces);
listen(app);
const take = new TakePanel(app);
if (app.data.watched) watch(app);
// for the console, and for those who measure
Object.assign(globalThis, { practice: app, take });
