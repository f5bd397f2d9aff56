// SPDX-License-Identifier: Apache-2.0
// The lane of one layer under the song map: which one, its line, its points as numbers, and the ride pass.

import { el, fill } from "../dom.js";
import { stepper } from "../moves/stepper.js";
import { picker } from "../picker.js";
import { followPlaying } from "../player.js";
import { current, follow } from "../store.js";
import { clock, length } from "../time.js";
import { addAfter, draw, letGo, remove, scale, settle, settleSoon, valueWords } from "./drawing.js";
import { laneLine } from "./lane_line.js";
import { placed } from "./points.js";
import { readLanes, showLane, shownParameter, shownPoints } from "./read.js";
import { beginRide, canRide, endRide, keepRide, levelNow, rideTo, riddenPoints } from "./ride.js";

/** @typedef {import("../types.js").Point} Point */

/** A key moves the level of a layer that is ridden by so much, in dB. */
const KEY_DB = 0.5;

/** @returns {HTMLElement} */
export function lanesPart() {
  const words = el("p", { class: "which" });
  const strip = el("input", { type: "range", step: "0.1", "aria-orientation": "vertical" });
  const gutter = el("div", { class: "gutter" }, el("div", { class: "strip" }, strip));
  const numbers = el("p", { class: "numbers" });
  const acts = el("p", { class: "acts" });
  const line = laneLine();
  const under = el("div", { class: "under" }, numbers, acts);
  const part = el("section", { class: "lanes", "aria-label": "Lanes" }, words, gutter, line, under);
  const ridden = () => {
    rideTo(Number(strip.value));
    tellStrip(strip);
  };
  strip.addEventListener("input", ridden);
  strip.addEventListener("keydown", (event) => {
    const steps = { ArrowUp: 1, ArrowDown: -1, ArrowRight: 1, ArrowLeft: -1, PageUp: 4, PageDown: -4 };
    const step = Object.entries(steps).find(([key]) => key === event.key);
    if (event.key === "Escape") endRide();
    else if (step) strip.value = String(Number(strip.value) + step[1] * KEY_DB);
    else return;
    if (step) ridden();
    event.preventDefault();
  });
  follow(["song"], ({ song }) => {
    if (song) void readLanes();
  });
  // The row that the keys are in is the one whose lane is shown.
  follow(["row"], ({ row, ride }) => {
    if (row && ride === "no") show(row);
  });
  follow(["lane", "lanes"], () => sentence(words));
  follow(["lane", "lanes", "draft", "ride"], () => {
    const shown = shownParameter();
    line.hidden = gutter.hidden = !shown;
    axis(gutter, strip);
    const on = document.activeElement;
    const held = on === strip || acts.contains(on);
    buttons(acts);
    if (held) acts.querySelector("button")?.focus();
  });
  follow(["lane", "lanes", "draft", "point"], () => fields(numbers));
  const moved = () => {
    strip.value = String(levelNow());
    tellStrip(strip);
  };
  follow(["playing", "ride"], ({ ride }) => {
    strip.disabled = ride !== "rides";
    if (ride === "rides") strip.focus();
    requestAnimationFrame(moved);
  });
  followPlaying(moved);
  return part;
}

/** @param {HTMLInputElement} strip */
function tellStrip(strip) {
  const found = shownParameter();
  if (!found) return;
  strip.setAttribute("aria-label", `Level of ${found.name} while it plays`);
  strip.setAttribute("aria-valuetext", valueWords(found.parameter, Number(strip.value)));
}

/** What is at which height, and the strip beside it. @param {HTMLElement} gutter @param {HTMLInputElement} strip */
function axis(gutter, strip) {
  const found = shownParameter()?.parameter;
  if (!found) return;
  const [low, high] = scale();
  strip.min = String(low);
  strip.max = String(high);
  const holder = strip.parentElement;
  strip.hidden = !canRide();
  tellStrip(strip);
  const marks = [...new Set([high, found.usual, low])].map((value) => {
    const mark = el("span", {}, valueWords(found, value));
    mark.style.top = `${100 * (1 - (value - low) / (high - low))}%`;
    return mark;
  });
  fill(gutter, ...marks, holder);
}

/** Show another lane; what was drawn of this one is kept. @param {string} target @param {string} [parameter] */
function show(target, parameter) {
  settle();
  showLane(target, parameter);
}

