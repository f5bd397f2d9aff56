// SPDX-License-Identifier: Apache-2.0
// What can be heard: the mix in each of its states, the rough mix, prints, references; a stretch of each with its
// loudness.

import { ask } from "../api.js";
import { readMoves } from "../moves/read.js";
import { current } from "../store.js";
import { partOfWav, wholeWav } from "./wav.js";

/**
 * @typedef {{integrated_lufs: number | null, true_peak_dbtp: number | null}} Levels
 * @typedef {{id: string, name: string, beside: Record<string, number>}} Source
 * @typedef {{from: number, to: number, name: string}} Stretch in seconds; `name`: of the section, or ""
 * @typedef {import("./live.js").LivePart} LivePart
 * @typedef {{channels: Float32Array<ArrayBuffer>[], levels: Levels, parts: LivePart[]}} Loaded
 */

/** @type {Source[]} */
let files = [];

/** Ask what files there are. */
export async function readSources() {
  files = (await ask("api/audio")).result.filter((/** @type {Source} */ one) => one.id !== "mix");
}

/** @returns {Source[]} in the order in which one would compare */
export function sources() {
  const plain = (/** @type {string} */ id, /** @type {string} */ name) => ({ id, name, beside: {} });
  const counts = current().song?.moves || {};
  return [
    plain("mix", "mix"),
    ...(counts.proposed ? [plain("plan", "plan")] : []),
    ...(counts.accepted ? [plain("unmoved", "mix without moves")] : []),
    ...files,
  ];
}

/** @param {string} id @returns {string} */
export function nameOf(id) {
  const [kind, rest] = cut(id);
  if (kind === "without" || kind === "try") return kind === "try" ? "this move as it is set" : "mix without this move";
  if (kind === "with") return "mix with this move";
  if (kind === "layers") {
    const rows = current().song?.rows || [];
    const names = rest
      .split(",")
      .map((one) => rows.find((row) => row.id === one || row.tracks.join() === one)?.name || one);
    return `${names.join(", ")} alone`;
  }
  return sources().find((one) => one.id === id)?.name || id;
}

/**
 * What an excerpt is asked for with; null for a file.
 * @param {string} id
 * @returns {string | null}
 */
export function excerptQuery(id) {
  const [kind, rest] = cut(id);
  const moves = current().moves || [];
  const these = (/** @type {(move: import("../types.js").ViewedMove) => boolean} */ wanted) => {
    const found = moves.filter(wanted).map((move) => `&move=${encodeURIComponent(move.id)}`);
    return found.length ? found.join("") : "&move=";
  };
  if (id === "mix") return "";
  if (id === "plan") return these((move) => move.state !== "refused");
  if (id === "unmoved") return "&move=";
  if (kind === "without" || kind === "try") return these((move) => move.state === "accepted" && move.id !== rest);
  if (kind === "with") return these((move) => move.state === "accepted" || move.id === rest);
  if (kind === "layers")
    return rest
      .split(",")
      .map((one) => `&track=${encodeURIComponent(one)}`)
      .join("");
  return null;
}

/**
 * Where a stretch of the song lies in a source.
 * @param {string} id
 * @param {Stretch} stretch
 * @returns {[number, number]}
 */
export function placeIn(id, stretch) {
  const start = sources().find((one) => one.id === id)?.beside[stretch.name] ?? stretch.from;
  return [start, start + stretch.to - stretch.from];
}

/**
 * @param {string} id
 * @param {Stretch} stretch
 * @param {number} rate in Hz
 * @param {AbortSignal} signal
 * @returns {Promise<Loaded>}
 */
export async function load(id, stretch, rate, signal) {
  if (/^(plan|with|without|try)(\/|$)/.test(id)) await readMoves();
  const query = excerptQuery(id);
  const [from, to] = placeIn(id, stretch);
  const times = `start_s=${from.toFixed(4)}&end_s=${to.toFixed(4)}`;
  if (query !== null) {
    const channels = await wholeWav(`api/excerpt?${times}${query}`, signal);
    const parts = id.startsWith("try/") ? await tried(id.slice(4), times, signal) : [];
    return { channels, levels: (await ask(`api/loudness?${times}${query}`, { signal })).result, parts };
  }
  const channels = await partOfWav(`api/audio/${id}`, Math.round(from * rate), Math.round(to * rate), signal);
  return {
    channels,
    levels: (await ask(`api/loudness?of=${encodeURIComponent(id)}&${times}`, { signal })).result,
    parts: [],
  };
}

/**
 * What a move is made on, as it is before it.
 * @param {string} id
 * @param {string} times
 * @param {AbortSignal} signal
 * @returns {Promise<LivePart[]>}
 */
async function tried(id, times, signal) {
  const query = `move=${encodeURIComponent(id)}&${times}`;
  /** @type {{chain: import("../chain.js").List, keys: number, matrix: LivePart["matrix"]}[]} */
  const told = (await ask(`api/try?${query}`, { signal })).result.parts;
  return Promise.all(
    told.map(async ({ chain, keys, matrix }, k) => {
      const one = (/** @type {string} */ more) => wholeWav(`api/try/audio?${query}&part=${k}${more}`, signal);
      const heard = await Promise.all(Array.from({ length: keys }, (_, j) => one(`&listens=${j}`)));
      return { audio: await one(""), keys: heard, matrix, list: chain };
    }),
  );
}

/** @param {string} id @returns {[string, string]} */
function cut(id) {
  const at = id.indexOf("/");
  return at < 0 ? [id, ""] : [id.slice(0, at), id.slice(at + 1)];
}
