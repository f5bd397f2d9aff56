// SPDX-License-Identifier: Apache-2.0
// A ride pass: while it plays, keys or pointer move the level of one layer; what they did is a lane of few points.

import { heardAt, listen, listening, onRode } from "../listening/listen.js";
import { rate, tell } from "../listening/output.js";
import { isLonger } from "../listening/sources.js";
import { current, follow, put } from "../store.js";
import { length } from "../time.js";
import { laneSource, passOn, settleLane, stretchAt } from "./hearing.js";
import { valueAt, withRide } from "./points.js";
import { keptPoints, shownParameter, shownPoints } from "./read.js";

/** @typedef {import("../types.js").Point} Point */

/** What was ridden, each level from when it was heard. @type {Point[]} */
let ridden = [];
/** The level that was asked for last; null before any. @type {number | null} */
let wanted = null;
/** How far the pass has come, in seconds of the song. */
let reached = -1;

/** @returns {Point[]} */
export function riddenPoints() {
  return current().ride === "no" ? [] : ridden;
}

/** @returns {boolean} whether the lane that is shown can be ridden */
export function canRide() {
  return shownParameter()?.parameter.parameter === "level" && laneSource() !== "";
}

/** Begin a pass over the stretch that is heard, from its start; of a long one over what lies around what sounds. */
export async function beginRide() {
  if (!canRide()) return;
  const name = laneSource();
  ridden = [];
  wanted = null;
  put({ ride: "waits", draft: null, point: -1 });
  onRode(taken);
  const before = listening().stretch;
  const wished = before && !isLonger(before) ? before : stretchAt(heardAt() ?? current().cursor_s);
  await listen({ what: name, turned: false, stretch: wished }, { at: wished.from });
  const { plays, stretch, what } = listening();
  if (plays !== "yes" || !stretch || what !== name || laneSource() !== name) {
    put({ ride: "no" });
    return;
  }
  put({ ride: "rides" });
  reached = -1;
  requestAnimationFrame(function watch() {
    if (current().ride !== "rides") return;
    const now = heardAt();
    // Where it is, is told with a delay: what sounded before this pass began does not count.
    if (now !== null && reached >= 0 && now < reached - 1) return endRide(stretch.to);
    if (now !== null && (reached >= 0 || now < stretch.from + 1)) reached = Math.max(reached, now);
    requestAnimationFrame(watch);
  });
}

/** Have the layer at a level from now on. @param {number} db */
export function rideTo(db) {
  if (current().ride !== "rides") return;
  wanted = db;
  tell({ ride: { name: laneSource(), db } });
}

/** @returns {number} the level that the layer has now */
export function levelNow() {
  if (wanted !== null && current().ride === "rides") return wanted;
  return valueAt(shownPoints(), heardAt() ?? current().cursor_s, { usual: 0 });
}

/** @param {{frame: number, db: number | null}} what the player took over */
function taken({ frame, db }) {
  const { stretch } = listening();
  if (db === null || !stretch || current().ride !== "rides") return;
  const point = { at_s: stretch.from + frame / rate(), value: db };
  const last = ridden[ridden.length - 1];
  if (last && point.at_s < last.at_s) endRide(stretch.to);
  else if (last?.at_s === point.at_s) ridden = [...ridden.slice(0, -1), point];
  else ridden = [...ridden, point];
}

/** End the pass: it is shown as a lane, to be kept or not. @param {number} [end_s] when it ended, else now */
export function endRide(end_s) {
  const { lane, ride } = current();
  if (ride !== "rides" || !lane) return;
  const last = ridden[ridden.length - 1];
  tell({ ride: { name: laneSource(), db: null } });
  if (!last) {
    put({ ride: "no" });
    return;
  }
  const until = Math.max(end_s ?? reached, last.at_s);
  const draft = withRide(keptPoints(lane.target, lane.parameter), ridden, Math.min(until, length()), 0);
  put({ ride: "ridden", draft });
  passOn();
}

/** Keep what was ridden as the lane. */
export async function keepRide() {
  const { draft } = current();
  if (draft) await settleLane(draft);
}

follow(["listening"], ({ listening: { plays, what }, ride }) => {
  if (ride === "rides" && (plays !== "yes" || what !== laneSource())) endRide();
});
