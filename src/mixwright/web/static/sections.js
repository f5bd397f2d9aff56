// SPDX-License-Identifier: Apache-2.0
// The sections as a table: names and times are typed; one can be cut in two, joined to the next, begun anew.

import { change } from "./api.js";
import { el, fill } from "./dom.js";
import { current, followSong, put } from "./store.js";
import { clock, length, seconds } from "./time.js";

/** @typedef {{name: string, start_s: number, end_s: number, was: string}} Edited */

/** @returns {HTMLElement} */
export function sectionTable() {
  const body = el("tbody", {});
  const table = el(
    "table",
    {},
    el("thead", {}, el("tr", {}, ...["name", "from", "to", ""].map((head) => el("th", { scope: "col" }, head)))),
    body,
  );
  const add = el(
    "button",
    { type: "button", class: "plain", onclick: () => void save(added(all())) },
    "Begin a section at the end",
  );
  followSong(
    (song) => song.sections,
    () => fill(body, ...all().map((part, index) => rowOf(part, index))),
  );
  return el("div", { class: "section-table" }, table, add);
}

/** @returns {Edited[]} */
function all() {
  return (current().song?.sections || []).map((part) => ({ ...part, was: part.name }));
}

/** @param {Edited[]} sections */
function save(sections) {
  return change("edit", { edit: { sections } });
}

/** @param {Edited[]} sections @returns {Edited[]} */
function added(sections) {
  const end = sections.at(-1)?.end_s || 0;
  const from = end < length() - 1 ? end : 0;
  if (end >= length() - 1 && sections.length) {
    put({ notice: { text: "The sections reach the end of the song: cut one in two instead." } });
    return sections;
  }
  return [...sections, { name: free("new section", sections), start_s: from, end_s: length(), was: "" }];
}

/** @param {string} name @param {Edited[]} sections */
function free(name, sections) {
  const taken = new Set(sections.map((part) => part.name));
  let found = name;
  for (let number = 2; taken.has(found); number++) found = `${name} ${number}`;
  return found;
}

/** @param {Edited} part @param {number} index @returns {HTMLElement} */
function rowOf(part, index) {
  const field = (
    /** @type {string} */ label,
    /** @type {string} */ value,
    /** @type {(typed: string) => Partial<Edited> | null} */ read,
  ) => {
    const input = el("input", { type: "text", class: "word", value, "aria-label": `${label} of ${part.name}` });
    input.addEventListener("change", () => {
      const fields = read(input.value);
      if (fields) void save(all().map((one, at) => (at === index ? { ...one, ...fields } : one)));
      else input.value = value;
    });
    input.addEventListener("keydown", (event) => {
      if (event.key === "Enter") input.blur();
    });
    return el("td", {}, input);
  };
  const time = (/** @type {"start_s" | "end_s"} */ name) => (/** @type {string} */ typed) => {
    const found = seconds(typed);
    return Number.isFinite(found) ? { [name]: found } : null;
  };
  const cut = () => {
    const { cursor_s } = current();
    const inside = cursor_s > part.start_s + 0.5 && cursor_s < part.end_s - 0.5;
    const at = inside ? cursor_s : (part.start_s + part.end_s) / 2;
    const parts = all();
    parts.splice(
      index,
      1,
      { ...part, end_s: at },
      { name: free(`${part.name} b`, parts), start_s: at, end_s: part.end_s, was: "" },
    );
    void save(parts);
  };
  const join = () => {
    const parts = all();
    const next = parts[index + 1];
    parts.splice(index, 2, { ...part, end_s: next.end_s });
    void save(parts);
  };
  const isLast = index === all().length - 1;
  return el(
    "tr",
    {},
    field("Name", part.name, (typed) => (typed.trim() ? { name: typed.trim() } : null)),
    field("Start", clock(part.start_s, true), time("start_s")),
    field("End", clock(part.end_s, true), time("end_s")),
    el(
      "td",
      {},
      el(
        "button",
        { type: "button", class: "plain", "aria-label": `Cut ${part.name} in two`, onclick: cut },
        "cut in two",
      ),
      " ",
      isLast
        ? null
        : el(
            "button",
            { type: "button", class: "plain", "aria-label": `Join ${part.name} to the next`, onclick: join },
            "join to the next",
          ),
      " ",
      el(
        "button",
        {
          type: "button",
          class: "plain",
          "aria-label": `Take ${part.name} away`,
          onclick: () => void save(all().filter((_, at) => at !== index)),
        },
        "take away",
      ),
    ),
  );
}
