// SPDX-License-Identifier: Apache-2.0
// Hearing a lane while it is drawn: at once where the player can do it, else as soon as it is rendered.

import { heardAt, listen, listening } from "../listening/listen.js";
import { rate, tell } from "../listening/output.js";
import { isLonger } from "../listening/sources.js";
import { current } from "../store.js";
import { length } from "../time.js";
import { framesOf } from "./points.js";
import { keepLane, shownParameter, shownPoints } from "./read.js";

/** Outside of sections so long a stretch is heard, in seconds. */
const STRETCH_S = 20;

/** @returns {string} what is heard while the lane that is shown is drawn; "" where that is not possible */
export function laneSource() {
  const { lane } = current();
  return lane && shownParameter()?.parameter.tried ? `lane/${lane.target}/${lane.parameter}` : "";
}

/** Let what sounds follow the lane as it is drawn now; where nothing sounds it stays so. */
export async function hearDrawn() {
  const name = laneSource();
  const { plays, what } = listening();
  if (!name || plays !== "yes") return;
  if (what !== name) await hearHere({ what: name, turned: false });
  passOn();
}

/**
 * Hear what is rendered as it is heard: of a long stretch what lies around the time that sounds now.
 * @param {{what: string, turned?: boolean}} wanted
 */
async function hearHere(wanted) {
  const { stretch } = listening();
  const at = heardAt() ?? current().cursor_s;
  if (stretch && isLonger(stretch)) await listen({ ...wanted, stretch: stretchAt(at) }, { at });
  else await listen(wanted);
}

/**
 * @param {number} at_s
 * @returns {import("../listening/sources.js").Stretch} the section there, or some seconds where that is long
 */
export function stretchAt(at_s) {
  const part = current().song?.sections.find((one) => at_s >= one.start_s && at_s < one.end_s);
  const section = part && { from: part.start_s, to: part.end_s, name: part.name };
  if (section && !isLonger(section)) return section;
  const from = Math.max(0, Math.min(at_s, length() - STRETCH_S));
  return { from, to: Math.min(from + STRETCH_S, length()), name: "" };
}

/** Give the player the line as it is drawn now. */
export function passOn() {
  const { what, stretch } = listening();
  if (!stretch || what !== laneSource()) return;
  const lane = framesOf(shownPoints(), stretch.from, rate(), current().lane?.parameter === "mute");
  tell({ draw: { name: what, lane } });
}

/**
 * Keep a lane; the exact mix takes the place of what was tried out.
 * @param {import("../types.js").Point[]} points
 * @param {{target: string, parameter: string} | null} [lane] else the one that is shown
 */
export async function settleLane(points, lane = current().lane) {
  if (!lane || !(await keepLane(lane, points, () => void settleLane(points, lane)))) return;
  const { plays, what } = listening();
  if (plays === "yes" && (what === "mix" || what === laneSource())) await hearHere({ what: "mix" });
}
