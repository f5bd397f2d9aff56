// SPDX-License-Identifier: Apache-2.0
// Several tracks at once: choose them, type what they are to be.

import { change } from "./api.js";
import { el, fill } from "./dom.js";
import { finder } from "./picker.js";
import { editTracks, PLACES, ROLES } from "./selection.js";
import { current, follow, put } from "./store.js";

/** @returns {HTMLElement} */
export function assignLine() {
  const who = el("span", {}),
    verb = el("span", {});
  const field = finder({
    label: "What the chosen tracks are to be: a role, a place, a place in a section, a source, a group",
    choices,
    make: (typed) => ({ value: `source\n${typed}`, text: `read as one: ${typed}`, more: "new" }),
    done: (value) => {
      if (value === null) put({ chosen: [] });
      else assign(value);
    },
    stays: true,
  });
  const line = el(
    "div",
    { class: "assign", role: "region", "aria-label": "The chosen tracks" },
    el("p", {}, who, " ", verb, " to be: ", el("span", { class: "soft" }, "(Escape: choose none)")),
    field,
  );
  follow(["chosen", "song"], ({ chosen, song }) => {
    line.hidden = !chosen.length;
    fill(verb, chosen.length === 1 ? "is" : "are");
    const names = chosen.map((id) => song?.tracks.find((track) => track.id === id)?.name || id);
    fill(
      who,
      el("b", {}, names.length > 3 ? `${names.slice(0, 2).join(", ")} and ${names.length - 2} more` : names.join(", ")),
    );
  });
  document.addEventListener("keydown", (event) => {
    const typing = event.target instanceof HTMLInputElement && event.target.type !== "checkbox";
    if (line.hidden || typing || event.ctrlKey || event.metaKey || event.altKey || !/^[a-wyz]$/i.test(event.key))
      return;
    field.querySelector("input")?.focus();
  });
  return line;
}

/** @returns {import("./picker.js").Choice[]} */
function choices() {
  const song = current().song;
  if (!song) return [];
  return [
    ...PLACES.map((place) => ({ value: `place\n${place}`, text: place, more: "place" })),
    ...ROLES.map((role) => ({ value: `role\n${role}`, text: role, more: "role" })),
    ...song.groups.map((one) => ({ value: `group\n${one.id}`, text: one.name, more: "group" })),
    ...song.sources.map((one) => ({ value: `source\n${one.id}`, text: one.name, more: "read as one" })),
    { value: "source\n", text: "each by itself", more: "not read as one" },
    { value: "group\n", text: "no group", more: "group" },
    ...song.sections.flatMap((part) =>
      PLACES.map((place) => ({
        value: `in\n${place}\n${part.name}`,
        text: `${place} in ${part.name}`,
        more: "place in a section",
      })),
    ),
    { value: "use\n", text: "left out", more: "of the mix" },
    { value: "use\ntrue", text: "taken in", more: "to the mix" },
    ...(song.lead.length ? [] : [{ value: "lead\n", text: "followed here", more: "lead" }]),
  ];
}

/** @param {string} value */
function assign(value) {
  const [what, word, section] = value.split("\n");
  const tracks = current().chosen;
  if (what === "lead") void change("edit", { edit: { lead: tracks } });
  else if (what === "in") void editTracks(tracks, { place_in: { [section]: word } });
  else if (what === "use") void editTracks(tracks, { use: Boolean(word) });
  else void editTracks(tracks, { [what]: word });
}
