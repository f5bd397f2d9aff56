// SPDX-License-Identifier: Apache-2.0
// Hearing a lane while it is drawn: at once where the player can do it, else as soon as it is rendered.

import { listen, listening } from "../listening/listen.js";
import { rate, tell } from "../listening/output.js";
import { current } from "../store.js";
import { framesOf } from "./points.js";
import { keepLane, shownParameter, shownPoints } from "./read.js";

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
  if (what !== name) await listen({ what: name, turned: false });
  passOn();
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
  if (plays === "yes" && (what === "mix" || what === laneSource())) await listen({ what: "mix" });
}
