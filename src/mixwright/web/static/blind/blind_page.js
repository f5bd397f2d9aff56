// SPDX-License-Identifier: Apache-2.0
// Blind tests: what is to be compared, the trials, and what they told.

import { ask, said, send } from "../api.js";
import { el, fill } from "../dom.js";
import { hearHidden, listen, listening, pause } from "../listening/listen.js";
import { nameOf, sources } from "../listening/sources.js";
import { stepper } from "../moves/stepper.js";
import { picker } from "../picker.js";
import { current, follow, put } from "../store.js";
import { BlindTest } from "./blind_test.js";

/** Positions are said, so that nothing about them is better than another. */
const POSITIONS = ["first", "second", "third", "fourth", "fifth", "sixth"];
const QUESTIONS = { better: "which is better", which: "which is the first named" };

/** @type {{versions: string[], section: number, trials: number, question: keyof typeof QUESTIONS}} */
const wanted = { versions: ["mix", ""], section: 0, trials: 12, question: "better" };
/** @type {BlindTest | null} */
let test = null;

/** @returns {HTMLElement[]} */
export function blindPage() {
  const part = el("section", { class: "blind", "aria-label": "The test" });
  const results = el("ol", { class: "results" });
  const head = el("h3", {}, "Done before");
  const draw = () => fill(part, ...(test ? trial(draw, readResults) : setup(draw)));

  async function readResults() {
    try {
      const { tests } = (await ask("api/blind")).result;
      head.hidden = !tests.length;
      fill(
        results,
        ...tests
          .toReversed()
          .map((/** @type {{told: string, test: {stretch: string}}} */ one) =>
            el("li", {}, one.told, el("small", {}, ` ${one.test.stretch}`)),
          ),
      );
    } catch (error) {
      put({ notice: said(error) });
    }
  }

  follow(["listening"], ({ listening: now }) => {
    if (!test || now.blind.length) return;
    test = null;
    put({ notice: { text: "The blind test was left before its end; nothing of it is kept." } });
    draw();
  });
  follow(["song"], () => {
    if (!test) draw();
  });
  void readResults();
  return [el("h2", {}, "Blind test"), part, head, results];
}

/** @param {() => void} draw @returns {(Node | null)[]} */
function setup(draw) {
  const sections = current().song?.sections || [];
  const all = sources().map(({ id, name }) => ({ value: id, text: name }));
  const word = (/** @type {number} */ k) =>
    picker({
      label: `Version ${k + 1}`,
      text: wanted.versions[k] ? nameOf(wanted.versions[k]) : "another",
      choices: () => all,
      choose: (id) => {
        wanted.versions[k] = id;
        draw();
      },
    });
  const versions = wanted.versions.flatMap((_, k) => (k ? [" with ", word(k)] : [word(k)]));
  const section = sections[wanted.section];
  const chosen = wanted.versions.filter(Boolean);
  const ready = chosen.length > 1 && new Set(chosen).size === chosen.length && section;
  const more =
    wanted.versions.length < POSITIONS.length && wanted.versions.at(-1)
      ? el(
          "button",
          {
            type: "button",
            class: "plain",
            onclick: () => {
              wanted.versions.push("");
              draw();
            },
          },
          "and another",
        )
      : null;
  return [
    el(
      "p",
      { class: "hearing" },
      "Compare ",
      ...versions,
      more ? " " : "",
      more,
      ", in ",
      picker({
        label: "Section",
        text: section?.name || "a section",
        choices: () => sections.map((one, k) => ({ value: String(k), text: one.name })),
        choose: (k) => {
          wanted.section = Number(k);
          draw();
        },
      }),
      ", asking ",
      picker({
        label: "Question",
        text: QUESTIONS[wanted.question],
        choices: () => Object.entries(QUESTIONS).map(([value, text]) => ({ value, text })),
        choose: (value) => {
          wanted.question = /** @type {keyof typeof QUESTIONS} */ (value);
          draw();
        },
      }),
      "; number of ",
      stepper({
        label: "trials",
        value: wanted.trials,
        low: 5,
        high: 100,
        unit: "",
        id: "trials",
        turn: (value) => {
          wanted.trials = Math.round(value);
        },
        settle: draw,
      }),
      ".",
    ),
    el(
      "p",
      { class: "note" },
      "Which is which stays hidden until the last trial; how many there are is fixed now. All are ",
      "brought to one loudness. A test that is left early counts for nothing.",
    ),
    el(
      "p",
      {},
      el("button", { type: "button", class: "do", disabled: !ready, onclick: () => void begin(draw) }, "Begin"),
    ),
  ];
}

