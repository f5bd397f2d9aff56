// SPDX-License-Identifier: Apache-2.0
// A walk through the page for who sees it first: a few sentences in a corner, put away for good with one press.

import { said, send } from "./api.js";
import { el, fill } from "./dom.js";
import { current, follow, followSong, put } from "./store.js";

/** What each step says, and what it is about. */
const STEPS = [
  ["This is who has to be followed. Is it another layer? Press the word with the dotted line.", ".followed"],
  [
    "Their line, phrase by phrase. Below \u201chalf is left\u201d the others cover them; press a phrase to hear it, " +
      "and read who takes it and the smallest fix.",
    ".voice",
  ],
  ["Every layer, second by second: fuller and stronger is more of it left. Press anywhere to hear that spot.", ".map"],
  [
    "What lies outside tolerance, the furthest first. Choose one: who covers whom is told, and it plays. " +
      "You decide: some things are meant to be covered.",
    ".side",
  ],
  ["What you hear, beside what: every dotted word can be another one. b turns to the other version.", ".hearing"],
  ["You decide: each move can be heard, changed, refused and undone. Press ? for all keys.", "#head nav"],
];

/** @returns {HTMLElement} */
export function walkCorner() {
  const words = el("p", { "aria-live": "polite" });
  const far = el("span", { class: "soft" });
  const on = () => (at + 1 < STEPS.length ? go(at + 1) : end());
  const next = el("button", { type: "button", class: "do", onclick: on });
  const back = el("button", { type: "button", class: "plain", onclick: () => go(at - 1) }, "Back");
  const away = el("button", { type: "button", class: "plain", onclick: end }, "Put it away");
  const corner = el(
    "aside",
    { class: "walk", hidden: true, "aria-label": "A walk through the page" },
    words,
    el("p", {}, next, " ", back, " ", away, " ", far),
  );
  let at = 0;

  /** @param {number} step */
  function go(step) {
    at = step;
    const [told, about] = STEPS[at];
    fill(words, told);
    fill(far, `${at + 1} of ${STEPS.length}`);
    next.textContent = at + 1 < STEPS.length ? "Next" : "Done";
    back.hidden = !at;
    away.hidden = at + 1 === STEPS.length;
    for (const one of document.querySelectorAll(".shown")) one.classList.remove("shown");
    const shown = document.querySelector(about);
    shown?.classList.add("shown");
    shown?.scrollIntoView({ block: "nearest" });
  }

  function end() {
    at = 0;
    put({ walks: false });
    for (const one of document.querySelectorAll(".shown")) one.classList.remove("shown");
    if (current().song?.walk) send("api/walk", { waits: false }).catch((error) => put({ notice: said(error) }));
  }

  followSong(
    (song) => song.walk,
    (song) => song.walk && put({ walks: true }),
  );
  follow(["walks", "view"], ({ walks, view }) => {
    corner.hidden = !walks || view !== "song"; // it tells of that view
    if (!corner.hidden) queueMicrotask(() => go(at));
  });
  return corner;
}
