// SPDX-License-Identifier: Apache-2.0
// A number that is typed, stepped by arrow keys, or dragged sideways; every step is told, the last one for good.

import { el } from "../dom.js";

/** So far a pointer goes for one step, in pixels. */
const STEP_PX = 5;
const HOW = "Type, use the arrow keys, or drag sideways.";

/**
 * @typedef {object} Stepped
 * @property {string} label
 * @property {number} value
 * @property {number} low
 * @property {number} high
 * @property {string} unit
 * @property {string} id by which the page finds the field again
 * @property {(value: number) => void} turn it is this now
 * @property {(value: number) => void} settle it stays this
 */

/**
 * @param {Stepped} given
 * @returns {HTMLElement}
 */
export function stepper({ label, value, low, high, unit, id, turn, settle }) {
  let now = value,
    settled = value;
  const input = el("input", {
    type: "text",
    class: "word number",
    inputmode: "decimal",
    role: "spinbutton",
    autocomplete: "off",
    "aria-label": unit ? `${label}, in ${unit}` : label,
    "aria-valuemin": low,
    "aria-valuemax": high,
    "data-word": id,
    title: `${label}: ${text(low)} to ${text(high)}${unit ? ` ${unit}` : ""}. ${HOW}`,
  });

  function show() {
    input.value = text(now);
    input.setAttribute("aria-valuenow", String(now));
    input.size = Math.max(4, input.value.length);
  }
  /** @param {number} to */
  function go(to) {
    const held = Math.min(Math.max(to, low), high);
    if (held === now) return;
    now = held;
    show();
    turn(now);
  }
  function done() {
    if (now === settled) return;
    settled = now;
    settle(now);
  }
  function typed() {
    const read = Number(input.value.replace(",", ".").replace("\u2212", "-").trim());
    // What is shown is rounded: left as it is, it is no other number.
    if (input.value.trim() && input.value !== text(now) && Number.isFinite(read)) go(read);
    show();
    done();
  }

  input.addEventListener("keydown", (event) => {
    const steps = { ArrowUp: 1, ArrowDown: -1, PageUp: 5, PageDown: -5 };
    const step = Object.entries(steps).find(([key]) => key === event.key);
    if (step) {
      go(stepped(now, step[1], unit, label));
      event.preventDefault();
    } else if (event.key === "Enter") typed();
    else if (event.key === "Escape") {
      go(settled);
      show();
    } else return;
    event.stopPropagation();
  });
  input.addEventListener("change", typed);
  input.addEventListener("blur", typed);
  input.addEventListener("pointerdown", (event) => {
    const from = event.clientX,
      start = now;
    let far = 0;
    const moved = (/** @type {PointerEvent} */ at) => {
      const steps = Math.trunc((at.clientX - from) / STEP_PX);
      if (steps === far) return;
      far = steps;
      input.setPointerCapture(event.pointerId);
      go(stepped(start, steps, unit, label));
    };
    const end = () => {
      input.removeEventListener("pointermove", moved);
      if (far) done();
    };
    input.addEventListener("pointermove", moved);
    input.addEventListener("pointerup", end, { once: true });
    input.addEventListener("pointercancel", end, { once: true });
  });
  show();
  return el("label", { class: "stepper" }, el("span", {}, `${label} `), input, unit ? ` ${unit}` : "");
}

/**
 * Frequencies, times and Q go by ratios, all else by equal steps.
 * @param {number} from
 * @param {number} steps
 * @param {string} unit
 * @param {string} label
 */
export function stepped(from, steps, unit, label) {
  if (unit === "Hz") return Number(((from || 20) * 2 ** (steps / 12)).toPrecision(3));
  if (unit === "ms" || label === "q") return Number(((from || 1) * 1.1 ** steps).toPrecision(3));
  const step = unit === "dB/oct" ? 6 : unit === "dB" ? 0.5 : label === "ratio" ? 0.25 : label === "trials" ? 1 : 0.05;
  return Number((from + steps * step).toFixed(2));
}

/** @param {number} value */
function text(value) {
  return String(Number(value.toPrecision(5)));
}
