// SPDX-License-Identifier: Apache-2.0
// The keys of the page in one table, and the dialog that lists them.

import { el } from "./dom.js";
import { put } from "./store.js";

/** Where they work, and what each does there. @type {[string, [string, string][]][]} */
const KEYS = [
  [
    "Everywhere",
    [
      ["Space", "play, pause"],
      ["b", "hear the other version, on the exact sample"],
      ["Ctrl-Z", "undo"],
      ["Ctrl-Shift-Z, Ctrl-Y", "redo"],
      ["?", "these keys"],
    ],
  ],
  [
    "Song map and voice line",
    [
      ["\u2190 \u2192", "through time, phrase by phrase in the voice line; with Shift five seconds in the map"],
      ["Home End", "to the first, to the last"],
      ["Enter", "play from here"],
      ["+ \u2212 0", "nearer, wider, the whole song"],
      ["Page Up Page Down", "half a view back, on"],
    ],
  ],
  [
    "Song map",
    [
      ["\u2191 \u2193", "from layer to layer"],
      ["x", "choose the layer"],
    ],
  ],
  [
    "A point of a lane",
    [
      ["\u2190 \u2192", "a tenth of a second earlier, later; with Shift a second"],
      ["\u2191 \u2193", "a step up, down; with Shift a small one"],
      ["Page Up Page Down", "from point to point"],
      ["Enter", "add a point after it"],
      ["Delete", "remove it"],
      ["Escape", "let go what is not kept; end a ride pass"],
      ["\u2191 \u2193 in the strip", "half a dB up, down, while a level is ridden"],
    ],
  ],
  [
    "A row of the moves",
    [
      ["h", "hear it beside the mix without it"],
      ["w o", "without it, without any move"],
      ["a r", "accept, refuse"],
      ["\u2191 \u2193", "from row to row"],
    ],
  ],
  [
    "A number of a move",
    [
      ["\u2191 \u2193", "a step up, down; Page Up and Page Down five"],
      ["Enter", "take what was typed"],
    ],
  ],
  ["Blind test", [["1 2 3", "hear the first, second, third version"]]],
  [
    "While layers are chosen",
    [
      ["a letter", "type what they are to be"],
      ["Enter", "make them that"],
      ["Escape", "choose none"],
    ],
  ],
  [
    "A word with a dotted line",
    [
      ["Enter", "open its list; type to find"],
      ["\u2191 \u2193 Enter", "choose"],
      ["Escape", "leave it as it is; put away what is told of a number"],
    ],
  ],
];

/** @param {[string, string]} line */
function row([key, does]) {
  return el("tr", {}, el("th", { scope: "row" }, key), el("td", {}, does));
}

/** @returns {HTMLElement} a button that opens the list; `?` does so too */
export function keysButton() {
  const dialog = el("dialog", { class: "keys", "aria-labelledby": "keys-title" });
  const walk = () => {
    dialog.close();
    location.hash = "#song";
    put({ walks: true });
  };
  dialog.append(
    el("h2", { id: "keys-title" }, "Keys"),
    el(
      "p",
      {},
      el("button", { type: "button", class: "do", onclick: () => dialog.close() }, "Close"),
      " ",
      el("button", { type: "button", class: "plain", onclick: walk }, "Walk through the page"),
    ),
    el(
      "div",
      { class: "tables-of-keys" },
      ...KEYS.map(([where, keys]) =>
        el(
          "table",
          {},
          el("caption", {}, where),
          el("tbody", {}, ...keys.map(row)),
        ),
      ),
    ),
  );
  document.body.append(dialog);
  const open = () => dialog.open || dialog.showModal();
  document.addEventListener("keydown", (event) => {
    const on = /** @type {HTMLElement} */ (event.target);
    const typing = on.closest("input:not([type=checkbox], [type=range]), select, textarea, [contenteditable]");
    if (event.key !== "?" || typing || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    open();
  });
  return el(
    "button",
    { type: "button", class: "plain", onclick: open, "aria-haspopup": "dialog", "aria-keyshortcuts": "?" },
    "Keys (?)",
  );
}
