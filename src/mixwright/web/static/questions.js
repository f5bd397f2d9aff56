// SPDX-License-Identifier: Apache-2.0
// At most five questions before the first result, and what is left to ask the artist.

import { el, fill } from "./dom.js";
import { hear } from "./player.js";
import { picker } from "./picker.js";
import { editTracks, ROLES } from "./selection.js";
import { followSong } from "./store.js";

/** @returns {HTMLElement} */
export function questionList() {
  const list = el("ol", {});
  const summary = el("summary", {});
  const folded = el("details", { open: true }, summary, list);
  const part = el("section", { class: "questions", "aria-label": "Questions" }, folded);
  // Before the first result they stand open; after it they take one line.
  followSong(
    (song) => Boolean(song.heard),
    (song) => {
      folded.open = !song.heard;
    },
  );
  followSong(
    (song) => song.questions,
    (song) => {
      part.hidden = !song.questions.length;
      const many = song.questions.length;
      fill(summary, many === 1 ? "One role is not sure" : `${many} roles are not sure`);
      fill(
        list,
        ...song.questions.map(({ track, told, guess }) =>
          el(
            "li",
            {},
            told,
            " ",
            guess === "unknown" ? "" : "Perhaps ",
            picker({
              label: told,
              text: guess === "unknown" ? "choose its role" : guess,
              choices: () => ROLES.map((role) => ({ value: role, text: role })),
              choose: (role) => void editTracks([track], { role }),
            }),
            guess === "unknown"
              ? ""
              : el(
                  "span",
                  {},
                  ". ",
                  el(
                    "button",
                    {
                      type: "button",
                      class: "plain",
                      onclick: () => void editTracks([track], { role: guess }),
                    },
                    "Yes",
                  ),
                ),
            " ",
            el(
              "button",
              { type: "button", class: "plain", onclick: () => hear(firstSound(song, track), undefined, [track]) },
              "hear it alone",
            ),
          ),
        ),
      );
    },
  );
  return part;
}

/** @returns {HTMLElement} what intake would ask the artist */
export function forTheArtist() {
  const list = el("ul", {});
  const part = el("div", {}, el("h2", {}, "To ask the artist"), list);
  followSong(
    (song) => song.for_the_artist,
    (song) => {
      part.hidden = !song.for_the_artist.length;
      fill(list, ...song.for_the_artist.map((told) => el("li", {}, told)));
    },
  );
  return part;
}

/**
 * @param {import("./types.js").SongView} song
 * @param {string} track
 * @returns {number} when it sounds first, in seconds, as far as that is known
 */
function firstSound(song, track) {
  const row = song.rows.find((one) => one.tracks.includes(track));
  return Math.max(row?.kept.findIndex((kept) => kept !== null) ?? 0, 0);
}
