// SPDX-License-Identifier: Apache-2.0
// Lanes as the server keeps them, and the one that is shown.

import { change, latest, said } from "../api.js";
import { current, follow, put } from "../store.js";

/** @typedef {import("../types.js").Point} Point @typedef {import("../types.js").Parameter} Parameter */

const kept = latest("api/lanes");

/** Read the lanes anew. */
export async function readLanes() {
  try {
    const result = await kept.read();
    if (result && JSON.stringify(result) !== JSON.stringify(current().lanes)) put({ lanes: result });
  } catch (error) {
    put({ notice: said(error) });
  }
}

/** @param {string} target @param {string} parameter @returns {Point[]} as they are kept */
export function keptPoints(target, parameter) {
  const found = current().lanes?.lanes.find((one) => one.target === target && one.parameter === parameter);
  return found?.points || [];
}

/** @param {string} target @param {string} parameter @returns {Point[]} as they are drawn, else as they are kept */
export function drawnPoints(target, parameter) {
  const { lane, draft } = current();
  const isShown = lane?.target === target && lane.parameter === parameter;
  return (isShown && draft) || keptPoints(target, parameter);
}

/** @returns {Point[]} of the lane that is shown */
export function shownPoints() {
  const { lane } = current();
  return lane ? drawnPoints(lane.target, lane.parameter) : [];
}

/** @returns {{name: string, parameter: Parameter} | null} what the lane that is shown moves, and what that is called */
export function shownParameter() {
  const { lane, lanes } = current();
  const target = lanes?.targets.find((one) => one.id === lane?.target);
  const parameter = target?.parameters.find((one) => one.parameter === lane?.parameter);
  return target && parameter ? { name: target.name, parameter } : null;
}

/**
 * Show the lane of something; what was drawn of another and not kept is let go, but what was ridden comes first.
 * @param {string} target
 * @param {string} [parameter] else the one that was shown, if it has that, else its first
 */
export function showLane(target, parameter) {
  const { lanes, lane, ride } = current();
  const found = lanes?.targets.find((one) => one.id === target);
  if (!found?.parameters.length) return;
  const wanted = parameter || lane?.parameter;
  const has = found.parameters.find((one) => one.parameter === wanted) || found.parameters[0];
  if (lane?.target === target && lane.parameter === has.parameter) return;
  if (ride !== "no" && shownParameter()) {
    const text =
      ride === "ridden"
        ? "Keep what was ridden, or throw it away; then choose another lane."
        : "End the pass; then choose another lane.";
    put({ notice: { text } });
    return;
  }
  put({ lane: { target, parameter: has.parameter }, draft: null, point: -1, ride: "no" });
}

/** What is on its way to be kept. @type {Point[] | null} */
let sent = null;

/** What was kept of the lane when its draft was begun; null: it replaces whatever is there. @type {Point[] | null} */
let begun = null;

let drawing = false;
follow(["draft"], ({ lane, draft }) => {
  if (!draft || !lane) begun = null;
  else if (!drawing) begun = keptPoints(lane.target, lane.parameter);
  drawing = Boolean(draft);
});

/**
 * Keep a lane as it is drawn: one step, which undo takes back. What could not be kept stays as it is drawn.
 * @param {{target: string, parameter: string}} lane
 * @param {Point[]} points
 * @param {() => void} again what is done again for the asking where it was not kept
 * @returns {Promise<boolean>} whether it was kept
 */
export async function keepLane(lane, points, again) {
  if (points === sent) return false;
  sent = points;
  const before = begun;
  if (before) begun = points; // what is drawn on meanwhile begins with this
  const made = await change("lane", { lane: { ...lane, points }, ...(before && { before }) }, again);
  if (points === sent) sent = null;
  if (!made) {
    begun = null; // asked for again it is meant
    return false;
  }
  const { lanes, draft } = current();
  kept.outdate();
  if (lanes) put({ lanes: { ...lanes, lanes: made.lanes } });
  if (draft === points) put({ draft: null, ride: "no" });
  return true;
}
