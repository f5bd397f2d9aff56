// SPDX-License-Identifier: Apache-2.0
// The page begins here.

import { change, listen } from "./api.js";
import { byId, el, fill } from "./dom.js";
import { blindPage } from "./blind/blind_page.js";
import { explanations } from "./explain.js";
import { keysButton } from "./keys.js";
import { listeningLine } from "./listening/line.js";
import { followBounces } from "./moves/bounces.js";
import { movesPage } from "./moves/moves_page.js";
import { goOn } from "./remember.js";
import { songPage } from "./song_page.js";
import { follow, put } from "./store.js";
import { noticeLine, waitingLine } from "./waiting.js";
import { walkCorner } from "./walk.js";

/** The views by the end of the address; each is made when it is first shown. */
const VIEWS = {
  song: { name: "Song", make: songPage },
  moves: { name: "Moves", make: movesPage },
  blind: { name: "Blind test", make: blindPage },
};

/** @type {Map<string, HTMLElement[]>} */
const made = new Map();

/** Show the view that the address names. */
function turn() {
  const asked = location.hash.slice(1);
  const view = asked in VIEWS ? /** @type {keyof typeof VIEWS} */ (asked) : "song";
  if (!made.has(view)) made.set(view, VIEWS[view].make());
  fill(byId("main"), ...(made.get(view) || []));
  for (const link of document.querySelectorAll("#head nav a")) {
    if (link.getAttribute("href") === `#${view}`) link.setAttribute("aria-current", "page");
    else link.removeAttribute("aria-current");
  }
  put({ view });
}

/** Make the head: what the song is called, the views, undo. */
function head() {
  const title = el("h1", { dir: "auto" });
  const undo = el("button", { type: "button", class: "plain", onclick: () => void change("undo", {}) });
  const redo = el("button", { type: "button", class: "plain", onclick: () => void change("redo", {}) });
  const links = Object.entries(VIEWS).map(([id, { name }]) => el("a", { href: `#${id}` }, name));
  const told = el("div", { class: "told" }, waitingLine(), el("div", { role: "status" }, noticeLine()));
  fill(
    byId("head"),
    title,
    links.length > 1 ? el("nav", { "aria-label": "Views" }, ...links) : null,
    told,
    el("p", { class: "steps" }, undo, redo, keysButton()),
    listeningLine(),
  );
  follow(["song"], ({ song }) => {
    if (!song) return;
    document.title = `${song.title} - Mixwright`;
    fill(title, song.title, song.artist ? el("small", {}, ` ${song.artist}`) : "");
    undo.hidden = !song.undo;
    redo.hidden = !song.redo;
    fill(undo, `Undo: ${shortened(song.undo)}`);
    fill(redo, `Redo: ${shortened(song.redo)}`);
  });
  document.body.append(walkCorner(), explanations());
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type === "text";
    const key = event.key.toLowerCase();
    if (typing || !(event.ctrlKey || event.metaKey) || event.altKey || (key !== "z" && key !== "y")) return;
    event.preventDefault();
    void change(key === "y" || event.shiftKey ? "redo" : "undo", {});
  });
}

/** @param {string} name of a step */
function shortened(name) {
  return name.length > 32 ? `${name.slice(0, 31)}\u2026` : name;
}

head();
followBounces();
const stop = follow(["song"], ({ song }) => {
  if (!song) return;
  queueMicrotask(() => stop());
  goOn(song.folder);
  turn();
  addEventListener("hashchange", turn);
});
listen();
