// SPDX-License-Identifier: Apache-2.0
// What is tried out: what layers would be with a move or along a lane, less what they are, added to the mix without.

import { Chain, Core } from "../chain.js";
import { Ridden } from "./ridden.js";

/**
 * @typedef {import("../chain.js").List} List
 * @typedef {object} LivePart a layer, as it is before the move
 * @property {Float32Array[]} audio one or two channels
 * @property {Float32Array[][]} keys what the move listens to, each one or two channels
 * @property {[number, number, number, number]} matrix from the left and right of the layer to those of the mix, by
 * output
 * @property {List} list what the move does
 */

/** A changed setting is taken over in so long; its filters have heard so much before, in seconds. */
const CHANGE_S = 0.01,
  WARM_S = 0.15;
const QUANTUM = 128;

/** @typedef {LivePart | import("./ridden.js").RiddenPart} TriedPart */

/** One layer with its chain, and the one before while that fades. */
class Layer {
  /** @param {LivePart} part @param {WebAssembly.Module} module */
  constructor(part, module) {
    this.part = part;
    this.cores = [new Core(module), new Core(module)];
    this.list = part.list;
    this.chain = new Chain(this.cores[0], part.list);
    /** @type {Chain | null} */
    this.old = null;
    this.share = 1;
    this.in = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
    this.was = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
    this.made = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
    this.before = [new Float32Array(QUANTUM), new Float32Array(QUANTUM)];
    this.keys = part.keys.map(() => [new Float32Array(QUANTUM), new Float32Array(QUANTUM)]);
  }

  /**
   * Begin at a frame, as if what lies before it had been heard.
   * @param {number} at
   * @param {number} frames
   * @param {List} [list] other settings
   */
  start(at, frames, list = this.list) {
    this.chain = this.anew(list);
    this.old = null;
    this.share = 1;
    this.warm(this.chain, at, frames);
  }

  /** @param {List} list @param {number} at @param {number} frames */
  change(list, at, frames) {
    const before = this.chain;
    this.chain = this.anew(list);
    this.warm(this.chain, at, frames);
    this.old = before;
    this.share = 0;
  }

  /** Make the chain of a list anew, in the room that is free. @param {List} list */
  anew(list) {
    const core = this.chain.core === this.cores[0] ? this.cores[1] : this.cores[0];
    core.clear();
    this.list = list;
    return new Chain(core, list);
  }

  /** Have a chain hear what lies before a frame. @param {Chain} chain @param {number} at @param {number} frames */
  warm(chain, at, frames) {
    for (let from = Math.max(0, at - frames) - chain.latency; from < at; from += QUANTUM) {
      const many = Math.min(QUANTUM, at - from);
      this.read(chain, from, [0, Infinity], many);
      chain.process(
        this.in.map((one) => one.subarray(0, many)),
        this.keys,
        this.made.map((one) => one.subarray(0, many)),
      );
    }
  }

  /**
   * What goes into a chain so that it comes out at a frame; keys are heard with it.
   * @param {Chain} chain
   * @param {number} at
   * @param {[number, number]} loop
   * @param {number} frames
   */
  read(chain, at, loop, frames) {
    copy(this.part.audio, this.in, at + chain.latency, loop, frames);
    this.part.keys.forEach((key, k) => copy(key, this.keys[k], at + chain.latency - chain.late[k], loop, frames));
  }

  /**
   * @param {number} at
   * @param {[number, number]} loop
   * @param {Float32Array[]} out
   * @param {number} frames
   * @param {number} step
   */
  add(at, loop, out, frames, step) {
    copy(this.part.audio, this.was, at, loop, frames);
    this.read(this.chain, at, loop, frames);
    this.chain.process(this.in, this.keys, this.made);
    if (this.old) {
      this.read(this.old, at, loop, frames);
      this.old.process(this.in, this.keys, this.before);
    }
    const [ll, lr, rl, rr] = this.part.matrix;
    for (let i = 0; i < frames; i++) {
      this.share = Math.min(1, this.share + step);
      const [left, right] = [0, 1].map((c) => {
        const now = this.made[c][i];
        return (this.old ? this.before[c][i] + this.share * (now - this.before[c][i]) : now) - this.was[c][i];
      });
      out[0][i] += ll * left + lr * right;
      out[1][i] += rl * left + rr * right;
    }
    if (this.share === 1) this.old = null;
  }
}

export class Live {
  /** @param {number} rate in Hz @param {WebAssembly.Module} module @param {TriedPart[]} parts */
  constructor(rate, module, parts) {
    this.rate = rate;
    this.warm = Math.round(WARM_S * rate);
    this.layers = parts.map((part) => ("lane" in part ? new Ridden(rate, part) : new Layer(part, module)));
    /** Settings that wait until the ones before are taken over. @type {List[] | null} */
    this.waiting = null;
    /** They were just taken over, and nobody has heard them yet. */
    this.fresh = false;
  }

  /** Begin at a frame, as if what lies before it had been heard. @param {number} at */
  start(at) {
    this.layers.forEach((layer, k) => layer.start(at, this.warm, this.waiting?.[k]));
    this.waiting = null;
  }

  /**
   * Take other settings over, once those before are; of several that wait the last.
   * @param {List[]} lists one a layer
   * @param {number} at the frame that comes next
   */
  change(lists, at) {
    this.waiting = lists;
    if (this.layers.some((layer) => layer instanceof Layer && layer.old)) return;
    this.waiting = null;
    this.fresh = true;
    this.layers.forEach((layer, k) => {
      if (layer instanceof Layer) layer.change(lists[k], at, this.warm);
    });
  }

  /** Follow another line. @param {import("./ridden.js").Drawn} lane */
  draw(lane) {
    this.fresh = true;
    for (const layer of this.layers) if (layer instanceof Ridden) layer.draw(lane);
  }

  /** Have it at one level, or along its lane again. @param {number | null} db */
  ride(db) {
    this.fresh = true;
    for (const layer of this.layers) if (layer instanceof Ridden) layer.ride(db);
  }

  /**
   * Add what the move changes.
   * @param {number} at the frame of the first of them
   * @param {[number, number]} loop
   * @param {Float32Array[]} out
   * @param {number} frames
   * @returns {boolean} whether these are the first with other settings
   */
  add(at, loop, out, frames) {
    const step = 1 / (CHANGE_S * this.rate);
    if (this.waiting) this.change(this.waiting, at);
    for (const layer of this.layers) layer.add(at, loop, out, frames, step);
    const first = this.fresh;
    this.fresh = false;
    return first;
  }
}

/**
 * Copy a stretch, round the end of a loop to its start; a single channel is both.
 * @param {Float32Array[]} from
 * @param {Float32Array[]} to
 * @param {number} at
 * @param {[number, number]} loop
 * @param {number} frames
 */
function copy(from, to, at, [first, end], frames) {
  const [left, right = left] = from;
  for (let i = 0; i < frames; i++) {
    const here = at + i < end ? at + i : first + ((at + i - first) % (end - first));
    to[0][i] = left[here] ?? 0;
    to[1][i] = right[here] ?? 0;
  }
}
