// SPDX-License-Identifier: Apache-2.0
// A layer along a lane that is drawn, or at a level that is ridden: what it is then, less what it is without.

/**
 * @typedef {[number, number][]} Drawn frames and values: dB, or factors of a mute
 * @typedef {object} RiddenPart a layer as it is without the lane
 * @property {Float32Array[]} audio one or two channels
 * @property {Drawn} kept the lane as it is in the mix, whose loudness counts
 * @property {Drawn} lane as it is to be heard
 * @property {boolean} isMute
 */

/** Another line, or another level, is taken over in so long, in seconds. */
const CHANGE_S = 0.01;
/** No level is heard further above the kept one, in dB: with that one the loudness was matched. The bound is ours. */
const MOST_DB = 6;

export class Ridden {
  /** @param {number} rate in Hz @param {RiddenPart} part */
  constructor(rate, { audio, kept, lane, isMute }) {
    this.audio = audio;
    this.isMute = isMute;
    this.kept = kept;
    this.lane = lane;
    /** @type {number | null} */
    this.db = null;
    this.step = 1 / (CHANGE_S * rate);
    this.share = 1;
    this.held = 1;
    this.gain = 1;
  }

  start() {
    this.share = 1;
  }

  /** @param {Drawn} lane */
  draw(lane) {
    this.lane = lane;
    this.turn();
  }

  /** Have it at one level whatever the lane says, or along the lane again. @param {number | null} db */
  ride(db) {
    this.db = db;
    this.turn();
  }

  /** Go over from what it is at this moment to what was asked for. */
  turn() {
    this.held = this.gain;
    this.share = 0;
  }

  /**
   * @param {number} at the frame of the first of them
   * @param {[number, number]} loop
   * @param {Float32Array[]} out
   * @param {number} frames
   */
  add(at, [first, end], out, frames) {
    const [left, right = left] = this.audio;
    for (let i = 0; i < frames; i++) {
      const here = at + i < end ? at + i : first + ((at + i - first) % (end - first));
      this.share = Math.min(1, this.share + this.step);
      const now = this.factor(here);
      this.gain = this.share < 1 ? this.held + this.share * (now - this.held) : now;
      out[0][i] += (this.gain - 1) * (left[here] ?? 0);
      out[1][i] += (this.gain - 1) * (right[here] ?? 0);
    }
  }

  /** @param {number} frame @returns {number} by which the layer is multiplied there */
  factor(frame) {
    if (this.isMute) return at(this.lane, frame, 1);
    return ratio(Math.min(this.db ?? at(this.lane, frame, 0), at(this.kept, frame, 0) + MOST_DB));
  }
}

/** @param {Drawn} lane @param {number} frame @param {number} usual */
function at(lane, frame, usual) {
  if (!lane.length) return usual;
  let low = 0,
    high = lane.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (lane[middle][0] <= frame) low = middle + 1;
    else high = middle;
  }
  if (low === 0) return lane[0][1];
  const [f0, v0] = lane[low - 1];
  if (low === lane.length) return v0;
  const [f1, v1] = lane[low];
  return v0 + ((v1 - v0) * (frame - f0)) / (f1 - f0);
}

/** @param {number} db */
function ratio(db) {
  return 10 ** (db / 20);
}
