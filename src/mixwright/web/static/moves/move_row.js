// SPDX-License-Identifier: Apache-2.0
// One move as a row: what it does, what it was to do, what it did, what it costs; to hear, to decide, to change.

import { change } from "../api.js";
import { el } from "../dom.js";
import { hearMove, hearUnmoved, settleSetting, turnSetting } from "./deciding.js";
import { stepper } from "./stepper.js";

/** @typedef {import("../types.js").ViewedMove} ViewedMove */

const STATES = { proposed: "proposed", accepted: "accepted", refused: "refused" };

/**
 * @param {ViewedMove} move
 * @returns {HTMLElement}
 */
export function moveRow(move) {
  const { id, state } = move;
  const button = (
    /** @type {string} */ word,
    /** @type {() => unknown} */ act,
    /** @type {string} */ key,
    shown = true,
  ) =>
    shown
      ? el(
          "button",
          {
            type: "button",
            class: "plain",
            onclick: () => void act(),
            "aria-keyshortcuts": key,
            "data-word": `${id} ${key}`,
          },
          word,
        )
      : null;
  const row = el(
    "li",
    { class: `move ${state}`, id: `move-${id}`, tabindex: "-1" },
    el(
      "p",
      { class: "does" },
      el("b", {}, move.told),
      el("small", {}, ` ${STATES[state]}, ${move.by === "plan" ? "from the plan" : "your own"}`, needed(move)),
    ),
    line("", move.reason),
    line("Predicted: ", move.predicted),
    line(move.outdated ? "Measured, before the song was changed: " : "Measured: ", move.measured),
    line("Costs: ", move.costs.join("; ")),
    line("", move.without_it),
    el("p", { class: "settings" }, ...numbers(move)),
    el(
      "p",
      { class: "acts" },
      button("Hear it", () => hearMove(move), "h"),
      button("without it", () => hearMove(move, true), "w"),
      button("without any move", () => hearUnmoved(move), "o"),
      el("span", { class: "gap" }),
      button("Accept", () => change("accept", { moves: [id] }), "a", state !== "accepted"),
      button("Refuse", () => change("refuse", { moves: [id] }), "r", state !== "refused"),
    ),
  );
  row.addEventListener("keydown", (event) => {
    const on = /** @type {HTMLElement} */ (event.target);
    if (event.ctrlKey || event.metaKey || event.altKey || on.closest("input")) return;
    const act = row.querySelector(`[aria-keyshortcuts="${CSS.escape(event.key)}"]`);
    if (act instanceof HTMLElement) {
      act.click();
      event.preventDefault();
    } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      const next = event.key === "ArrowDown" ? row.nextElementSibling : row.previousElementSibling;
      if (next instanceof HTMLElement) next.focus();
      event.preventDefault();
    }
  });
  return row;
}

/** @param {ViewedMove} move */
function needed({ needed: is, outdated }) {
  if (is === null || outdated) return "";
  return is ? ", needed" : ", not needed";
}

/**
 * @param {string} head
 * @param {string} text
 */
function line(head, text) {
  return text ? el("p", {}, head ? el("span", { class: "soft" }, head) : "", text) : null;
}

/**
 * @param {ViewedMove} move
 * @returns {HTMLElement[]}
 */
function numbers(move) {
  const shown = move.settings.filter((one) => one.value !== null || one.usual !== null);
  const made = shown.map((one) =>
    stepper({
      label: one.name,
      value: one.value ?? one.usual ?? 0,
      low: one.low,
      high: one.high,
      unit: one.unit,
      id: `${move.id} ${one.key}`,
      turn: (value) => turnSetting(move, one.key, value),
      settle: (value) => void settleSetting(move, one.key, value),
    }),
  );
  const strength = stepper({
    label: "strength",
    value: move.strength,
    low: 0,
    high: 1,
    unit: "",
    id: `${move.id} strength`,
    turn: (value) => turnSetting(move, "strength", value),
    settle: (value) => void settleSetting(move, "strength", value),
  });
  return [...made, strength];
}