/** @param {HTMLElement} words */
function sentence(words) {
  if (words.contains(document.activeElement) && words.querySelector("[aria-expanded=true]")) return;
  const { lanes, lane, song } = current(),
    found = shownParameter();
  const targets = () =>
    (lanes?.targets || []).filter((one) => one.parameters.length).map(({ id, name }) => ({ value: id, text: name }));
  const parameters = () =>
    (lanes?.targets.find((one) => one.id === lane?.target)?.parameters || []).map(({ parameter, name }) => ({
      value: parameter,
      text: name,
    }));
  const others = (lanes?.lanes || []).filter(
    (one) => one.points.length && (one.target !== lane?.target || one.parameter !== lane.parameter),
  );
  const named = others.map(({ target, parameter }) => {
    const of = lanes?.targets.find((one) => one.id === target);
    const what = of?.parameters.find((one) => one.parameter === parameter)?.name;
    const here = () => show(target, parameter);
    return what
      ? el("button", { type: "button", class: "plain", onclick: here }, `${of?.name}, ${what}`)
      : el("span", {}, `${of?.name || target}, ${parameter}`);
  });
  fill(
    words,
    "Lane of ",
    picker({
      label: "Whose lane",
      text: found?.name || "a layer",
      choices: targets,
      choose: (id) => show(id),
    }),
    found ? ": " : song ? ": choose one here, or go to its row in the map." : "",
    found &&
      picker({
        label: "What it moves",
        text: found.parameter.name,
        choices: parameters,
        choose: (parameter) => show(lane?.target || "", parameter),
      }),
    found ? "." : "",
    named.length
      ? el("span", { class: "soft" }, " Kept too: ", ...named.flatMap((one, k) => [k ? "; " : "", one]), ".")
      : "",
  );
}

/** The point that the keys are on, as numbers. @param {HTMLElement} numbers */
function fields(numbers) {
  const { point } = current(),
    points = shownPoints(),
    found = shownParameter(),
    here = points[point];
  // What is typed, stepped or dragged is not taken away, by a change elsewhere or by its own.
  const shown = (/** @type {Point[]} */ all) =>
    JSON.stringify([shownParameter(), point, all.slice(Math.max(point - 1, 0), point + 2), all.length]);
  if (numbers.dataset.shown === shown(points)) return;
  numbers.dataset.shown = shown(points);
  const on = document.activeElement;
  const word = on instanceof HTMLElement && numbers.contains(on) ? on.dataset.word : "";
  if (!found) return fill(numbers);
  if (!here) {
    const { parameter } = found;
    const rest = parameter.parameter === "mute" ? "it sounds" : valueWords(parameter, parameter.usual);
    const none = `No points: ${rest} throughout. Press Enter or click in the field to add one.`;
    fill(numbers, points.length ? `${points.length} points.` : none);
    return;
  }
  const when = el("span", {}, clock(here.at_s, true));
  const moved = (/** @type {{at_s?: number, value?: number}} */ to) =>
    placed(shownPoints(), point, { ...shownPoints()[point], ...to }, length());
  const turn = (/** @type {{at_s?: number, value?: number}} */ to) => {
    const now = moved(to);
    if (!now[point]) return;
    numbers.dataset.shown = shown(now);
    fill(when, clock(now[point].at_s, true));
    draw(now, point);
    settleSoon();
  };
  const { parameter, name, low, high, unit } = found.parameter;
  const time = stepper({
    label: "at",
    value: here.at_s,
    low: points[point - 1]?.at_s ?? 0,
    high: points[point + 1]?.at_s ?? length(),
    unit: "s",
    id: "point at",
    turn: (at_s) => turn({ at_s }),
    settle,
  });
  const value =
    parameter === "mute"
      ? el(
          "button",
          {
            type: "button",
            class: "word",
            "data-word": "point value",
            onclick: () => {
              draw(moved({ value: here.value >= 0.5 ? 0 : 1 }), point);
              settle();
            },
          },
          valueWords(found.parameter, here.value),
        )
      : stepper({
          label: name,
          value: here.value,
          low,
          high,
          unit,
          id: "point value",
          turn: (to) => turn({ value: to }),
          settle,
        });
  const act = (/** @type {string} */ text, /** @type {string} */ id, /** @type {() => void} */ does) =>
    el("button", { type: "button", class: "plain", "data-word": id, onclick: does }, text);
  fill(
    numbers,
    `Point ${point + 1} of ${points.length}, `,
    when,
    ": ",
    time,
    " ",
    value,
    " ",
    act("Add a point after it", "point after", () => addAfter(point)),
    " ",
    act("Remove it", "point remove", () => remove(point)),
  );
  if (word) /** @type {HTMLElement | null} */ (numbers.querySelector(`[data-word="${word}"]`))?.focus();
}

/** @param {HTMLElement} acts */
function buttons(acts) {
  const { ride, draft } = current(),
    found = shownParameter();
  const act = (/** @type {string} */ text, /** @type {() => unknown} */ does, kind = "do") =>
    el("button", { type: "button", class: kind, onclick: () => void does() }, text);
  if (!found) return fill(acts);
  if (ride === "waits") return fill(acts, "Getting ready\u2026");
  if (ride === "rides") {
    const how = `Up and down keys, or the strip, move the level of ${found.name}. `;
    return fill(acts, el("b", {}, "Riding. "), how, act("End the pass", () => endRide()));
  }
  if (ride === "ridden") {
    const few = `Ridden: ${riddenPoints().length} steps, as a line of ${draft?.length || 0} points within 0.3 dB. `;
    return fill(acts, few, act("Keep it", keepRide), " ", act("Throw it away", letGo));
  }
  const takeOut = () => {
    draw([], -1);
    settle();
  };
  const late = found.parameter.tried ? null : el("small", {}, "Heard as soon as it is rendered. ");
  fill(
    acts,
    canRide() ? act("Ride the level", beginRide) : null,
    late,
    shownPoints().length ? act("Take the lane out", takeOut, "plain") : null,
  );
}
