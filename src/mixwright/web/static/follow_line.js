// SPDX-License-Identifier: Apache-2.0
// Who is followed here: one line, confirmed before the first plan.

import { change } from "./api.js";
import { el, fill } from "./dom.js";
import { picker } from "./picker.js";
import { followSong } from "./store.js";

/** @typedef {import("./types.js").SongView} SongView */

/** @returns {HTMLElement} */
export function followLine() {
  const line = el("p", { class: "followed" });
  followSong(
    (song) => [song.lead, song.lead_guess, candidates(song)],
    (song) => fill(line, ...sentence(song)),
  );
  return line;
}

/** @param {SongView} song @returns {(Node | string | null)[]} */
function sentence(song) {
  const lead = (/** @type {string} */ id, /** @type {string[]} */ others) =>
    picker({
      label: "Followed here",
      text: nameOf(song, id),
      choices: () => candidates(song),
      choose: (value) => void confirm([...others, value]),
    });
  if (song.lead.length) {
    const words = song.lead.flatMap((id, index) => [
      index ? (index === song.lead.length - 1 ? " and " : ", ") : "",
      lead(
        id,
        song.lead.filter((other) => other !== id),
      ),
    ]);
    const another = picker({
      label: "Follow one more",
      text: "another, too",
      choices: () => candidates(song).filter((one) => !song.lead.includes(one.value)),
      choose: (value) => void confirm([...song.lead, value]),
    });
    return [
      "Followed here: ",
      ...words,
      ". ",
      el(
        "span",
        { class: "soft" },
        "Or follow ",
        another,
        song.lead.length > 1
          ? el(
              "span",
              {},
              " or ",
              el(
                "button",
                { type: "button", class: "plain", onclick: () => void confirm(song.lead.slice(0, 1)) },
                "the first alone",
              ),
            )
          : "",
        ".",
      ),
    ];
  }
  if (song.lead_guess) {
    const guess = song.lead_guess;
    return [
      "Followed here, by its name and sound: ",
      lead(guess, []),
      ". ",
      el("button", { type: "button", class: "do", onclick: () => void confirm([guess]) }, "Yes, follow it"),
      el("span", { class: "soft" }, " A plan waits for this."),
    ];
  }
  const choice = picker({
    label: "Followed here",
    text: "choose a layer",
    choices: () => candidates(song),
    choose: (value) => void confirm([value]),
  });
  return ["Followed here: nobody yet, ", choice, ". ", el("span", { class: "soft" }, "A plan waits for this.")];
}

/** @param {string[]} lead */
function confirm(lead) {
  return change("edit", { edit: { lead: [...new Set(lead)] } });
}

/** @param {SongView} song @param {string} id */
function nameOf(song, id) {
  const all = [...song.rows, ...song.sources, ...song.tracks, ...song.groups];
  return all.find((one) => one.id === id)?.name || id;
}

/** @param {SongView} song */
function candidates(song) {
  const roles = new Map(song.tracks.map((track) => [track.id, track.role]));
  const rows = song.rows.filter((row) => row.tracks.length);
  const sings = (/** @type {string[]} */ tracks) => tracks.some((id) => roles.get(id) === "lead vocal");
  return [...rows]
    .sort((a, b) => Number(sings(b.tracks)) - Number(sings(a.tracks)))
    .map((row) => ({ value: row.id, text: row.name, more: roles.get(row.tracks[0]) || "" }));
}
