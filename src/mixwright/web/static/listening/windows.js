// SPDX-License-Identifier: Apache-2.0
// A long stretch of a file in windows: what sounds now is held, and what comes next, however long the song is.

import { partOfWav, wavHead } from "./wav.js";

/** So long is a window, in seconds, and so long nothing is asked for again after it failed. */
const WINDOW_S = 10,
  AGAIN_MS = 2000;

/**
 * @callback Give
 * @param {number} first frame of the window in the stretch
 * @param {Float32Array<ArrayBuffer>[]} channels
 * @param {number[]} keep first frames of the windows that are still of use
 */

export class Windows {
  /**
   * @param {string} url
   * @param {number} start frame of the file at which the stretch begins
   * @param {number} frames of the stretch
   * @param {number} rate in Hz
   */
  constructor(url, start, frames, rate) {
    this.url = url;
    this.start = start;
    this.frames = frames;
    this.long = Math.round(WINDOW_S * rate);
    /** Numbers of the windows that are held or on their way. @type {number[]} */
    this.held = [];
    /** @type {import("./wav.js").Head | null} */
    this.head = null;
    this.notBefore = 0;
  }

  /**
   * Have what sounds at a frame of the stretch, and what comes after it.
   * @param {number} frame
   * @param {Give} give
   * @param {AbortSignal} [signal]
   */
  async at(frame, give, signal) {
    if (performance.now() < this.notBefore) return;
    const count = Math.ceil(this.frames / this.long),
      here = Math.min(Math.floor(frame / this.long), count - 1);
    const wanted = [...new Set([here, (here + 1) % count])];
    const missing = wanted.filter((one) => !this.held.includes(one));
    this.held = wanted;
    try {
      for (const one of missing) {
        const channels = await this.read(one, signal);
        if (this.held.includes(one)) give(one * this.long, channels, this.firsts());
      }
    } catch (error) {
      this.held = this.held.filter((one) => !missing.includes(one));
      if (!signal?.aborted) this.notBefore = performance.now() + AGAIN_MS;
      throw error;
    }
  }

  firsts() {
    return this.held.map((one) => one * this.long);
  }

  /**
   * Read a window; after the end of the file it is silent.
   * @param {number} number
   * @param {AbortSignal} [signal]
   */
  async read(number, signal) {
    const head = (this.head ||= await wavHead(this.url, signal));
    const first = number * this.long,
      end = Math.min(first + this.long, this.frames);
    const [from, to] = [first, end].map((frame) => Math.min(this.start + frame, head.frames));
    const found = from < to ? await partOfWav(this.url, from, to, signal, head) : [];
    return Array.from({ length: head.channels }, (_, c) => {
      if (found[c]?.length === end - first) return found[c];
      const side = new Float32Array(end - first);
      if (found[c]) side.set(found[c]);
      return side;
    });
  }
}
