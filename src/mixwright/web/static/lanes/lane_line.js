// SPDX-License-Identifier: Apache-2.0
// One line of points over the time of the song.

import { drawn } from "../canvas.js";
import { el, fill } from "../dom.js";
import { followPlaying, playedAt } from "../player.js";
import { current, follow, put } from "../store.js";
import { clock, inView, ticks } from "../time.js";
import { scale, valueWords } from "./drawing.js";
import { byPointer, keyed, pointOf } from "./hand.js";
import { valueAt } from "./points.js";
import { shownParameter, shownPoints } from "./read.js";
import { riddenPoints } from "./ride.js";

/** @typedef {import("../types.js").Point} Point */

/** @returns {HTMLElement} */
export function laneLine() {
  const canvas = el("canvas", { "aria-hidden": "true" });
  const kind = { role: "group", "aria-roledescription": "lane", tabindex: "0" };
  const field = el("div", { class: "line", ...kind }, canvas);
  const ask = drawn(canvas, paint);
  const x = (/** @type {number} */ at_s) => (100 * (at_s - inView()[0])) / (inView()[1] - inView()[0]);
  const y = (/** @type {number} */ value) => 100 * (1 - (value - scale()[0]) / (scale()[1] - scale()[0]));

  function points() {
    const found = shownParameter();
    if (!found) return;
    const on = document.activeElement instanceof HTMLElement ? document.activeElement : null;
    const held = on && field.contains(on) && on !== field;
    const all = shownPoints(),
      [from, to] = inView(),
      { point } = current();
    const label = `Lane of ${found.name}, ${found.parameter.name}: ${all.length} points. `;
    field.setAttribute("aria-label", `${label}Enter adds a point; arrow keys in a point move it, Delete removes it`);
    const made = all.map(({ at_s, value }, k) => {
      const button = el("button", {
        type: "button",
        class: "point",
        tabindex: k === Math.max(point, 0) ? "0" : "-1",
        "data-point": k,
        "aria-label": `Point ${k + 1} of ${all.length}, ${clock(at_s, true)}, ${valueWords(found.parameter, value)}`,
        "aria-pressed": k === point ? "true" : "false",
        hidden: at_s < from || at_s > to,
      });
      button.style.left = `${x(at_s)}%`;
      button.style.top = `${y(value)}%`;
      return button;
    });
    fill(field, canvas, ...made);
    if (held) (made[Math.min(point, made.length - 1)] || field).focus();
    ask();
  }

  follow(["lane", "lanes", "draft", "point", "view_s"], points);
  follow(["ride", "cursor_s", "playing"], ask);
  followPlaying(ask);
  field.addEventListener("keydown", (event) => keyed(event, field));
  field.addEventListener("focusin", (event) => {
    const k = pointOf(event.target);
    if (k >= 0 && k !== current().point) put({ point: k });
  });
  byPointer(field);
  return field;
}

/** @type {import("../canvas.js").Draw} */
function paint(context, width, height, colours) {
  const found = shownParameter();
  if (!found) return;
  const [from, to] = inView(),
    [low, high] = scale(),
    { ride, song } = current();
  const x = (/** @type {number} */ at_s) => ((at_s - from) / (to - from)) * width;
  const y = (/** @type {number} */ value) => (1 - (value - low) / (high - low)) * height;
  const lane = { usual: found.parameter.usual, holds: found.parameter.parameter === "mute" };
  context.font = "11px system-ui, sans-serif";
  context.fillStyle = colours.soft;
  context.strokeStyle = colours.hair;
  for (const time of ticks(from, to, width)) upright(context, x(time), height);
  across(context, y(found.parameter.usual), width);
  context.setLineDash([2, 3]);
  for (const part of song?.sections || []) upright(context, x(part.start_s), height);
  const follows = (/** @type {Point[]} */ points) => {
    context.beginPath();
    context.moveTo(0, y(valueAt(points, from, lane)));
    for (const one of points) {
      if (lane.holds) context.lineTo(x(one.at_s), y(valueAt(points, one.at_s - 1e-6, lane)));
      context.lineTo(x(one.at_s), y(one.value));
    }
    context.lineTo(width, y(valueAt(points, to, lane)));
    context.stroke();
  };
  const points = shownPoints();
  context.setLineDash(points.length ? [] : [4, 4]);
  context.lineWidth = 2;
  context.strokeStyle = ride === "ridden" ? colours.accent : colours.ink;
  follows(points);
  const ridden = riddenPoints();
  if (ridden.length) {
    context.strokeStyle = colours.accent;
    context.setLineDash([2, 2]);
    context.beginPath();
    ridden.forEach((one, k) => {
      if (k) context.lineTo(x(one.at_s), y(ridden[k - 1].value));
      context.lineTo(x(one.at_s), y(one.value));
    });
    const now = playedAt();
    if (now !== null && ride === "rides") context.lineTo(x(now), y(ridden[ridden.length - 1].value));
    context.stroke();
  }
  context.lineWidth = 1;
  context.setLineDash([]);
  context.strokeStyle = colours.ink;
  const now = playedAt();
  if (now !== null) upright(context, x(now), height);
}

/** @param {CanvasRenderingContext2D} context @param {number} x @param {number} bottom */
function upright(context, x, bottom) {
  context.beginPath();
  context.moveTo(Math.round(x) + 0.5, 0);
  context.lineTo(Math.round(x) + 0.5, bottom);
  context.stroke();
}

/** @param {CanvasRenderingContext2D} context @param {number} y @param {number} right */
function across(context, y, right) {
  context.beginPath();
  context.moveTo(0, Math.round(y) + 0.5);
  context.lineTo(right, Math.round(y) + 0.5);
  context.stroke();
}
