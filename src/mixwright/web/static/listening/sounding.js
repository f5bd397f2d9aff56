// SPDX-License-Identifier: Apache-2.0
// What sounds: versions of one stretch that run side by side, one of them heard, through what is listened for.
// No clock, no page: frames in, frames out, so that it is the same in a test as under the ear.

import { Chain, Core } from "../chain.js";
import { Live } from "./live.js";

/**
 * @typedef {{first: number, channels: Float32Array[]}} Piece of a version, from a frame of the stretch on
 * @typedef {import("../chain.js").List} List
 * @typedef {"stereo" | "left" | "right" | "mid" | "side" | "mono"} Side
 * @typedef {{band: List | null, side: Side}} Through
 * @typedef {import("./live.js").TriedPart} TriedPart
 * @typedef {{pieces: Piece[], gain: number, live: Live | null, windowed: boolean}} Version `windowed`: its pieces come
 *   and go
 */

/** Versions are exchanged in so long, in seconds; so are bands and sides, but when they are left. */
const SWITCH_S = 0.01,
  LEAVE_S = 0.6,
  LEVEL_S = 0.05;
/** The core is given so many frames at once. */
const QUANTUM = 128;
/** What a version has where it has nothing. */
const SILENT = [new Float32Array(0)];

/** What each side is made of: left and right of what is heard, of left and right. */
export const SIDES = /** @type {Record<Side, [number, number, number, number]>} */ ({
  stereo: [1, 0, 0, 1],
  left: [1, 0, 0, 0],
  right: [0, 0, 0, 1],
  mid: [0.5, 0.5, 0.5, 0.5],
  side: [0.5, -0.5, -0.5, 0.5],
  // One loudspeaker for both: the power of what differs on the two sides is kept.
  mono: [Math.SQRT1_2, Math.SQRT1_2, Math.SQRT1_2, Math.SQRT1_2],
});

/** A band and a side, with the state of its filters. */
class Path {
  /** @param {Through} through @param {WebAssembly.Module | null} module */
  constructor({ band, side }, module) {
    this.chain = band && module ? new Chain(new Core(module), band) : null;
    this.matrix = SIDES[side];
    this.share = 0;
    this.made = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
  }

  /**
   * @param {Float32Array[]} audio
   * @param {Float32Array[]} out added to
   * @param {number} step of the share, a frame
   * @param {number} frames
   */
  add(audio, out, step, frames) {
    let [left, right] = audio;
    if (this.chain) {
      this.chain.process(audio, [], this.made);
      [left, right] = this.made;
    }
    const [ll, lr, rl, rr] = this.matrix;
    for (let i = 0; i < frames; i++) {
      this.share = Math.min(1, Math.max(0, this.share + step));
      out[0][i] += this.share * (ll * left[i] + lr * right[i]);
      out[1][i] += this.share * (rl * left[i] + rr * right[i]);
    }
  }
}

export class Sounding {
  /**
   * @param {number} rate in Hz
   * @param {WebAssembly.Module | null} module the core; without it there are no bands and nothing is tried out
   */
  constructor(rate, module) {
    this.rate = rate;
    this.module = module;
    /** @type {Map<string, Version>} */
    this.versions = new Map();
    /** @type {{name: string, share: number}[]} what is heard last, and what still fades before it */
    this.heard = [];
    this.at = 0;
    this.loop = /** @type {[number, number]} */ ([0, 0]);
    this.playing = false;
    this.looped = false;
    this.level = 1;
    this.wanted = 1;
    this.faulty = "";
    /** How many changes of settings were heard. */
    this.changes = 0;
    this.paths = [new Path({ band: null, side: "stereo" }, module)];
    this.paths[0].share = 1;
    this.leaving = SWITCH_S;
    this.room = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
    this.one = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
  }

  /**
   * Give a version of the stretch, or its samples anew.
   * @param {string} name
   * @param {Float32Array[]} channels one or two; none: its samples come in windows
   * @param {number} gain that brings it to the loudness of the session
   * @param {TriedPart[]} [parts] layers of it that can be tried out
   */
  give(name, channels, gain, parts = []) {
    const live = parts.length && this.module ? new Live(this.rate, this.module, parts) : null;
    const windowed = !channels.length;
    this.versions.set(name, { pieces: windowed ? [] : [{ first: 0, channels }], gain, live, windowed });
  }

  /**
   * Give a window of a version.
   * @param {string} name
   * @param {number} first frame
   * @param {Float32Array[]} channels
   * @param {number[]} keep first frames of the windows that stay; all others go
   */
  window(name, first, channels, keep) {
    const version = this.versions.get(name);
    if (version) version.pieces = [...version.pieces.filter((one) => keep.includes(one.first)), { first, channels }];
  }

  /** @param {string} name */
  drop(name) {
    this.versions.delete(name);
    this.heard = this.heard.filter((one) => one.name !== name);
  }

  /**
   * Hear a version from the next frame on; what sounded fades out under it.
   * @param {string} name
   */
  turn(name) {
    if (!this.versions.has(name) || this.heard.at(-1)?.name === name) return;
    const before = this.playing ? this.heard : [];
    const again = before.find((one) => one.name === name);
    this.versions.get(name)?.live?.start(this.at);
    this.heard = [...before.filter((one) => one !== again), again || { name, share: before.length ? 0 : 1 }];
  }

