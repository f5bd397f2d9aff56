// SPDX-License-Identifier: Apache-2.0
// Points of a lane as plain data: what holds between them, what becomes of them, and how few are enough.

/** @typedef {import("../types.js").Point} Point */

/** A ride is thinned to lines that stay so near to it, in dB. */
export const NEAR_DB = 0.3;
/** What a ride put down goes back to what was there in so long, in seconds. */
const BACK_S = 0.1;

/**
 * The value at a time: straight lines between points, of a mute what the last point said.
 * @param {Point[]} points by time
 * @param {number} at_s
 * @param {{usual: number, holds?: boolean}} lane `usual`: without points; `holds`: each value lasts to the next
 */
export function valueAt(points, at_s, { usual, holds = false }) {
  if (!points.length) return usual;
  const after = points.findIndex((one) => one.at_s > at_s);
  if (after === 0) return points[0].value;
  const before = after < 0 ? points[points.length - 1] : points[after - 1];
  if (after < 0 || holds) return before.value;
  const part = (at_s - before.at_s) / (points[after].at_s - before.at_s);
  return before.value + part * (points[after].value - before.value);
}

/**
 * Add a point where there is none; the others stay.
 * @param {Point[]} points
 * @param {Point} point
 * @returns {[Point[], number]} and which it is
 */
export function added(points, point) {
  const after = points.findIndex((one) => one.at_s > point.at_s);
  const k = after < 0 ? points.length : after;
  return [[...points.slice(0, k), point, ...points.slice(k)], k];
}

/**
 * Put a point elsewhere, between its neighbours.
 * @param {Point[]} points
 * @param {number} k
 * @param {Point} to
 * @param {number} end_s of the song
 */
export function placed(points, k, { at_s, value }, end_s) {
  const from = k ? points[k - 1].at_s : 0,
    until = k + 1 < points.length ? points[k + 1].at_s : end_s;
  const held = Math.min(Math.max(at_s, from), Math.max(until, from));
  return points.map((one, j) => (j === k ? { at_s: rounded(held), value } : one));
}

/** @param {Point[]} points @param {number} k */
export function without(points, k) {
  return points.filter((_, j) => j !== k);
}

/**
 * A line of few points that stays near to levels of which each holds to the next: through the middle of small steps,
 * along the edges of large ones, and of these no more than are needed (Ramer-Douglas-Peucker, by the distance in value
 * alone: times are not to be weighed against dB).
 * @param {Point[]} levels by time
 * @param {number} end_s until when the last one holds
 * @param {number} near
 * @returns {Point[]}
 */
export function thinned(levels, end_s, near) {
  const last = levels[levels.length - 1];
  /** @type {(Point & {room: number})[]} */
  const points = [{ ...levels[0], room: near }];
  for (let k = 1; k < levels.length; k++) {
    const [was, { at_s, value }] = [levels[k - 1].value, levels[k]];
    const half = Math.abs(value - was) / 2;
    if (half < near) points.push({ at_s, value: (was + value) / 2, room: near - half });
    else points.push({ at_s, value: was, room: near }, { at_s, value, room: near });
  }
  points.push({ at_s: end_s, value: last.value, room: near });
  const kept = new Set([0, points.length - 1]);
  const open = [[0, points.length - 1]];
  for (let part = open.pop(); part; part = open.pop()) {
    const [from, to] = part;
    const ends = [points[from], points[to]];
    let far = 1e-9,
      at = -1;
    for (let k = from + 1; k < to; k++) {
      const off = Math.abs(points[k].value - valueAt(ends, points[k].at_s, { usual: 0 })) - points[k].room;
      if (off > far) [far, at] = [off, k];
    }
    if (at < 0) continue;
    kept.add(at);
    open.push([from, at], [at, to]);
  }
  return points.filter((_, k) => kept.has(k)).map(({ at_s, value }) => ({ at_s, value }));
}

/**
 * Put what was ridden in the place of what a lane says between two times; before and after it stays as it was.
 * @param {Point[]} points
 * @param {Point[]} ridden by time, each value held to the next
 * @param {number} end_s when the ride ended
 * @param {number} usual
 * @returns {Point[]}
 */
export function withRide(points, ridden, end_s, usual) {
  if (!ridden.length) return points;
  const lane = { usual },
    start_s = ridden[0].at_s;
  const first = { at_s: Math.max(0, start_s - BACK_S), value: valueAt(points, Math.max(0, start_s - BACK_S), lane) };
  const last = { at_s: end_s + BACK_S, value: valueAt(points, end_s + BACK_S, lane) };
  return [
    ...points.filter((one) => one.at_s < first.at_s),
    first,
    ...thinned(ridden, end_s, NEAR_DB),
    last,
    ...points.filter((one) => one.at_s > last.at_s),
  ].map(({ at_s, value }) => ({ at_s: rounded(at_s), value: Number(value.toFixed(2)) }));
}

/** Milliseconds are enough. @param {number} at_s */
export function rounded(at_s) {
  return Number(at_s.toFixed(3));
}

/**
 * A lane as the player takes it: frames of a stretch and values, mutes as factors with their ramps.
 * @param {Point[]} points
 * @param {number} from_s where the stretch begins
 * @param {number} rate in Hz
 * @param {boolean} isMute
 * @returns {[number, number][]}
 */
export function framesOf(points, from_s, rate, isMute) {
  // The same frames as in the mix: seconds are rounded to frames of the song.
  const first = Math.round(from_s * rate);
  const frame = (/** @type {number} */ at_s) => Math.round(at_s * rate) - first;
  if (!isMute) return points.map(({ at_s, value }) => [frame(at_s), value]);
  const ramp = Math.round(RAMP_S * rate);
  /** @type {[number, number][]} */
  const found = [];
  for (const { at_s, value } of points) {
    const at = frame(at_s),
      heard = value >= 0.5 ? 0 : 1;
    if (found.length && found[found.length - 1][0] === at) found.pop();
    const before = found[found.length - 1] || [at, heard];
    if (before[1] !== heard) found.push([Math.max(before[0], at - ramp), before[1]]);
    found.push([at, heard]);
  }
  return found;
}

/** A mute takes so long, and is done where it is written (`engine.lanes.RAMP_S`). */
const RAMP_S = 0.02;
