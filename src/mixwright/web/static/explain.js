// SPDX-License-Identifier: Apache-2.0
// What is told of a number while it is pointed at or has the focus: `data-explain` names a row of the table of words.

import { el, fill } from "./dom.js";
import { WORDS } from "./words.js";

/** So long it is pointed at before it is told, in milliseconds. */
const WAIT_MS = 400;

/** Tell what numbers mean, everywhere in the page. @returns {HTMLElement} where it is told */
export function explanations() {
  const tip = el("div", { class: "tip", role: "tooltip", id: "explained", hidden: true });
  /** @type {Element | null} */
  let about = null;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let waits;

  /** @param {Element} target */
  function tell(target) {
    const word = WORDS[/** @type {HTMLElement} */ (target).dataset.explain || ""];
    if (!word) return;
    hide();
    about = target;
    fill(tip, el("p", {}, word.means), el("p", {}, "How sure: ", word.sure), el("p", {}, "Source: ", word.source));
    tip.hidden = false;
    target.setAttribute("aria-describedby", tip.id);
    const box = target.getBoundingClientRect();
    const { width, height } = tip.getBoundingClientRect();
    const room = document.documentElement.clientWidth - width - 8;
    tip.style.left = `${Math.max(Math.min(box.left, room), 8)}px`;
    tip.style.top = `${box.bottom + height + 8 < innerHeight ? box.bottom + 4 : Math.max(box.top - height - 4, 8)}px`;
  }

  function hide() {
    clearTimeout(waits);
    about?.removeAttribute("aria-describedby");
    about = null;
    tip.hidden = true;
  }

  /** @param {Event} event @returns {Element | null} */
  const named = (event) => (event.target instanceof Element ? event.target.closest("[data-explain]") : null);
  document.addEventListener("pointerover", (event) => {
    if (event.target instanceof Node && tip.contains(event.target)) return clearTimeout(waits);
    const target = named(event);
    if (target === about && target) return clearTimeout(waits);
    clearTimeout(waits);
    // It stays a moment, so that the pointer can go into it (WCAG 2.2, success criterion 1.4.13).
    if (target) waits = setTimeout(() => tell(target), WAIT_MS);
    else if (about && about !== document.activeElement) waits = setTimeout(hide, WAIT_MS);
  });
  document.addEventListener("focusin", (event) => {
    const target = named(event);
    if (target && target === event.target && target.matches(":focus-visible")) tell(target);
    else hide();
  });
  document.addEventListener("focusout", hide);
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") hide();
  });
  addEventListener("scroll", hide, { passive: true });
  return tip;
}

/**
 * A number, with its unit, that explains itself.
 * @param {string} word of the table
 * @param {string} text
 */
export function figure(word, text) {
  return el("span", { class: "explained", tabindex: "0", "data-explain": word }, text);
}
