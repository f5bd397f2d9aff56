// SPDX-License-Identifier: Apache-2.0
// The line of listening: one sentence whose words can be others, and the level.

import { el, fill } from "../dom.js";
import { picker } from "../picker.js";
import { current, follow } from "../store.js";
import { clock, seconds } from "../time.js";
import { decibels, movedDb } from "./level.js";
import { levelLine } from "./level_line.js";
import { listen, listening, through, toggle, turn } from "./listen.js";
import { nameOf, readSources, sources } from "./sources.js";

/** @typedef {import("./first.js").Listening} Listening @typedef {import("../picker.js").Choice} Choice */

/**
 * Bands that are heard alone, in Hz; any other is typed. Where the parts of a song lie: common practice, no source.
 */
const BANDS = /** @type {[number, number][]} */ ([
  [0, 80],
  [80, 200],
  [200, 500],
  [500, 2000],
  [2000, 5000],
  [5000, 0],
]);
const SIDES = /** @type {const} */ ([
  ["stereo", "as it is"],
  ["mono", "both sides as one"],
  ["mid", "what both sides share"],
  ["side", "what differs on the sides"],
  ["left", ""],
  ["right", ""],
]);

const WHOLE = "the whole song";
const MOVED =
  "How far it is moved to be as loud as all else that is heard: " +
  "integrated loudness of this stretch, ITU-R BS.1770.";

/** @returns {HTMLElement} */
export function listeningLine() {
  const words = el("p", { class: "hearing" });
  const part = el("section", { class: "listening", "aria-label": "Listening" }, words, levelLine());
  follow(["song"], ({ song }) => {
    if (song)
      void readSources().then(
        () => draw(words),
        () => {},
      );
  });
  follow(["listening"], () => draw(words));
  document.addEventListener("keydown", keys);
  return part;
}

/** @param {HTMLElement} words */
function draw(words) {
  if (words.contains(document.activeElement) && words.querySelector("[aria-expanded=true]")) return;
  const at = words.contains(document.activeElement)
    ? /** @type {HTMLElement} */ (document.activeElement).dataset.word
    : "";
  const now = listening();
  const { what, beside, turned, plays, stretch, band, side, levels } = now;
  if (now.blind.length) {
    fill(words, playButton(plays, stretch), " A blind test: which version sounds stays hidden until it is done.");
    return;
  }
  const heard = turned && beside ? beside : what;
  const moved = levels[heard] && plays !== "no" ? movedDb(levels[heard]) : null;
  fill(
    words,
    playButton(plays, stretch),
    " ",
    plays === "yes" ? "Hearing " : "To hear: ",
    word(
      "what",
      nameOf(what),
      "What is heard",
      choices,
      (id) => void listen({ what: id, turned: false }),
      heard === what,
    ),
    beside ? " beside " : " beside ",
    word(
      "beside",
      beside ? nameOf(beside) : "nothing",
      "What it is heard beside",
      () => [{ value: "", text: "nothing" }, ...choices()],
      (id) => void listen({ beside: id, turned: false }),
      heard === beside,
    ),
    ", ",
    word(
      "stretch",
      stretch ? stretchName(stretch) : "a section",
      "Which stretch",
      stretches,
      chooseStretch,
      false,
      typedStretch,
    ),
    ", ",
    word(
      "band",
      bandName(band),
      "Which band",
      bands,
      (text) => void through({ band: text === "all" ? null : bandOf(text) }),
      false,
      typedBand,
    ),
    ", ",
    word(
      "side",
      side,
      "Which side",
      () => SIDES.map(([value, more]) => ({ value, text: value, more })),
      (value) => void through({ side: /** @type {Listening["side"]} */ (value) }),
    ),
    ". ",
    beside
      ? el(
          "button",
          { type: "button", class: "plain", "data-word": "turn", onclick: turn, "aria-keyshortcuts": "b" },
          `Hear ${nameOf(heard === what ? beside : what)}`,
        )
      : null,
    moved === null
      ? null
      : el(
          "small",
          {
            title: MOVED,
          },
          levels[heard].integrated_lufs === null
            ? " Too short or too quiet to be matched."
            : ` ${beside ? `${nameOf(heard)} sounds, moved` : "Moved"} by ${decibels(moved, true)}.`,
        ),
  );
  if (at) /** @type {HTMLElement | null} */ (words.querySelector(`[data-word="${at}"]`))?.focus();
}

/**
 * @param {Listening["plays"]} plays
 * @param {Listening["stretch"]} stretch
 */