/** @param {() => void} draw */
async function begin(draw) {
  const section = current().song?.sections[wanted.section];
  if (!section) return;
  wanted.versions = wanted.versions.filter(Boolean);
  await listen({
    what: wanted.versions[0],
    beside: "",
    turned: false,
    blind: [...wanted.versions],
    stretch: { from: section.start_s, to: section.end_s, name: section.name },
  });
  const { plays, levels, blind } = listening();
  if (plays !== "yes" || !blind.length) return;
  if (wanted.versions.some((id) => levels[id]?.integrated_lufs === null)) {
    pause();
    put({ notice: { text: "A version is too short or too quiet there to be matched; choose another section." } });
    return;
  }
  test = new BlindTest(wanted.versions.length, wanted.trials);
  hear(0);
  draw();
}

/** @param {number} position */
function hear(position) {
  if (!test) return;
  test.heard.add(position);
  hearHidden(wanted.versions[test.at(position)]);
}

/** @param {() => void} draw @param {() => Promise<void>} readResults @returns {Node[]} */
function trial(draw, readResults) {
  const now = /** @type {BlindTest} */ (test);
  const ask = wanted.question === "better" ? "Which is better?" : `Which is ${nameOf(wanted.versions[0])}?`;
  const positions = POSITIONS.slice(0, wanted.versions.length);
  const choose = async (/** @type {number} */ k) => {
    now.choose(k);
    if (now.done) await finish(readResults);
    else hear(0);
    draw();
    focus(0);
  };
  const focus = (/** @type {number} */ k) => document.getElementById(`hear-${k}`)?.focus();
  const left = positions.length - now.heard.size;
  return [
    el(
      "p",
      { role: "status" },
      `Trial ${now.picks.length + 1} of ${now.trials}. ${ask} `,
      left ? `${left} still to be heard.` : "",
    ),
    el(
      "p",
      { class: "next" },
      ...positions.map((word, k) =>
        el(
          "button",
          {
            type: "button",
            class: "do",
            id: `hear-${k}`,
            "aria-keyshortcuts": String(k + 1),
            onclick: () => {
              hear(k);
              draw();
              focus(k);
            },
          },
          `Hear the ${word}`,
        ),
      ),
    ),
    el(
      "p",
      { class: "next" },
      ...positions.map((word, k) =>
        el(
          "button",
          {
            type: "button",
            class: "do",
            disabled: !now.ready,
            onclick: () => void choose(k),
          },
          wanted.question === "better" ? `The ${word} is better` : `It is the ${word}`,
        ),
      ),
      el("button", { type: "button", class: "plain", onclick: pauseAndLeave }, "Leave it"),
    ),
  ];
}

function pauseAndLeave() {
  pause();
  put({ listening: { ...listening(), blind: [] } });
}

/** @param {() => Promise<void>} readResults */
async function finish(readResults) {
  const done = /** @type {BlindTest} */ (test);
  const section = listening().stretch;
  test = null;
  pauseAndLeave();
  try {
    const { result } = await send("api/blind", {
      question: wanted.question,
      versions: wanted.versions.map(nameOf),
      named: 0,
      trials: done.trials,
      picks: done.picks,
      stretch: section?.name || "",
      start_s: section?.from || 0,
      end_s: section?.to || 0,
    });
    put({ notice: { text: result.told } });
    await readResults();
  } catch (error) {
    put({ notice: said(error) });
  }
}

document.addEventListener("keydown", (event) => {
  const on = /** @type {HTMLElement} */ (event.target);
  if (!test || on.closest("input") || event.ctrlKey || event.metaKey || event.altKey) return;
  document.getElementById(`hear-${Number(event.key) - 1}`)?.click();
});
