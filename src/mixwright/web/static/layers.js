// SPDX-License-Identifier: Apache-2.0
// The tracks as a table of words: what each is called, is, is for, reads as part of, runs through; words are pickers.

import { el, fill } from "./dom.js";
import { picker } from "./picker.js";
import { chooseTracks, editTracks, PLACES, ROLES } from "./selection.js";
import { current, follow, put } from "./store.js";

/** @typedef {import("./types.js").SongView} SongView @typedef {import("./types.js").Track} Track */

const HEADS = ["", "name", "role", "place", "in sections", "reads as one with", "group", "file"];

/** @returns {HTMLElement} */
export function layersTable() {
  const body = el("tbody", {});
  const every = el("input", { type: "checkbox", "aria-label": "Choose every track" });
  every.addEventListener("change", () =>
    put({ chosen: every.checked ? (current().song?.tracks || []).map((t) => t.id) : [] }),
  );
  const table = el(
    "table",
    { class: "layers" },
    el("thead", {}, el("tr", {}, ...HEADS.map((head) => el("th", { scope: "col" }, head || every)))),
    body,
  );
  /** @type {Map<string, HTMLElement>} */
  const rows = new Map();
  follow(["song"], ({ song }) => {
    if (!song) return;
    const held = focusedCell(body);
    // A row that shows the same stays, with whatever is being typed in it.
    const around = JSON.stringify([song.sources, song.groups, song.sections]);
    const before = new Map(rows);
    rows.clear();
    for (const track of song.tracks) {
      const key = JSON.stringify(track) + around;
      rows.set(key, before.get(key) || rowOf(song, track));
    }
    const made = [...rows.values()];
    if (made.length !== body.children.length || made.some((row, index) => row !== body.children[index]))
      fill(body, ...made);
    mark();
    if (held)
      /** @type {HTMLElement | null} */ (
        body.querySelector(`[data-cell="${CSS.escape(held)}"] :is(button, input)`)
      )?.focus();
  });
  follow(["chosen"], mark);

  function mark() {
    const { chosen, song } = current();
    for (const row of body.querySelectorAll("tr")) {
      const isChosen = chosen.includes(row.dataset.track || "");
      row.classList.toggle("chosen", isChosen);
      const box = row.querySelector("input");
      if (box) box.checked = isChosen;
    }
    every.checked = Boolean(song && song.tracks.length && chosen.length === song.tracks.length);
  }
  return el("div", { class: "scroll", tabindex: "0", role: "region", "aria-label": "Tracks" }, table);
}

/** @param {Element} body @returns {string} which cell has the focus, to give it back */
function focusedCell(body) {
  const at = document.activeElement?.closest("[data-cell]");
  return at instanceof HTMLElement && body.contains(at) ? at.dataset.cell || "" : "";
}

let last = "";

/** @param {SongView} song @param {Track} track @returns {HTMLElement} */
function rowOf(song, track) {
  const cell = (/** @type {string} */ name, /** @type {(Node | string | null)[]} */ ...inside) =>
    el("td", { data: { cell: `${track.id}/${name}` } }, ...inside);
  const edit = (/** @type {object} */ fields) => void editTracks([track.id], fields);
  const box = el("input", { type: "checkbox", "aria-label": `Choose ${track.name}` });
  box.addEventListener("click", (event) => {
    const ids = song.tracks.map((one) => one.id);
    const [a, b] = [ids.indexOf(last), ids.indexOf(track.id)].sort((x, y) => x - y);
    chooseTracks(event.shiftKey && a >= 0 ? ids.slice(a, b + 1) : [track.id], box.checked);
    last = track.id;
  });
  return el(
    "tr",
    { data: { track: track.id }, class: track.use ? "" : "unused" },
    cell("choose", box),
    cell("name", nameField(track)),
    cell(
      "role",
      picker({
        label: `Role of ${track.name}`,
        text: track.role,
        choices: () => ROLES.map((role) => ({ value: role, text: role })),
        choose: (role) => edit({ role }),
      }),
      track.role_confidence < 0.5 ? el("small", {}, " not sure") : null,
    ),
    cell(
      "place",
      picker({
        label: `Place of ${track.name}`,
        text: track.place,
        choices: () => PLACES.map((place) => ({ value: place, text: place })),
        choose: (place) => edit({ place }),
      }),
    ),
    cell("sections", ...placesIn(song, track, edit)),
    cell(
      "source",
      picker({
        label: `What ${track.name} reads as one with`,
        text: named(song.sources, track.source) || "itself alone",
        choices: () => [
          { value: "", text: "itself alone" },
          ...song.sources.map((one) => ({ value: one.id, text: one.name })),
        ],
        make: (typed) => ({ value: typed, text: typed, more: "new" }),
        choose: (source) => edit({ source }),
      }),
    ),
    cell(
      "group",
      picker({
        label: `Group of ${track.name}`,
        text: named(song.groups, track.group) || "none",
        choices: () => [{ value: "", text: "none" }, ...song.groups.map((one) => ({ value: one.id, text: one.name }))],
        make: (typed) => ({ value: typed, text: typed, more: "new" }),
        choose: (group) => edit({ group }),
      }),
    ),
    cell(
      "file",
      el("span", { class: "file" }, track.file.split("/").pop() || ""),
      ...track.look.map((told) => el("small", {}, ` ${told}`)),
      el(
        "button",
        { type: "button", class: "plain", onclick: () => edit({ use: !track.use }) },
        track.use ? "leave out" : "take in",
      ),
      track.why ? el("small", {}, ` ${track.why}`) : null,
    ),
  );
}

/** @param {Track} track */
function nameField(track) {
  const input = el("input", {
    type: "text",
    class: "word",
    dir: "auto",
    value: track.name,
    "aria-label": `Name of ${track.name}`,
    maxlength: 200,
  });
  const renamed = async () => {
    if (!(await editTracks([track.id], { name: input.value }))) input.value = track.name;
  };
  input.addEventListener("change", () => {
    if (input.value.trim() && input.value !== track.name) void renamed();
    else input.value = track.name;
  });
  input.addEventListener("keydown", (event) => {
    if (event.key === "Escape") input.value = track.name;
    if (event.key === "Enter") input.blur();
  });
  return input;
}

/** @param {SongView} song @param {Track} track @param {(fields: object) => void} edit @returns {(Node | string)[]} */
function placesIn(song, track, edit) {
  const places = [...PLACES.map((place) => ({ value: place, text: place })), { value: "", text: "as elsewhere" }];
  const set = song.sections.filter((part) => part.name in track.place_in);
  const words = set.flatMap((part, index) => [
    index ? ", " : "",
    picker({
      label: `Place of ${track.name} in ${part.name}`,
      text: track.place_in[part.name],
      choices: () => places,
      choose: (place) => edit({ place_in: { [part.name]: place || null } }),
    }),
    ` in ${part.name}`,
  ]);
  const free = song.sections.filter((part) => !(part.name in track.place_in));
  if (!free.length) return words;
  const add = picker({
    label: `Another place of ${track.name} in a section`,
    text: set.length ? "and" : "the same everywhere",
    choices: () =>
      free.flatMap((part) =>
        PLACES.filter((place) => place !== track.place).map((place) => ({
          value: `${place}\n${part.name}`,
          text: `${place} in ${part.name}`,
        })),
      ),
    choose: (value) => {
      const [place, name] = value.split("\n");
      edit({ place_in: { [name]: place } });
    },
  });
  return [...words, set.length ? " " : "", add];
}

/** @param {import("./types.js").Named[]} all @param {string} id */
function named(all, id) {
  return all.find((one) => one.id === id)?.name || id;
}
