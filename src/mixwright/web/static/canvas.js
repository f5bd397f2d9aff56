// SPDX-License-Identifier: Apache-2.0
// A canvas that keeps sharp and current, in the colours of the page.

import { pan, zoom } from "./time.js";

/**
 * @typedef {Record<string, string>} Colours
 * @typedef {(context: CanvasRenderingContext2D, width: number, height: number, colours: Colours) => void} Draw
 */

const NAMES = [
  "paper",
  "ink",
  "soft",
  "hair",
  "faint",
  "span",
  "accent",
  "sounds",
  "kept-1",
  "kept-2",
  "kept-3",
  "kept-4",
];
const dark = matchMedia("(prefers-color-scheme: dark)");

/** @returns {Colours} */
function colours() {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(NAMES.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
}

/**
 * Draw on a canvas now, whenever its size or the colours change, and when it is asked for; once a frame at most.
 * @param {HTMLCanvasElement} canvas fills its parent
 * @param {Draw} draw in CSS pixels
 * @returns {() => void} asks for it
 */
export function drawn(canvas, draw) {
  let waits = false;
  function paint() {
    waits = false;
    const { width, height } = canvas.getBoundingClientRect();
    if (!width || !height) return;
    const scale = devicePixelRatio || 1;
    if (canvas.width !== Math.round(width * scale) || canvas.height !== Math.round(height * scale)) {
      canvas.width = Math.round(width * scale);
      canvas.height = Math.round(height * scale);
    }
    const context = canvas.getContext("2d");
    if (!context) return;
    context.setTransform(scale, 0, 0, scale, 0, 0);
    context.clearRect(0, 0, width, height);
    draw(context, width, height, colours());
  }
  function ask() {
    if (waits) return;
    waits = true;
    requestAnimationFrame(paint);
  }
  new ResizeObserver(ask).observe(canvas);
  dark.addEventListener("change", ask);
  ask();
  return ask;
}

/**
 * Let the wheel zoom (with Ctrl, or a pinch) and pan (sideways, or with Shift), and a drag pan.
 * @param {HTMLElement} element
 * @param {(x: number) => number} timeAt the time at a place from the left edge, in CSS pixels
 * @param {(event: PointerEvent) => void} click where the pointer went down and up at one place
 */
export function panned(element, timeAt, click) {
  element.addEventListener(
    "wheel",
    (event) => {
      if (event.ctrlKey || event.metaKey) {
        const left = element.getBoundingClientRect().left;
        zoom(Math.exp(event.deltaY * 0.004), timeAt(event.clientX - left));
      } else if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
        pan((event.deltaX || event.deltaY) / 800);
      } else {
        return;
      }
      event.preventDefault();
    },
    { passive: false },
  );
  let fromX = 0,
    lastX = 0,
    held = false;
  element.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    held = true;
    fromX = lastX = event.clientX;
    element.setPointerCapture(event.pointerId);
  });
  element.addEventListener("pointermove", (event) => {
    if (!held || Math.abs(event.clientX - fromX) < 5) return;
    pan((lastX - event.clientX) / element.clientWidth);
    lastX = event.clientX;
  });
  element.addEventListener("pointerup", (event) => {
    if (held && Math.abs(event.clientX - fromX) < 5) click(event);
    held = false;
  });
  element.addEventListener("pointercancel", () => {
    held = false;
  });
}

/**
 * The keys that every picture over time knows.
 * @param {KeyboardEvent} event
 * @returns {boolean} whether it was one of them
 */
export function timeKey(event) {
  const known = {
    "+": () => zoom(0.6),
    "=": () => zoom(0.6),
    "-": () => zoom(1 / 0.6),
    0: () => zoom(1e9),
    PageDown: () => pan(0.5),
    PageUp: () => pan(-0.5),
  };
  const found = Object.entries(known).find(([key]) => key === event.key);
  if (!found || event.ctrlKey || event.metaKey || event.altKey) return false;
  found[1]();
  event.preventDefault();
  return true;
}
