// SPDX-License-Identifier: Apache-2.0
// Time in words, and the stretch of the song that is in view.

import { current, put } from "./store.js";

/** No view is shorter, in seconds. */
const SHORTEST_S = 2;

/**
 * @param {number} seconds
 * @param {boolean} [tenths]
 * @returns {string} 3:07 or 3:07.5
 */
export function clock(seconds, tenths = false) {
  const units = tenths ? Math.round(seconds * 10) : Math.round(seconds) * 10;
  const minutes = Math.floor(units / 600);
  const rest = (units % 600) / 10;
  return `${minutes}:${tenths ? rest.toFixed(1).padStart(4, "0") : String(Math.floor(rest)).padStart(2, "0")}`;
}

/**
 * @param {string} text 3:07.5, or seconds alone
 * @returns {number} NaN where it is no time
 */
export function seconds(text) {
  const found = /^\s*(?:(\d+):)?(\d+(?:[.,]\d+)?)\s*$/.exec(text);
  return found ? 60 * Number(found[1] || 0) + Number(found[2].replace(",", ".")) : NaN;
}

/** @returns {number} the length of the song, in seconds */
export function length() {
  return Math.max(current().song?.duration_s || 0, 1);
}

/** @returns {[number, number]} what is in view, from and to, in seconds */
export function inView() {
  const { view_s } = current();
  return view_s || [0, length()];
}

/**
 * Show a stretch of the song; the whole song is the widest.
 * @param {number} from
 * @param {number} to
 */
export function show(from, to) {
  const whole = length();
  const wide = Math.min(Math.max(to - from, SHORTEST_S), whole);
  const start = Math.min(Math.max(from, 0), whole - wide);
  put({ view_s: wide >= whole ? null : [start, start + wide] });
}

/**
 * Zoom around a time that stays where it is.
 * @param {number} factor below 1: nearer
 * @param {number} [around] in seconds; else the middle
 */
export function zoom(factor, around) {
  const [from, to] = inView();
  const at = around === undefined ? (from + to) / 2 : around;
  show(at - (at - from) * factor, at + (to - at) * factor);
}

/**
 * Move the view.
 * @param {number} by in parts of its width
 */
export function pan(by) {
  const [from, to] = inView();
  const step = by * (to - from);
  const held = Math.min(Math.max(from + step, 0), length() - (to - from));
  show(held, held + to - from);
}

/**
 * Bring a stretch into view where it is not, without zooming.
 * @param {number} from
 * @param {number} to
 */
export function reveal(from, to) {
  const [start, end] = inView();
  if (from >= start && to <= end) return;
  const wide = Math.max(end - start, (to - from) * 1.5);
  show((from + to) / 2 - wide / 2, (from + to) / 2 + wide / 2);
}

/**
 * Ticks of a clock across a width.
 * @param {number} from
 * @param {number} to
 * @param {number} widthPx
 * @returns {number[]}
 */
export function ticks(from, to, widthPx) {
  const most = Math.max(2, widthPx / 80);
  const steps = [1, 2, 5, 10, 15, 30, 60, 120, 300, 600];
  const step = steps.find((one) => (to - from) / one <= most) || 1200;
  const found = [];
  for (let at = Math.ceil(from / step) * step; at <= to; at += step) found.push(at);
  return found;
}
