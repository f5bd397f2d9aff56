// SPDX-License-Identifier: Apache-2.0
// The findings by weight; choosing one shows who covers whom in that band, and plays that spot.

import { ask, change, said } from "./api.js";
import { el, fill } from "./dom.js";
import { figure as figureOf } from "./explain.js";
import { hear } from "./player.js";
import { current, follow, followSong, put } from "./store.js";
import { reveal } from "./time.js";

/** @typedef {import("./types.js").Finding} Finding @typedef {import("./types.js").FindingView} FindingView */

/** So many are told at once; so many layers in a finding. */
const FIRST = 10,
  ROWS = 8;
let all = false;

/** @returns {HTMLElement} */
export function findingsList() {
  const told = el("p", { class: "note" });
  const list = el("ol", { class: "findings" });
  const more = el("button", {
    type: "button",
    class: "plain",
    onclick: () => {
      all = !all;
      draw();
    },
  });
  const left = el("details", {}, el("summary", {}), el("ol", { class: "findings" }));
  const part = el(
    "section",
    { class: "side", "aria-label": "Findings, by weight" },
    el("h2", {}, "Outside tolerance"),
    told,
    list,
    more,
    left,
  );

  function draw() {
    const heard = current().song?.heard;
    part.hidden = !heard;
    if (!heard) return;
    const outside = heard.findings.filter((one) => one.verdict === "outside");
    const others = heard.findings.filter((one) => one.verdict !== "outside");
    fill(told, heard.told);
    fill(list, ...outside.slice(0, all ? undefined : FIRST).map(item));
    more.hidden = outside.length <= FIRST;
    fill(more, all ? "The worst alone" : `${outside.length - FIRST} more`);
    left.hidden = !others.length;
    fill(left.children[0], `Left as ${others.length === 1 ? "it is" : "they are"} (${others.length})`);
    fill(left.children[1], ...others.map(item));
  }
  followSong((song) => song.heard && [song.heard.findings, song.heard.told], draw);
  follow(["finding", "covered"], draw);
  return part;
}

/** @param {Finding} finding @returns {HTMLElement} */
function item(finding) {
  const { finding: chosen, covered } = current();
  const isChosen = chosen === finding.id;
  const button = el(
    "button",
    {
      type: "button",
      class: "finding",
      "data-explain": "size",
      "aria-expanded": String(isChosen),
      id: `finding-${finding.id}`,
      onclick: () => {
        void choose(finding);
      },
    },
    el("b", {}, finding.where),
    `: ${finding.told}`,
  );
  const open = isChosen && covered && covered.finding.id === finding.id;
  return el("li", { class: isChosen ? "chosen" : "" }, button, open ? whoCovers(covered) : null);
}

/** @param {Finding} finding */
async function choose(finding) {
  if (current().finding === finding.id) {
    put({ finding: "", covered: null });
  } else {
    put({ finding: finding.id, covered: null, row: finding.track, cursor_s: finding.start_s });
    reveal(finding.start_s, finding.end_s);
    hear(finding.start_s, Math.min(finding.end_s, finding.start_s + 20));
    try {
      const found = await ask(`api/findings/${encodeURIComponent(finding.id)}`);
      if (current().finding === finding.id) put({ covered: found.result });
    } catch (error) {
      put({ notice: said(error) });
    }
  }
  document.getElementById(`finding-${finding.id}`)?.focus();
}

/** @param {FindingView} view @returns {HTMLElement} */
function whoCovers(view) {
  const loudest = Math.max(...view.rows.map((row) => row.alone_sone), 1e-9);
  const covers = (/** @type {string} */ id) => view.takes[id] || 0;
  const own = view.rows.filter((row) => row.id === view.finding.track);
  const others = view.rows.filter((row) => row.id !== view.finding.track);
  others.sort((a, b) => covers(b.id) - covers(a.id) || b.alone_sone - a.alone_sone);
  const rows = [...own, ...others].slice(0, ROWS);
  const song = current().song;
  const name = own[0]?.name || view.finding.track;
  return el(
    "div",
    { class: "covered" },
    el(
      "table",
      {},
      el(
        "caption",
        {},
        `Who covers ${name} ${band(view.band_hz)}: sone left of sone alone, cued, and what each takes of its loss`,
      ),
      el(
        "thead",
        {},
        el(
          "tr",
          {},
          el("th", { scope: "col" }, "layer"),
          el("th", { scope: "col" }, ""),
          el("th", { scope: "col", class: "figure" }, figureOf("sone", "left")),
          el("th", { scope: "col", class: "figure" }, figureOf("takes", "takes")),
        ),
      ),
      el(
        "tbody",
        {},
        ...rows.map((row) =>
          el(
            "tr",
            { class: row.id === view.finding.track ? "own" : "" },
            el("th", { scope: "row" }, row.name),
            el("td", {}, bar(row.alone_sone / loudest, (row.in_mix_sone.cued || 0) / loudest)),
            el(
              "td",
              { class: "figure", "data-explain": "sone" },
              `${figure(row.in_mix_sone.cued)} of ${figure(row.alone_sone)}`,
            ),
            el(
              "td",
              { class: "figure", "data-explain": "takes" },
              covers(row.id) ? `${Math.round(100 * covers(row.id))} %` : row.id === view.finding.track ? "" : "-",
            ),
          ),
        ),
      ),
    ),
    ...view.fix.map((told) => el("p", {}, told)),
    el(
      "p",
      {},
      el(
        "button",
        {
          type: "button",
          class: "plain",
          onclick: () => hear(view.finding.start_s, view.finding.start_s + 20),
        },
        "Hear it again",
      ),
      " ",
      view.finding.verdict === "outside" && song
        ? el(
            "button",
            {
              type: "button",
              class: "plain",
              onclick: () => void change("leave", { findings: [view.finding.id] }),
            },
            "Leave it as it is",
          )
        : null,
    ),
  );
}

/** @param {number} alone @param {number} left both of the loudest, 0 to 1 */
function bar(alone, left) {
  const inner = el("span", { class: "left" });
  inner.style.width = `${(100 * left) / Math.max(alone, 1e-9)}%`;
  const outer = el("span", { class: "bar", "aria-hidden": "true" }, inner);
  outer.style.width = `${Math.max(100 * alone, 1)}%`;
  return outer;
}

/** @param {number | null} value */
function figure(value) {
  return value === null ? "-" : value < 0.05 && value > 0 ? "<0.1" : value.toFixed(1);
}

/** @param {[number, number]} edges */
function band([low, high]) {
  const said = (/** @type {number} */ hz) => {
    const rounded = Number(hz.toPrecision(2));
    return rounded >= 1000 ? `${rounded / 1000} kHz` : `${rounded} Hz`;
  };
  return `from ${said(low)} to ${said(high)}`;
}
