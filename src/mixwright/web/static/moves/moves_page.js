// SPDX-License-Identifier: Apache-2.0
// The view of the moves: those to decide on first, one of one's own, the strength of the plan, and the proof.

import { change, start } from "../api.js";
import { el, fill } from "../dom.js";
import { current, follow } from "../store.js";
import { bouncesPart } from "./bounces.js";
import { moveRow } from "./move_row.js";
import { readMoves } from "./read.js";
import { stepper } from "./stepper.js";

/** @typedef {import("../types.js").ViewedMove} ViewedMove */

const HEADS = { proposed: "To decide", accepted: "Accepted", refused: "Refused" };

/** @returns {HTMLElement[]} */
export function movesPage() {
  const told = el("p", { class: "state" });
  const lists = el("div", { class: "moves" });
  follow(["song", "job"], ({ song, job }) => {
    if (song && job?.state !== "running") void readMoves();
  });
  follow(["moves", "movesTold"], ({ moves, movesTold }) => {
    const found = moves || [];
    const counts = Object.keys(HEADS).map((state) => found.filter((move) => move.state === state).length);
    fill(told, found.length ? `${counts[0]} to decide, ${counts[1]} accepted, ${counts[2]} refused. ` : "", movesTold);
    keepFocus(lists, () => fill(lists, ...parts(found)));
  });
  return [el("h2", {}, "Moves"), steps(), told, bouncesPart(), lists, ownMove()];
}

/** @param {ViewedMove[]} moves @returns {(HTMLElement | null)[]} */
function parts(moves) {
  if (!moves.length) return [el("p", { class: "note" }, "No moves yet: plan, or write one of your own below.")];
  const states = /** @type {(keyof typeof HEADS)[]} */ (Object.keys(HEADS));
  return states.map((state) => {
    const found = moves.filter((move) => move.state === state);
    if (!found.length) return null;
    const head = `${HEADS[state]} (${found.length})`;
    const rows = el("ul", { class: "rows" }, ...found.map(moveRow));
    return state === "refused"
      ? el("details", {}, el("summary", {}, head), rows)
      : el("section", { "aria-label": head }, el("h3", {}, head), rows);
  });
}

/** @returns {HTMLElement} */
function steps() {
  const line = el("p", { class: "next" });
  let strength = 1;
  const control = stepper({
    label: "at strength",
    value: 1,
    low: 0,
    high: 1,
    unit: "",
    id: "plan strength",
    turn: (value) => {
      strength = value;
    },
    settle: () => {},
  });
  const button = (/** @type {string} */ word, /** @type {() => void} */ act) =>
    el("button", { type: "button", class: "do", onclick: act }, word);
  const plan = button("Plan", () => void start("plan", { strength }));
  const all = button("Accept all that are proposed", () => void change("accept", { moves: [], all: true }));
  const prove = button("Prove", () => void start("prove"));
  const mix = button("Render the mix", () => void start("mix"));
  fill(line, plan, " ", control, " ", all, " ", prove, " ", mix);
  follow(["song", "job"], ({ song, job }) => {
    const busy = job?.state === "running";
    plan.disabled = busy || !song?.lead.length;
    all.disabled = busy || !song?.moves.proposed;
    prove.disabled = busy || !song?.moves.accepted;
    mix.disabled = busy;
  });
  return line;
}

/** @returns {HTMLElement} */
function ownMove() {
  const field = el("input", {
    type: "text",
    class: "word",
    name: "sentence",
    "aria-label": "A move of your own",
    autocomplete: "off",
    placeholder: "level guitars -1.5 dB in chorus",
    spellcheck: "false",
  });
  const forms = el("ul", {});
  const form = el(
    "form",
    { class: "own" },
    el("label", {}, "A move of your own: ", field),
    el("button", { type: "submit", class: "do" }, "Add"),
  );
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (!field.value.trim()) return;
    const made = await change("add", { sentence: field.value });
    if (!made) return;
    field.value = "";
    await readMoves();
    document.getElementById(`move-${made.moves[0]?.id}`)?.focus();
  });
  follow(["moveForms"], ({ moveForms }) => fill(forms, ...moveForms.map((one) => el("li", {}, el("code", {}, one)))));
  return el(
    "section",
    { "aria-label": "A move of your own" },
    form,
    el("details", {}, el("summary", {}, "How a move is written"), forms),
  );
}

/**
 * Draw anew, and put the focus back where it was: on the same word, else on the same row.
 * @param {HTMLElement} part
 * @param {() => void} draw
 */
function keepFocus(part, draw) {
  const on = document.activeElement;
  const inside = on instanceof HTMLElement && part.contains(on);
  const word = inside ? on.dataset.word : "",
    row = inside ? on.closest("li")?.id : "";
  draw();
  if (!inside) return;
  const again = word ? part.querySelector(`[data-word="${CSS.escape(word)}"]`) : null;
  const found = again || (row ? document.getElementById(row) : null) || part.querySelector("li");
  if (found instanceof HTMLElement && current().view === "moves") found.focus();
}
