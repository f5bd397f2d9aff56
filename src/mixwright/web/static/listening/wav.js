// SPDX-License-Identifier: Apache-2.0
// Stretches of WAV files of 32-bit float samples, by ranges: no more is fetched than is heard.

import { Refused } from "../api.js";

/** @typedef {{rate: number, channels: number, at: number, frames: number}} Head */

/** A head is looked for in so many bytes. */
const HEAD_BYTES = 256;

/**
 * Read the head of a file.
 * @param {DataView} view
 * @returns {Head}
 */
export function headOf(view) {
  const name = (/** @type {number} */ at) => String.fromCharCode(...[0, 1, 2, 3].map((k) => view.getUint8(at + k)));
  let rate = 0,
    channels = 0,
    frames = 0;
  for (let at = 12; at + 8 <= view.byteLength;) {
    const kind = name(at),
      size = view.getUint32(at + 4, true);
    if (kind === "fmt ") {
      channels = view.getUint16(at + 10, true);
      rate = view.getUint32(at + 12, true);
    } else if (kind === "ds64") frames = Number(view.getBigUint64(at + 24, true));
    else if (kind === "data") return { rate, channels, at: at + 8, frames: frames || size / (4 * channels) };
    at += 8 + size + (size % 2);
  }
  throw new Error("this is no WAV file");
}

/**
 * Read samples into one array a channel.
 * @param {ArrayBuffer} bytes interleaved
 * @param {number} at where they begin
 * @param {number} channels
 * @returns {Float32Array<ArrayBuffer>[]}
 */
export function planar(bytes, at, channels) {
  const frames = Math.floor((bytes.byteLength - at) / (4 * channels));
  const all = at % 4 ? new Float32Array(bytes.slice(at)) : new Float32Array(bytes, at, frames * channels);
  return Array.from({ length: channels }, (_, c) => {
    const one = new Float32Array(frames);
    for (let i = 0; i < frames; i++) one[i] = all[i * channels + c];
    return one;
  });
}

/**
 * Fetch a whole file.
 * @param {string} url
 * @param {AbortSignal} signal
 */
export async function wholeWav(url, signal) {
  const bytes = await (await got(url, { signal })).arrayBuffer();
  const { at, channels } = headOf(new DataView(bytes));
  return planar(bytes, at, channels);
}

/**
 * Fetch what lies between two frames, silence after the end.
 * @param {string} url
 * @param {number} first
 * @param {number} end
 * @param {AbortSignal} [signal]
 * @param {Head} [head] where it was read before
 */
export async function partOfWav(url, first, end, signal, head) {
  const { at, channels, frames } = head || (await wavHead(url, signal));
  const [from, to] = [first, Math.min(end, frames)].map((frame) => at + 4 * channels * frame);
  if (from >= to)
    throw new Refused(
      { kind: "input", message: "it ends before this stretch", where: null, hint: "choose an earlier one" },
      416,
    );
  const answer = await got(url, { signal, headers: { Range: `bytes=${from}-${to - 1}` } });
  return planar(await answer.arrayBuffer(), 0, channels);
}

/**
 * @param {string} url
 * @param {AbortSignal} [signal]
 */
export async function wavHead(url, signal) {
  const answer = await got(url, { signal, headers: { Range: `bytes=0-${HEAD_BYTES - 1}` } });
  return headOf(new DataView(await answer.arrayBuffer()));
}

/** @param {string} url @param {RequestInit} settings */
async function got(url, settings) {
  const answer = await fetch(url, settings);
  if (!answer.ok) throw new Refused((await answer.json()).error, answer.status);
  return answer;
}
