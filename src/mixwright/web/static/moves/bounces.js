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
      const { bounces, superseded_bytes: supersededBytes } = (await ask("api/bounces")).result;
      if (JSON.stringify(bounces) !== JSON.stringify(current().bounces)) put({ bounces });
      put({ supersededBytes });
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
  const kept = el("p", { class: "note" }, "What they superseded is kept with the song. ", releaseButton());
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

/** Nothing brings back what is released: it is pressed twice, and tells how much that is. */
function releaseButton() {
  const release = el("button", { type: "button", class: "plain" });
  let isSure = false;
  /** @param {boolean} sure */
  const show = (sure) => {
    isSure = sure;
    fill(release, isSure ? "Release it for good" : "Release it", ` (${size(current().supersededBytes)})`);
  };
  release.addEventListener("click", ({ detail }) => {
    if (detail > 1) return; // of a double click the first counts
    if (isSure) void letGo();
    show(!isSure);
  });
  release.addEventListener("blur", () => show(false));
  follow(["supersededBytes"], () => show(false));
  return release;
}

/** @param {number} bytes */
function size(bytes) {
  return bytes < 999.5e6 ? `${Math.ceil(bytes / 1e6)} MB` : `${(bytes / 1e9).toFixed(1)} GB`;
}

async function letGo() {
  try {
    const { bounces, superseded_bytes } = (await ask("api/bounces", { method: "DELETE" })).result;
    put({ bounces, supersededBytes: superseded_bytes });
  } catch (error) {
    put({ notice: said(error) });
  }
}