  /**
   * @param {number} first frame
   * @param {number} end frame
   * @param {number} [at]
   */
  play(first, end, at = first) {
    const last = Math.max(first + 1, end);
    this.loop = /** @type {[number, number]} */ ([first, last]);
    this.at = Math.min(Math.max(at, first), last - 1);
    this.playing = true;
    this.looped = false;
    this.level = this.wanted;
    this.faulty = "";
    for (const one of this.heard) this.versions.get(one.name)?.live?.start(this.at);
  }

  pause() {
    this.playing = false;
  }

  /**
   * Listen through a band and a side; from one to the whole it goes slowly, for the whole is louder.
   * @param {Through} through
   */
  through(through) {
    const isWhole = !through.band && through.side === "stereo";
    this.leaving = isWhole ? LEAVE_S : SWITCH_S;
    this.paths = [...this.paths.filter((one) => one.share > 0), new Path(through, this.module)];
  }

  /**
   * Fill up to 128 frames.
   * @param {Float32Array[]} out two channels
   */
  process(out) {
    const frames = out[0].length;
    out[0].fill(0);
    out[1].fill(0);
    if (!this.playing || this.faulty || !this.heard.length || !this.ready(frames)) return;
    for (const side of this.room) side.fill(0);
    this.mix(frames);
    const step = 1 / (this.leaving * this.rate);
    this.paths.forEach((path, k) => path.add(this.room, out, k === this.paths.length - 1 ? step : -step, frames));
    if (this.paths.length > 1)
      this.paths = this.paths.filter((path, k) => path.share > 0 || k === this.paths.length - 1);
    const slope = Math.exp(Math.log(10) / (LEVEL_S * this.rate));
    for (let i = 0; i < frames; i++) {
      if (this.level < this.wanted) this.level = Math.min(this.wanted, this.level * slope);
      else if (this.level > this.wanted) this.level = Math.max(this.wanted, this.level / slope);
      out[0][i] *= this.level;
      out[1][i] *= this.level;
    }
    this.guard(out);
    this.go(frames);
  }

  /** Whether all that is heard is there; until it is, time stands still. @param {number} frames */
  ready(frames) {
    const [first, end] = this.loop,
      last = this.at + frames - 1;
    return this.heard.every(({ name }) => {
      const version = this.versions.get(name);
      if (!version?.windowed) return true;
      return [this.at, last < end ? last : first + ((last - first) % (end - first))].every((at) =>
        version.pieces.some((one) => holds(one, at)),
      );
    });
  }

  /** Add what is heard, each at its share. @param {number} frames */
  mix(frames) {
    const step = 1 / (SWITCH_S * this.rate),
      last = this.heard.length - 1;
    this.heard.forEach((one, k) => {
      const version = this.versions.get(one.name);
      if (!version) return;
      this.read(version, frames);
      for (let i = 0; i < frames; i++) {
        one.share = k === last ? Math.min(1, one.share + step) : Math.max(0, one.share - step);
        const gain = one.share * version.gain * this.edge(i);
        this.room[0][i] += gain * this.one[0][i];
        this.room[1][i] += gain * this.one[1][i];
      }
    });
    if (last > 0) this.heard = this.heard.filter((one, k) => one.share > 0 || k === last);
  }

  /**
   * Read a version where the stretch is, round its end to its start.
   * @param {Version} version
   * @param {number} frames
   */
  read({ pieces, live }, frames) {
    const [first, end] = this.loop;
    let at = this.at;
    for (let i = 0; i < frames;) {
      const piece = pieces.find((one) => holds(one, at));
      const [left, right = left] = piece?.channels || SILENT,
        from = piece?.first || 0;
      const stop = piece ? Math.min(end, from + left.length) : end;
      for (; i < frames && at < stop; i++, at++) {
        this.one[0][i] = left[at - from] ?? 0;
        this.one[1][i] = right[at - from] ?? 0;
      }
      if (at >= end) at = first;
    }
    if (live?.add(this.at, this.loop, this.one, frames)) this.changes += 1;
  }

  /** A stretch that begins anew does so without a click: its ends fade. @param {number} i frames from here */
  edge(i) {
    const [first, end] = this.loop,
      long = end - first;
    const at = (this.at - first + i) % long,
      fade = Math.min(0.005 * this.rate, long / 4);
    if (!this.looped && at < fade) return 1;
    return Math.min(1, at / fade, (long - at) / fade);
  }

  /** @param {number} frames */
  go(frames) {
    const [first, end] = this.loop;
    this.at += frames;
    if (this.at >= end) {
      this.at = first + ((this.at - first) % (end - first));
      this.looped = true;
    }
  }

  /** Nothing that is no number, or beyond full scale, leaves here. @param {Float32Array[]} out */
  guard(out) {
    for (const side of out) {
      for (const value of side) {
        if (value >= -1 && value <= 1) continue;
        this.faulty = Number.isFinite(value) ? "overload" : "no number";
        this.playing = false;
        out[0].fill(0);
        out[1].fill(0);
        return;
      }
    }
  }
}

/** @param {Piece} piece @param {number} at */
function holds({ first, channels }, at) {
  return at >= first && at < first + channels[0].length;
}
