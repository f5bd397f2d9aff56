// SPDX-License-Identifier: Apache-2.0
// A lane by pointer and by keys.

import { timeKey } from "../canvas.js";
import { current, put } from "../store.js";
import { inView, length } from "../time.js";
import { addAfter, draw, held, letGo, remove, scale, settle, settleSoon } from "./drawing.js";
import { added, placed, rounded } from "./points.js";
import { shownParameter, shownPoints } from "./read.js";

/** @param {EventTarget | null} on @returns {number} which point that is, -1 for none */
export function pointOf(on) {
  const found = on instanceof HTMLElement ? on.dataset.point : undefined;
  return found === undefined ? -1 : Number(found);
}

/** @param {HTMLElement} field */
export function byPointer(field) {
  const where = (/** @type {PointerEvent} */ event) => {
    const box = field.getBoundingClientRect(),
      [from, to] = inView(),
      [low, high] = scale();
    const at_s = from + ((event.clientX - box.left) / box.width) * (to - from);
    const part = Math.min(Math.max((event.clientY - box.top) / box.height, 0), 1);
    return { at_s, value: held(high - part * (high - low)) };
  };
  let k = -1,
    moved = false;
  field.addEventListener("pointerdown", (event) => {
    const found = shownParameter();
    if (event.button !== 0 || !found || current().ride === "rides") return;
    k = pointOf(event.target);
    moved = false;
    if (k < 0) {
      const { at_s, value } = where(event);
      const [points, at] = added(shownPoints(), { at_s: rounded(at_s), value });
      k = at;
      moved = true;
      draw(points, k);
    }
    field.setPointerCapture(event.pointerId);
    put({ point: k });
    event.preventDefault();
  });
  field.addEventListener("pointermove", (event) => {
    if (k < 0 || (!moved && Math.hypot(event.movementX, event.movementY) < 1)) return;
    moved = true;
    draw(placed(shownPoints(), k, where(event), length()), k);
  });
  const end = () => {
    const was = k;
    k = -1;
    if (was < 0) return;
    /** @type {HTMLElement | null} */ (field.querySelector(`[data-point="${was}"]`))?.focus();
    if (moved) settle();
  };
  field.addEventListener("pointerup", end);
  field.addEventListener("pointercancel", end);
  field.addEventListener("dblclick", (event) => {
    const on = pointOf(document.elementFromPoint(event.clientX, event.clientY));
    if (on >= 0) remove(on);
  });
}

/** @param {KeyboardEvent} event @param {HTMLElement} field */
export function keyed(event, field) {
  const found = shownParameter()?.parameter;
  if (!found || event.ctrlKey || event.metaKey || event.altKey || current().ride === "rides") return;
  const k = pointOf(event.target),
    points = shownPoints(),
    point = points[k];
  const focus = () => {
    const on = field.querySelector(`[data-point="${current().point}"]`);
    /** @type {HTMLElement} */ (on || field).focus();
  };
  const go = (/** @type {number} */ to) => {
    put({ point: Math.min(Math.max(to, 0), points.length - 1) });
    focus();
  };
  const add = () => {
    addAfter(k);
    focus();
  };
  const take = () => {
    remove(k);
    focus();
  };
  const step = (/** @type {number} */ seconds, /** @type {number} */ steps) => {
    const isMute = found.parameter === "mute";
    const far = isMute ? 1 : (found.unit ? 0.5 : 0.05) * (event.shiftKey ? 0.2 : 1);
    const value = held(point.value + steps * far);
    draw(placed(points, k, { at_s: point.at_s + seconds * (event.shiftKey ? 10 : 1), value }, length()), k);
    settleSoon();
  };
  /** @type {Record<string, () => void>} */
  const known = point
    ? {
        ArrowLeft: () => step(-0.1, 0),
        ArrowRight: () => step(0.1, 0),
        ArrowUp: () => step(0, 1),
        ArrowDown: () => step(0, -1),
        PageDown: () => go(k + 1),
        PageUp: () => go(k - 1),
        Home: () => go(0),
        End: () => go(points.length - 1),
        Enter: add,
        Delete: take,
        Backspace: take,
      }
    : { Enter: add };
  if (event.key === "Escape" && current().draft) {
    letGo();
  } else if (known[event.key]) known[event.key]();
  else {
    timeKey(event);
    return;
  }
  event.preventDefault();
}

