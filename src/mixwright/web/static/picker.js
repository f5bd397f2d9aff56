// SPDX-License-Identifier: Apache-2.0
// A word of a sentence that can be another one: a button that opens a list, in which one types to find.

import { el, fill } from "./dom.js";

/**
 * @typedef {object} Choice
 * @property {string} value
 * @property {string} text
 * @property {string} [more] said beside it
 */

let number = 0;

/**
 * @param {object} given
 * @param {string} given.label what is chosen, for who does not see the sentence
 * @param {string} given.text the word as it stands now
 * @param {() => Choice[]} given.choices
 * @param {(value: string) => void} given.choose
 * @param {(typed: string) => Choice | null} [given.make] what a word that is not in the list would mean
 * @returns {HTMLElement}
 */
export function picker({ label, text, choices, choose, make }) {
  const button = el(
    "button",
    {
      type: "button",
      class: "word",
      "aria-haspopup": "listbox",
      "aria-expanded": "false",
      "aria-label": `${label}: ${text}`,
    },
    text,
  );
  const holder = el("span", { class: "picker" }, button);
  button.addEventListener("click", () => {
    if (button.getAttribute("aria-expanded") === "true") return;
    button.setAttribute("aria-expanded", "true");
    const list = finder({
      label,
      choices,
      make,
      done: (value) => {
        list.remove();
        button.setAttribute("aria-expanded", "false");
        if (value !== null) choose(value);
        if (button.isConnected) button.focus();
      },
    });
    holder.append(list);
    place(list);
    list.querySelector("input")?.focus();
  });
  return holder;
}

/**
 * A field to type in, and what fits; arrow keys and Enter choose, Escape leaves.
 * @param {object} given
 * @param {string} given.label
 * @param {() => Choice[]} given.choices
 * @param {(typed: string) => Choice | null} [given.make]
 * @param {(value: string | null) => void} given.done null: nothing was chosen
 * @param {boolean} [given.stays] it is not closed when the focus goes elsewhere
 * @returns {HTMLElement}
 */
export function finder({ label, choices, make, done, stays }) {
  const id = `choices-${++number}`;
  const list = el("ul", { role: "listbox", id, "aria-label": label });
  const input = el("input", {
    type: "text",
    role: "combobox",
    "aria-label": label,
    "aria-expanded": "true",
    "aria-controls": id,
    "aria-autocomplete": "list",
    autocomplete: "off",
    spellcheck: "false",
    placeholder: "type to find",
  });
  const box = el("span", { class: "finder" }, input, list);
  /** @type {Choice[]} */
  let found = [];
  let at = 0;

  function draw() {
    const typed = input.value.trim().toLowerCase();
    found = choices()
      .filter((one) => fits(one, typed))
      .sort((a, b) => weight(a, typed) - weight(b, typed));
    const made =
      typed && make && !found.some((one) => one.text.toLowerCase() === typed) ? make(input.value.trim()) : null;
    if (made) found.push(made);
    at = Math.min(at, Math.max(found.length - 1, 0));
    fill(
      list,
      ...found.map((one, index) =>
        el(
          "li",
          {
            role: "option",
            id: `${id}-${index}`,
            "aria-selected": String(index === at),
            onpointerdown: (/** @type {Event} */ event) => {
              event.preventDefault();
              finish(one.value);
            },
          },
          one.text,
          one.more ? el("small", {}, ` ${one.more}`) : "",
        ),
      ),
    );
    input.setAttribute("aria-activedescendant", found.length ? `${id}-${at}` : "");
    list.children[at]?.scrollIntoView({ block: "nearest" });
  }

  let over = false;

  /** @param {string | null} value */
  function finish(value) {
    if (over) return;
    over = !stays; // to take the field away ends it once more, by its blur
    input.value = "";
    at = 0;
    done(value);
    if (stays) draw();
  }

  input.addEventListener("input", () => {
    at = 0;
    draw();
  });
  input.addEventListener("keydown", (event) => {
    const steps = { ArrowDown: 1, ArrowUp: -1, PageDown: 8, PageUp: -8 };
    const step = Object.entries(steps).find(([key]) => key === event.key);
    if (step) {
      at = Math.min(Math.max(at + step[1], 0), Math.max(found.length - 1, 0));
      draw();
    } else if (event.key === "Enter") {
      if (found[at]) finish(found[at].value);
    } else if (event.key === "Escape") {
      finish(null);
    } else {
      return;
    }
    event.preventDefault();
    event.stopPropagation();
  });
  if (!stays) input.addEventListener("blur", () => finish(null));
  draw();
  return box;
}

/** @param {Choice} choice @param {string} typed */
function fits(choice, typed) {
  const said = `${choice.text} ${choice.more || ""}`.toLowerCase();
  return typed.split(/\s+/).every((word) => said.includes(word));
}

/** @param {Choice} choice @param {string} typed */
function weight(choice, typed) {
  const text = choice.text.toLowerCase();
  if (!typed || text === typed) return 0;
  return text.startsWith(typed) ? 1 : text.includes(` ${typed}`) ? 2 : 3;
}

/** @param {HTMLElement} list */
function place(list) {
  const box = list.getBoundingClientRect();
  list.classList.toggle("leftwards", box.right > document.documentElement.clientWidth - 8);
  list.classList.toggle("upwards", box.bottom > innerHeight - 8 && box.top > innerHeight / 2);
}
