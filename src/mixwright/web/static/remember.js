// SPDX-License-Identifier: Apache-2.0
// Where one is in the page, remembered by this window of the browser: a page that is read anew goes on there.

import { current, follow, put } from "./store.js";

const NAME = "mixwright where";

/** @param {import("./store.js").State} now */
function placeOf({ view_s, cursor_s, row, phrase, listening }) {
  const { what, beside, stretch, band, side } = listening;
  return { view_s, cursor_s, row, phrase, listening: { what, beside, stretch, band, side } };
}

/**
 * Go on where the page was, in silence and at the level of the beginning; from then on remember where it is.
 * @param {string} folder of the song
 */
export function goOn(folder) {
  try {
    const kept = JSON.parse(sessionStorage.getItem(NAME) || "{}");
    if (kept.folder === folder) put({ ...kept.where, listening: { ...current().listening, ...kept.where.listening } });
  } catch {
    sessionStorage.removeItem(NAME);
  }
  follow(["view_s", "cursor_s", "row", "phrase", "listening"], (now) => {
    if (!now.listening.blind.length) sessionStorage.setItem(NAME, JSON.stringify({ folder, where: placeOf(now) }));
  });
}
