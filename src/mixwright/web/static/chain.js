// SPDX-License-Identifier: Apache-2.0
// Chains of the core in a page: the same operation list as in Python (`engine.chain.Chain.listed`), run by the same
// C.
//
// In an AudioWorklet this file registers "mixwright-chain". Its options: `module`, the compiled core
// (WebAssembly.Module),
// and `list`. Input 0 is the audio, each further one a key; a message `{list}` runs another list from silence on.

/**
 * @typedef {{
 * rows: number[], coefficients: number[], states: number, channels: number, keys: number, keys_late_frames:
 * number[],
 *   gains: number,
 *   latency_frames: number,
 * }} List
 * @typedef {ArrayLike<number>[]} Channels planar
 * @typedef {Int32ArrayConstructor | Float32ArrayConstructor | Float64ArrayConstructor} Numbers
 */

const ROW = 9; // int32 a row, as in csrc/chain.c
const PAGE = 65536;

/** The core, and memory of ours behind its own. */
export class Core {
  /** @param {WebAssembly.Module} module */
  constructor(module) {
    this.exports = /** @type {any} */ (new WebAssembly.Instance(module, {}).exports);
    /** @type {number} */
    this.own = this.exports.memory.buffer.byteLength;
    this.free = this.own;
  }

  /**
   * Return the address of so many bytes of zeros, good for any number type.
   * @param {number} bytes
   */
  room(bytes) {
    const at = (this.free + 15) & ~15;
    const missing = at + bytes - this.exports.memory.buffer.byteLength;
    if (missing > 0) this.exports.memory.grow(Math.ceil(missing / PAGE));
    this.free = at + bytes;
    return at;
  }

  /** Take all room back; what was made of it is not to be used again. */
  clear() {
    new Uint8Array(this.exports.memory.buffer, this.own, this.free - this.own).fill(0);
    this.free = this.own;
  }

  /**
   * Return an array of numbers in the memory of the core; good until room is asked for again.
   * @template {Numbers} T
   * @param {T} Type
   * @param {number} at
   * @param {number} length
   * @returns {InstanceType<T>}
   */
  view(Type, at, length) {
    return /** @type {InstanceType<T>} */ (new Type(this.exports.memory.buffer, at, length));
  }
}

/** A chain with its state, for blocks of at most `most` frames. */
export class Chain {
  /**
   * @param {Core} core
   * @param {List} list
   * @param {number} [most]
   */
  constructor(core, list, most = 128) {
    const rows = list.rows.length / ROW;
    const put = (/** @type {Numbers} */ Type, /** @type {number[]} */ values) => {
      const at = core.room(Math.max(1, values.length) * Type.BYTES_PER_ELEMENT);
      core.view(Type, at, values.length).set(values);
      return at;
    };
    const state = core.room(8 * list.states);
    this.core = core;
    this.channels = list.channels;
    this.keys = list.keys;
    this.latency = list.latency_frames;
    this.late = list.keys_late_frames;
    this.list = put(Int32Array, [
      put(Int32Array, list.rows),
      rows,
      put(Float64Array, list.coefficients),
      state,
      list.channels,
      list.keys,
      list.gains,
      0,
    ]);
    this.keysAt = list.keys ? core.room(8 * most * list.keys) : 0;
    this.gainsAt = list.gains ? core.room(4 * most * list.gains) : 0;
    this.in = core.room(4 * most * list.channels);
    this.out = core.room(4 * most * list.channels);
  }

  /**
   * Run it over planar channels of one length; a channel that is missing is silent. Keys: one or two channels each.
   * @param {Channels} input
   * @param {Channels[]} keys
   * @param {Float32Array[]} output
   */
  process(input, keys, output) {
    const frames = output[0].length,
      { core, channels } = this;
    const audio = core.view(Float32Array, this.in, frames * channels);
    for (let c = 0; c < channels; c++) {
      const from = input[c];
      for (let i = 0; i < frames; i++) audio[i * channels + c] = from ? from[i] : 0;
    }
    if (this.keys) {
      const all = core.view(Float32Array, this.keysAt, frames * this.keys * 2);
      for (let k = 0; k < this.keys; k++) {
        const [left, right = left] = keys[k] ?? [];
        for (let i = 0; i < frames; i++) {
          const at = 2 * (i * this.keys + k);
          all[at] = left ? left[i] : 0;
          all[at + 1] = right ? right[i] : 0;
        }
      }
    }
    core.exports.mw_chain_float(this.list, this.keysAt, this.gainsAt, 0, 0, this.in, this.out, BigInt(frames));
    const made = core.view(Float32Array, this.out, frames * channels);
    for (let c = 0; c < output.length; c++) {
      for (let i = 0; i < frames; i++) output[c][i] = made[i * channels + Math.min(c, channels - 1)];
    }
  }
}

if ("registerProcessor" in globalThis) {
  registerProcessor(
    "mixwright-chain",
    class extends AudioWorkletProcessor {
      /** @param {{processorOptions: {module: WebAssembly.Module, list: List}}} options */
      constructor({ processorOptions: { module, list } }) {
        super();
        this.chain = new Chain(new Core(module), list);
        this.port.onmessage = ({ data }) => {
          this.chain = new Chain(new Core(module), data.list);
        };
      }

      /**
       * @param {Float32Array[][]} inputs
       * @param {Float32Array[][]} outputs
       */
      process([input, ...keys], [output]) {
        this.chain.process(input, keys, output);
        return true;
      }
    },
  );
}
