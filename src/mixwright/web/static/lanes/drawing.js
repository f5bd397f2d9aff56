// SPDX-License-Identifier: Apache-2.0
// What a hand does to a lane: points that are added, placed and removed, heard at once, and kept when it rests.

import { playedAt } from "../player.js";
import { current, put } from "../store.js";
import { length } from "../time.js";
import { hearDrawn, settleLane } from "./hearing.js";
import { added, rounded, valueAt, without } from "./points.js";
import { shownParameter, shownPoints } from "./read.js";

/** @typedef {import("../types.js").Point} Point @typedef {import("../types.js").Parameter} Parameter */

/** Steps of keys are kept once no more came for so long, in milliseconds. */
const REST_MS = 700;
/** A point that is added by keys behind the last one comes so long after it, in seconds. */
const AFTER_S = 2;
let waits = 0;

/** From where to where the line is drawn: levels around 0 dB, wider where it goes. @returns {[number, number]} */
export function scale() {
  const found = shownParameter()?.parameter;
  if (!found) return [0, 1];
  if (found.unit !== "dB") return [found.low, found.high];
  const values = shownPoints().map((one) => one.value);
  return [Math.max(Math.min(-18, ...values.map((one) => one - 3)), found.low), Math.max(6, ...values)];
}

/** @param {Parameter} parameter @param {number} value @returns {string} */
export function valueWords({ parameter, unit }, value) {
  if (parameter === "mute") return value >= 0.5 ? "muted" : "sounds";
  const sign = value > 0 && unit ? "+" : "";
  return `${sign}${String(Number(value.toFixed(2))).replace("-", "\u2212")}${unit ? ` ${unit}` : ""}`;
}

/**
 * Draw the line anew as it is to be; what sounds follows.
 * @param {Point[]} points
 * @param {number} point which one the keys are on then
 */
export function draw(points, point) {
  put({ draft: points, point });
  void hearDrawn();
}

/** Let what was drawn and not kept go. */
export function letGo() {
  clearTimeout(waits);
  put({ draft: null, ride: "no" });
  void hearDrawn();
}

/** Keep the line as it is drawn. */
export function settle() {
  clearTimeout(waits);
  const { draft, ride } = current();
  if (draft && ride !== "ridden") void settleLane(draft);
}

/** Keep it once the hand rests. */
export function settleSoon() {
  clearTimeout(waits);
  waits = window.setTimeout(settle, REST_MS);
}

/** In whole steps, within what is allowed. @param {number} value */
export function held(value) {
  const found = shownParameter()?.parameter;
  if (!found) return value;
  const step = found.unit === "dB" ? 0.1 : found.parameter === "mute" ? 1 : 0.01;
  return Number(Math.min(Math.max(Math.round(value / step) * step, found.low), found.high).toFixed(2));
}

/** @param {number} k */
export function remove(k) {
  const left = without(shownPoints(), k);
  draw(left, Math.min(k, left.length - 1));
  settle();
}

/** Add a point behind one, or where the keys are in the song. @param {number} k */
export function addAfter(k) {
  const points = shownPoints(),
    found = shownParameter()?.parameter;
  if (!found) return;
  const here = points[k],
    next = points[k + 1];
  const at_s = !here
    ? (playedAt() ?? current().cursor_s)
    : next
      ? (here.at_s + next.at_s) / 2
      : Math.min(here.at_s + AFTER_S, length());
  const lane = { usual: found.usual, holds: found.parameter === "mute" };
  const [now, at] = added(points, { at_s: rounded(at_s), value: held(valueAt(points, at_s, lane)) });
  draw(now, at);
  settle();
}

