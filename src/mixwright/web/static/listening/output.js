// SPDX-License-Identifier: Apache-2.0
// The player in its AudioWorklet: made by the first thing that is to be heard, told what to do, heard when it tells.

/** @type {AudioContext | null} */
let context = null;
/** @type {AudioWorkletNode | null} */
let node = null;
/** @type {Promise<void> | null} */
let opening = null;

/**
 * Have the player, and have it run.
 * @param {number} rate in Hz
 * @param {(data: any) => void} told what it tells
 * @returns {Promise<boolean>} whether it was made for this
 */
export async function opened(rate, told) {
  const isNew = !opening;
  try {
    await (opening ||= open(rate, told));
    await context?.resume();
    return isNew;
  } catch (error) {
    opening = null;
    throw error;
  }
}

/** @param {number} rate @param {(data: any) => void} told */
async function open(rate, told) {
  if (!globalThis.AudioWorkletNode)
    throw new Error("This browser has no AudioWorklet; open the page in a newer one to listen. All else works here.");
  context = new AudioContext({ sampleRate: rate, latencyHint: "interactive" });
  const [module] = await Promise.all([
    WebAssembly.compileStreaming(fetch("static/core.wasm")),
    context.audioWorklet.addModule("static/listening/player_worklet.js"),
  ]);
  node = new AudioWorkletNode(context, "mixwright-player", {
    numberOfInputs: 0,
    outputChannelCount: [2],
    processorOptions: { module },
  });
  node.port.onmessage = ({ data }) => told(data);
  node.connect(context.destination);
}

/**
 * Tell the player what to do; before it is there nothing happens.
 * @param {object} message
 * @param {Float32Array<ArrayBuffer>[]} [given] samples in it, which are the player's from then on
 */
export function tell(message, given = []) {
  node?.port.postMessage(
    message,
    given.map((one) => one.buffer),
  );
}

/** @returns {number} seconds that the output has run */
export function now() {
  return context?.currentTime || 0;
}

/** @returns {number} in Hz */
export function rate() {
  return context?.sampleRate || 1;
}
