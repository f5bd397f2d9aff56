// SPDX-License-Identifier: Apache-2.0
// What can be heard: the mix in each of its states, the rough mix, prints, references; a stretch of each with its
// loudness.

import { ask } from "../api.js";
import { framesOf } from "../lanes/points.js";
import { drawnPoints, keptPoints } from "../lanes/read.js";
import { readMoves } from "../moves/read.js";
import { current } from "../store.js";
import { partOfWav, wavHead, wholeWav } from "./wav.js";
import { Windows } from "./windows.js";

/**
 * @typedef {{integrated_lufs: number | null, true_peak_dbtp: number | null}} Levels
 * @typedef {{id: string, name: string, beside: Record<string, number>}} Source
 * @typedef {{from: number, to: number, name: string}} Stretch in seconds; `name`: of the section, or ""
 * @typedef {import("./live.js").LivePart} LivePart
 * @typedef {import("./live.js").TriedPart} TriedPart
 * @typedef {{
 *   channels: Float32Array<ArrayBuffer>[], levels: Levels, parts: TriedPart[], windows: Windows | null,
 * }} Loaded with `windows` no channels: what sounds is read as it is needed
 */

/** What is rendered as it is heard is no longer, in seconds; of files any length is heard, in windows. */
export const LONGEST_S = 60;

/** @param {Stretch} stretch */
export function isLonger({ from, to }) {
  return to > from + LONGEST_S;
}

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
  if (kind === "lane") return "mix with this lane as it is drawn";
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
  if (kind === "lane") return `&lane=${encodeURIComponent(rest)}`;
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
 * Why no more than a minute of some sources can be heard at once, "" where any length can.
 * @param {string[]} ids
 * @param {AbortSignal} signal
 */
export async function heldBack(ids, signal) {
  if (ids.some((id) => id !== "mix" && excerptQuery(id) !== null)) return "what is not rendered is heard in excerpts";
  if (!ids.includes("mix")) return "";
  const is = await wavHead("api/audio/mix", signal).catch(() => null);
  return is ? "" : "the mix was not rendered as it is now; render it to hear it whole";
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
  const [from, to] = placeIn(id, stretch);
  const isLong = isLonger(stretch);
  const query = isLong ? null : excerptQuery(id);
  const times = `start_s=${from.toFixed(4)}&end_s=${to.toFixed(4)}`;
  // The gain goes by what is heard at first: with a level as it is kept, which the player stays near to. A mute only
  // takes away.
  const isLevel = id.startsWith("lane/") && !id.endsWith("/mute");
  const told = query === null ? `of=${encodeURIComponent(id)}&${times}` : `${times}${isLevel ? "" : query}`;
  const [first, end] = [from, to].map((time) => Math.round(time * rate));
  const windows = isLong ? new Windows(`api/audio/${id}`, first, end - first, rate) : null;
  const channels =
    query !== null
      ? await wholeWav(`api/excerpt?${times}${query}`, signal)
      : windows
        ? []
        : await partOfWav(`api/audio/${id}`, first, end, signal);
  const parts = id.startsWith("try/")
    ? await tried(id.slice(4), times, signal)
    : id.startsWith("lane/") && query !== null
      ? [await riddenPart(id.slice(5), `${times}${query}`, from, rate, signal)]
      : [];
  return { channels, levels: (await ask(`api/loudness?${told}`, { signal })).result, parts, windows };
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

/**
 * The layer of a lane, as it is without it, its line as it is kept, and as it is drawn now.
 * @param {string} lane its target and parameter
 * @param {string} query
 * @param {number} from in seconds
 * @param {number} rate in Hz
 * @param {AbortSignal} signal
 * @returns {Promise<import("./ridden.js").RiddenPart>}
 */
async function riddenPart(lane, query, from, rate, signal) {
  const [target, parameter] = cut(lane);
  const track = target === "master" ? "" : `&track=${encodeURIComponent(target)}`;
  const audio = await wholeWav(`api/excerpt?${query}${track}`, signal);
  const isMute = parameter === "mute";
  const [kept, now] = [keptPoints(target, parameter), drawnPoints(target, parameter)].map((points) =>
    framesOf(points, from, rate, isMute),
  );
  return { audio, isMute, kept, lane: now };
}

/** @param {string} id @returns {[string, string]} */
function cut(id) {
  const at = id.indexOf("/");
  return at < 0 ? [id, ""] : [id.slice(0, at), id.slice(at + 1)];
}