function playButton(plays, stretch) {
  return el(
    "button",
    { type: "button", class: "do play", "data-word": "play", disabled: !stretch && !current().song, onclick: start },
    plays === "yes" ? "Pause" : plays === "waits" ? "Getting ready\u2026" : "Play",
  );
}

/**
 * @param {string} id
 * @param {string} text
 * @param {string} label
 * @param {() => Choice[]} options
 * @param {(value: string) => void} choose
 * @param {boolean} [sounds]
 * @param {(typed: string) => Choice | null} [make]
 */
function word(id, text, label, options, choose, sounds = false, make) {
  const made = picker({ label, text, choices: options, choose, make });
  const button = made.querySelector("button");
  if (button) {
    button.dataset.word = id;
    if (sounds) button.classList.add("sounds");
  }
  return made;
}

/** @returns {Choice[]} */
function choices() {
  return sources().map(({ id, name }) => ({ value: id, text: name }));
}

/** @param {import("./sources.js").Stretch} stretch */
function stretchName({ from, to, name }) {
  return name || `${clock(from, true)} to ${clock(to, true)}`;
}

/** @returns {Choice[]} */
function stretches() {
  const { sections = [], duration_s = 0 } = current().song || {};
  const times = (/** @type {number} */ from, /** @type {number} */ to) => `${clock(from)} to ${clock(to)}`;
  return [
    ...sections.map((one, k) => ({ value: `section ${k}`, text: one.name, more: times(one.start_s, one.end_s) })),
    { value: `0 ${duration_s}`, text: WHOLE, more: times(0, duration_s) },
  ];
}

/** @param {string} value */
function chooseStretch(value) {
  const section = value.startsWith("section ") ? current().song?.sections[Number(value.slice(8))] : null;
  const [from, to] = section ? [section.start_s, section.end_s] : value.split(" ").map(Number);
  const name = section?.name || (from === 0 && to === current().song?.duration_s ? WHOLE : "");
  void listen({ stretch: { from, to, name } });
}

/** @param {string} typed 1:05 to 1:20 @returns {Choice | null} */
function typedStretch(typed) {
  const [from, to] = typed.split(/\s*(?:to|-|\u2013)\s*/).map(seconds);
  const long = current().song?.duration_s || 0;
  return from < to && to <= long + 0.5
    ? { value: `${from} ${Math.min(to, long)}`, text: `${clock(from, true)} to ${clock(to, true)}` }
    : null;
}

/** @returns {Choice[]} */
function bands() {
  return [
    { value: "all", text: "all of it" },
    ...BANDS.map((band) => ({ value: band.join(" "), text: bandName(band) })),
  ];
}

/** @param {string} value @returns {[number, number]} */
function bandOf(value) {
  const [low, high] = value.split(" ").map(Number);
  return [low, high];
}

/** @param {[number, number] | null} band */
export function bandName(band) {
  if (!band) return "all of it";
  const [low, high] = band;
  const hertz = (/** @type {number} */ hz) =>
    hz >= 1000 ? `${Number((hz / 1000).toPrecision(3))} kHz` : `${Number(hz.toPrecision(3))} Hz`;
  return low && high ? `${hertz(low)} to ${hertz(high)}` : low ? `above ${hertz(low)}` : `below ${hertz(high)}`;
}

/** @param {string} typed 200-500, 2k to 5k @returns {Choice | null} */
function typedBand(typed) {
  const found = /^\s*([\d.]+)\s*(k?)(?:hz)?\s*(?:-|\u2013|to)\s*([\d.]+)\s*(k?)(?:hz)?\s*$/i.exec(typed);
  if (!found) return null;
  const band = /** @type {[number, number]} */ ([
    Number(found[1]) * (found[2] ? 1000 : 1),
    Number(found[3]) * (found[4] ? 1000 : 1),
  ]);
  return band[0] < band[1] ? { value: band.join(" "), text: bandName(band) } : null;
}

function start() {
  const section = current().song?.sections[0];
  if (listening().stretch) toggle();
  else
    void listen({
      stretch: {
        from: section?.start_s || 0,
        to: section?.end_s || Math.min(20, current().song?.duration_s || 0),
        name: section?.name || "",
      },
    });
}

/** Space plays and pauses, b hears the other one, wherever nothing else takes them. @param {KeyboardEvent} event */
function keys(event) {
  const on = /** @type {HTMLElement} */ (event.target);
  if (
    event.ctrlKey ||
    event.metaKey ||
    event.altKey ||
    current().chosen.length ||
    on.closest("input, select, textarea, [contenteditable]")
  )
    return;
  if (event.key === " " && !on.closest("button, a, summary, [tabindex='0']")) start();
  else if (event.key === "b") turn();
  else return;
  event.preventDefault();
}
