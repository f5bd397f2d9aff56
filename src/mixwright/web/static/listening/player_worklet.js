// SPDX-License-Identifier: Apache-2.0
// The player in the AudioWorklet: messages in, sound out, and where it is.

import { Sounding } from "./sounding.js";

/** Where it is, is told this often, in seconds. */
const TELL_S = 0.05;

registerProcessor(
  "mixwright-player",
  class extends AudioWorkletProcessor {
    /** @param {{processorOptions: {module: WebAssembly.Module | null}}} options */
    constructor({ processorOptions: { module } }) {
      super();
      this.sounding = new Sounding(sampleRate, module);
      this.told = 0;
      this.start = 0;
      this.port.onmessage = ({ data }) => this.take(data);
    }

    /** @param {any} data one of the fields: what to do; its value: with what */
    take(data) {
      const sounding = this.sounding;
      if (data.give) sounding.give(data.give.name, data.give.channels, data.give.gain, data.give.parts);
      if (data.window) sounding.window(data.window.name, data.window.first, data.window.channels, data.window.keep);
      if (data.drop !== undefined) sounding.drop(data.drop);
      if (data.level !== undefined) sounding.wanted = data.level;
      if (data.through) sounding.through(data.through);
      if (data.turn !== undefined) sounding.turn(data.turn);
      if (data.play) {
        sounding.play(data.play.first, data.play.end, data.play.at);
        this.start = data.play.start;
      }
      if (data.change) sounding.versions.get(data.change.name)?.live?.change(data.change.lists, sounding.at);
      if (data.draw) sounding.versions.get(data.draw.name)?.live?.draw(data.draw.lane);
      if (data.ride) {
        sounding.versions.get(data.ride.name)?.live?.ride(data.ride.db);
        this.port.postMessage({ rode: { frame: sounding.at, db: data.ride.db } });
      }
      if (data.pause) sounding.pause();
    }

    /**
     * @param {Float32Array[][]} _
     * @param {Float32Array[][]} outputs
     */
    process(_, [out]) {
      const sounding = this.sounding,
        { playing: was, changes } = sounding;
      sounding.process(out);
      if (sounding.changes !== changes) this.port.postMessage({ changed: currentFrame });
      this.told += out[0].length;
      if (sounding.faulty && was) this.port.postMessage({ faulty: sounding.faulty });
      if (sounding.playing && this.told >= TELL_S * sampleRate) {
        this.told = 0;
        this.port.postMessage({ at: sounding.at, start: this.start });
      }
      return true;
    }
  },
);
