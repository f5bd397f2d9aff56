// SPDX-License-Identifier: Apache-2.0
// Bounces that were taken from the folders of the tracks: what of the open moves each holds, and what else it changed.

import { ask, change, said } from "../api.js";
import { el, fill } from "../dom.js";
import { current, follow, put } from "../store.js";

/** @typedef {import("../types.js").Bounce} Bounce */

/** So many are told at once; the others on demand. */
const FIRST = 3;

/** Keep what is known of bounces current, and tell of those that come while the page is open. */
export function followBounces() {
  /** @type {Set<string> | null} */
  let known = null;
  follow(["song", "job"], async ({ song, job }) => {
    if (!song || job?.state === "running") return;
    try {
      const { bounces } = (await ask("api/bounces")).result;
      if (JSON.stringify(bounces) !== JSON.stringify(current().bounces)) put({ bounces });
      const fresh = known && bounces.filter((/** @type {Bounce} */ one) => !known?.has(one.sha256));
      known = new Set(bounces.map((/** @type {Bounce} */ one) => one.sha256));
      if (fresh?.length) put({ notice: { text: fresh.map((/** @type {Bounce} */ one) => one.told).join(" ") } });
    } catch (error) {
      put({ notice: said(error) });
    }
  });
}

/** @returns {HTMLElement} */
export function bouncesPart() {
  const list = el("ul", { class: "rows" });
  const older = el("details", {}, el("summary", {}, "Earlier ones"));
  const rest = el("ul", { class: "rows" });
  older.append(rest);
  const release = el("button", { type: "button", class: "plain", onclick: () => void letGo() }, "Release it");
  const kept = el("p", { class: "note" }, "What they superseded is kept with the song. ", release);
  const part = el("section", { class: "bounces", "aria-label": "Bounces" }, el("h3", {}, "Bounces"), list, older, kept);
  follow(["bounces", "moves"], ({ bounces }) => {
    const rows = (bounces || []).map(row);
    part.hidden = !rows.length;
    older.hidden = rows.length <= FIRST;
    kept.hidden = !bounces?.some((one) => one.superseded);
    fill(list, ...rows.slice(0, FIRST));
    fill(rest, ...rows.slice(FIRST));
  });
  return part;
}

/** @param {Bounce} bounce */
function row({ told, moves }) {
  const twice = moves.filter((one) => current().moves?.find(({ id }) => id === one.id)?.state === "accepted");
  const acts = twice.map(({ id, does }) =>
    el(
      "button",
      { type: "button", class: "plain", onclick: () => void change("refuse", { moves: [id] }) },
      twice.length > 1 ? `Refuse here: ${does}` : "Refuse it here",
    ),
  );
  return el("li", {}, told, acts.length ? " " : "", acts);
}

async function letGo() {
  try {
    put({ bounces: (await ask("api/bounces", { method: "DELETE" })).result.bounces });
  } catch (error) {
    put({ notice: said(error) });
  }
}
