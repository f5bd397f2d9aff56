// SPDX-License-Identifier: Apache-2.0
// Kept lanes over the rows of the song map: levels as a thin line, mutes as a line through what is silent.

import { current } from "../store.js";
import { valueAt } from "./points.js";

/** So far a level goes up and down in a row, in dB. */
const SPAN_DB = 18;

/**
 * @param {CanvasRenderingContext2D} context
 * @param {import("../types.js").Row} row
 * @param {{top: number, rowPx: number, from: number, to: number}} place of the row; the time in view
 * @param {(at_s: number) => number} x
 * @param {import("../canvas.js").Colours} colours
 */
export function lanesOver(context, row, { top, rowPx, from, to }, x, { ink, paper }) {
  for (const { target, parameter, points } of current().lanes?.lanes || []) {
    const isOf = target === row.id || row.tracks.includes(target);
    if (!isOf || !points.length || (parameter !== "level" && parameter !== "mute")) continue;
    const middle = top + rowPx / 2;
    const y = (/** @type {number} */ value) =>
      middle - (Math.min(Math.max(value / SPAN_DB, -1), 1) * (rowPx - 4)) / 2;
    context.beginPath();
    if (parameter === "level") {
      context.moveTo(x(from), y(valueAt(points, from, { usual: 0 })));
      for (const one of points) if (one.at_s > from && one.at_s < to) context.lineTo(x(one.at_s), y(one.value));
      context.lineTo(x(to), y(valueAt(points, to, { usual: 0 })));
    } else {
      [{ at_s: -1, value: points[0].value }, ...points].forEach((one, k, all) => {
        const end = all[k + 1]?.at_s ?? to;
        if (one.value < 0.5 || end < from || one.at_s > to) return;
        context.moveTo(x(Math.max(one.at_s, from)), middle);
        context.lineTo(x(Math.min(end, to)), middle);
      });
    }
    for (const [colour, width] of /** @type {[string, number][]} */ ([
      [paper, 4],
      [ink, 1.5],
    ])) {
      context.strokeStyle = colour;
      context.lineWidth = width;
      context.stroke();
    }
  }
  context.lineWidth = 1;
}
