// SPDX-License-Identifier: Apache-2.0
// Where the rows of the song map lie, their names, and the names of the sections above them.

import { el } from "./dom.js";
import { chooseTracks } from "./selection.js";
import { clock, inView, length, show } from "./time.js";

/** @typedef {import("./types.js").Row} Row @typedef {import("./types.js").SongView} SongView */

const PLACE_WORDS = {
  lead: "Lead: must be followed",
  support: "Support: must be heard",
  bed: "Bed: may melt into the wall",
  return: "Returns of sends",
};
/** How high the clock under the rows is, in pixels. */
export const FOOT_PX = 18;
/** Rows are as high as fits, within these, in pixels; lower than `NAME_PX` their names stand in two columns. */
const LEAST_PX = 8,
  NAME_PX = 13,
  MOST_PX = 26;
const GAP_PX = { wide: 18, close: 13 };
/** Two columns of names need so wide a window, in pixels. */
const WIDE_PX = 740;

/**
 * Where the rows lie, in pixels.
 * @type {{placed: {row: Row, top: number}[], rowPx: number, gapPx: number, totalPx: number, isClose: boolean}}
 */
export const layout = { placed: [], rowPx: MOST_PX, gapPx: GAP_PX.wide, totalPx: 0, isClose: false };

/**
 * Lay the rows out so that all are seen at once, where that can be.
 * @param {SongView} song
 * @param {number} roomPx how high rows and the names of their places may be
 */
export function layOut(song, roomPx) {
  const places = new Set(song.rows.map((row) => row.place)).size,
    many = Math.max(song.rows.length, 1);
  const high = (/** @type {number} */ gapPx) => Math.floor((roomPx - places * gapPx) / many);
  const isClose = high(GAP_PX.wide) < NAME_PX && innerWidth >= WIDE_PX;
  const gapPx = isClose ? GAP_PX.close : GAP_PX.wide;
  const rowPx = Math.min(Math.max(high(gapPx), isClose ? LEAST_PX : NAME_PX), MOST_PX);
  const placed = [];
  let top = 0;
  let place = "";
  for (const row of song.rows) {
    if (row.place !== place) top += gapPx;
    place = row.place;
    placed.push({ row, top });
    top += rowPx;
  }
  Object.assign(layout, { placed, rowPx, gapPx, totalPx: top + FOOT_PX, isClose });
}

/** @param {SongView} song @returns {HTMLElement[]} */
export function rowNames(song) {
  const made = [];
  let place = "";
  let isSecond = true; // the name of the place stands above the first column
  for (const row of song.rows) {
    if (row.place !== place) {
      made.push(el("h3", {}, PLACE_WORDS[row.place]));
      isSecond = true;
    }
    place = row.place;
    const box = el("input", {
      type: "checkbox",
      tabindex: -1, // x does it in the map; a Tab for every layer would be in the way
      disabled: !row.tracks.length,
      "aria-label": `Choose ${row.name}`,
      onchange: (/** @type {any} */ event) => chooseTracks(row.tracks, event.target.checked),
    });
    const label = el(
      "label",
      {
        title: row.told ? `${row.name}: ${row.told}` : row.name,
        data: { row: row.id, tracks: row.tracks.join(" ") },
      },
      box,
      el("span", { dir: "auto", class: row.findings.length ? "name off" : "name" }, row.name),
    );
    label.style.height = `${layout.rowPx}px`;
    if (layout.isClose && isSecond) label.classList.add("second");
    isSecond = !isSecond;
    made.push(label);
  }
  return made;
}

/** @param {SongView} song @param {number} width @returns {HTMLElement[]} */
export function sectionNames(song, width) {
  const [from, to] = inView();
  const made = song.sections
    .filter((part) => part.end_s > from && part.start_s < to)
    .map((part) => {
      const left = Math.max((part.start_s - from) / (to - from), 0);
      const right = Math.min((part.end_s - from) / (to - from), 1);
      const button = el(
        "button",
        {
          type: "button",
          title: `${part.name}, ${clock(part.start_s)} to ${clock(part.end_s)}: show it alone, or all again`,
          onclick: () => {
            const alone = Math.abs(from - part.start_s) < 0.01 && Math.abs(to - part.end_s) < 0.01;
            if (alone) show(0, length());
            else show(part.start_s, part.end_s);
          },
        },
        (right - left) * width < 14 ? "" : part.name,
      );
      button.style.left = `${100 * left}%`;
      button.style.width = `${100 * (right - left)}%`;
      return button;
    });
  return made;
}

/** @param {number} y @returns {Row | undefined} */
export function rowAt(y) {
  return layout.placed.find(({ top }) => y >= top && y < top + layout.rowPx)?.row;
}
