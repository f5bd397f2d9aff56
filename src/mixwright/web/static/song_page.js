// SPDX-License-Identifier: Apache-2.0
// The view of the song: who is followed, their line, the map, the findings, and the tables in which it is edited.

import { assignLine } from "./assign.js";
import { el, fill } from "./dom.js";
import { figure } from "./explain.js";
import { findingsList } from "./findings.js";
import { followLine } from "./follow_line.js";
import { lanesPart } from "./lanes/lanes_part.js";
import { layersTable } from "./layers.js";
import { forTheArtist, questionList } from "./questions.js";
import { sectionTable } from "./sections.js";
import { songMap } from "./song_map.js";
import { follow, followSong } from "./store.js";
import { clock, length, show } from "./time.js";
import { voiceLine } from "./voice_line.js";
import { nextSteps } from "./waiting.js";

/** @returns {HTMLElement[]} */
export function songPage() {
  const lines = el("div", { class: "lines" });
  const state = el("p", { class: "state" });
  /** @type {(() => void)[]} */
  let stops = [];
  followSong(
    (song) => song.heard?.lines || [],
    ({ heard }) => {
      for (const stop of stops) stop();
      const made = (heard?.lines || []).map(voiceLine);
      stops = made.map((one) => one.stop);
      fill(lines, ...made.map((one) => one.element));
    },
  );
  follow(["song", "view_s"], ({ song, view_s }) => {
    if (!song) return;
    const heard = song.heard;
    const told = heard
      ? ["Heard ", figure("spl", heard.circumstances), ": ", ...levels(heard), "."]
      : ["Not measured yet: the map shows what there is, and fills when it was heard."];
    fill(
      state,
      ...told,
      heard?.guessed ? " The line is that of the lead as guessed." : "",
      heard?.outdated ? el("b", {}, ` ${heard.outdated}`) : "",
      ...song.problems.map((problem) => el("b", {}, ` ${problem}`)),
      view_s
        ? el(
            "span",
            {},
            ` Showing ${clock(view_s[0], true)} to ${clock(view_s[1], true)}; `,
            el(
              "button",
              {
                type: "button",
                class: "plain",
                onclick: () => show(0, length()),
              },
              "show the whole song",
            ),
            ".",
          )
        : "",
    );
  });
  return [
    el("div", { class: "first" }, followLine(), nextSteps()),
    state,
    questionList(),
    el("div", { class: "seen" }, lines, songMap(), lanesPart(), findingsList()),
    assignLine(),
    el(
      "section",
      { class: "tables", "aria-label": "Tracks and sections" },
      el("h2", {}, "Tracks"),
      layersTable(),
      el("h2", {}, "Sections"),
      sectionTable(),
      forTheArtist(),
    ),
  ];
}

/** @param {import("./types.js").Heard} heard */
function levels(heard) {
  return [
    figure("lufs", number(heard.integrated_lufs, "LUFS")),
    ", ",
    figure("dbtp", number(heard.true_peak_dbtp, "dBTP")),
  ];
}

/** @param {number | null} value @param {string} unit */
function number(value, unit) {
  return value === null ? `- ${unit}` : `${value.toFixed(1)} ${unit}`;
}
