// SPDX-License-Identifier: Apache-2.0
// Listening: a stretch in one or two versions, through a band and a side, at one level for all.

import { ask, said } from "../api.js";
import { current, put } from "../store.js";
import { Breaks } from "./breaks.js";
import { CAP_LUFS, LEAST_LUFS, RAISED_LUFS, SESSION_LUFS, movedDb, peaksAllow, ratio } from "./level.js";
import { load } from "./sources.js";

/**
 * @typedef {import("./sounding.js").Side} Side
 * @typedef {import("./sources.js").Stretch} Stretch
 * @typedef {import("./sources.js").Levels} Levels
 * @typedef {import("./first.js").Listening} Listening
 */

/** No stretch is longer, in seconds. */
export const LONGEST_S = 60;

/** @type {AudioContext | null} */
let context = null;
/** @type {AudioWorkletNode | null} */
let node = null;
/** @type {Promise<void> | null} */
let opening = null;
let loading = new AbortController();
/** @type {{frame: number, at: number} | null} where it was, and when in seconds of the context */
let place = null;
/** What the worklet holds, so that nothing is fetched twice. @type {Map<string, string>} */
const given = new Map();
const TIRED =
  "You have listened for three quarters of an hour. Ears tire before one notices; a break of ten minutes helps.";
const breaks = new Breaks(() => put({ notice: { text: TIRED } }));

/** @returns {Listening} */
export function listening() {
  return current().listening;
}

/** @param {Partial<Listening>} fields */
function set(fields) {
  const now = { ...listening(), ...fields };
  const { plays, stretch } = now;
  const sounds = stretch && (plays === "yes" || plays === "waits");
  put({ listening: now, playing: sounds ? { from: stretch.from, to: stretch.to, waits: plays === "waits" } : null });
}

/** @param {object} message */
export function tell(message) {
  node?.port.postMessage(message);
}

/** @returns {BaseAudioContext | null} */
export function audioContext() {
  return context;
}

/** Make the player, by the first thing that is asked for. */
async function open() {
  const rate = current().song?.rate_hz;
  if (!globalThis.AudioWorkletNode || !rate)
    throw new Error("This browser has no AudioWorklet; open the page in a newer one to listen.");
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
  node.port.onmessage = ({ data }) => {
    if (data.faulty) stopped(data.faulty);
    else if (context) {
      place = { frame: data.at, at: context.currentTime };
      breaks.heard();
    }
  };
  node.connect(context.destination);
  await through({});
  navigator.mediaDevices?.addEventListener("devicechange", () => {
    if (listening().plays !== "yes") return;
    pause();
    put({ notice: { text: "The output changed, so it is paused. Check the level there before you go on." } });
  });
}

/** @param {string} why */
function stopped(why) {
  set({ plays: "paused" });
  place = null;
  const told =
    why === "overload"
      ? "it went beyond full scale. Lower the level, then play again"
      : "it held what is no number. Measure the song again";
  put({ notice: { text: `Muted: ${told}.` } });
}

/**
 * Hear something, or something else; what is not named stays.
 * @param {Partial<Pick<Listening, "what" | "beside" | "turned" | "stretch" | "blind">>} wanted
 * @param {{anew?: boolean}} [how] `anew`: fetch again what is there, it may be another
 */
export async function listen(wanted = {}, { anew = false } = {}) {
  const before = listening();
  const { stretch } = { ...before, ...wanted };
  if (!stretch || stretch.to <= stretch.from) return;
  const cutTo = Math.min(stretch.to, stretch.from + LONGEST_S);
  const held = { ...stretch, to: cutTo };
  const moved = before.stretch?.from !== held.from || before.stretch?.to !== held.to;
  const blind =
    wanted.blind || (wanted.what !== undefined || wanted.beside !== undefined || wanted.stretch ? [] : before.blind);
  set({ ...wanted, blind, stretch: held, plays: "waits" });
  loading.abort();
  loading = new AbortController();
  const { signal } = loading;
  try {
    await (opening ||= open());
    await context?.resume();
    await fetchAll(held, moved || anew, signal);
    if (signal.aborted) return;
    apply();
    const { turned, what, beside, plays } = listening();
    tell({ turn: turned && beside ? beside : what });
    const frames = framesOf(held);
    if (moved || before.plays !== "yes")
      tell({ play: { first: 0, end: frames, at: moved || !place ? 0 : place.frame } });
    if (plays !== "yes") set({ plays: "yes" });
  } catch (error) {
    if (signal.aborted) return;
    if (!node) opening = null;
    set({ plays: before.plays === "yes" && !moved ? "yes" : "no" });
    if (moved) tell({ pause: true });
    put({ notice: error instanceof Error && !(error instanceof TypeError) ? { text: error.message } : said(error) });
  }
}

/** @param {Stretch} stretch */
function framesOf({ from, to }) {
  return Math.round((to - from) * (context?.sampleRate || 1));
}

/**
 * Have the versions of a stretch that are missing; those that nobody asks for go.
 * @param {Stretch} stretch
 * @param {boolean} anew
 * @param {AbortSignal} signal
 */
async function fetchAll(stretch, anew, signal) {
  const { what, beside, blind } = listening();
  const version = current().song?.version || "";
  const ids = [...new Set([what, beside, ...blind])].filter(Boolean);
  /** @type {Record<string, Levels>} */
  const levels = {};
  await Promise.all(
    ids.map(async (id) => {
      const key = `${version} ${stretch.from} ${stretch.to} ${stretch.name}`;
      if (!anew && given.get(id) === key && listening().levels[id]) {
        levels[id] = listening().levels[id];
        return;
      }
      const { channels, levels: found, parts } = await load(id, stretch, context?.sampleRate || 1, signal);
      if (signal.aborted) return;
      levels[id] = found;
      given.set(id, key);
      if (parts.length) put({ tried: { [id]: parts.map((part) => part.list.channels) } });
      node?.port.postMessage(
        { give: { name: id, channels, gain: ratio(movedDb(found)), parts } },
        channels.map((one) => one.buffer),
      );
    }),
  );
  if (signal.aborted) return;
  for (const id of [...given.keys()].filter((one) => !ids.includes(one))) {
    given.delete(id);
    tell({ drop: id });
  }
  set({ levels });
}

/** Bring the level to where it may stand. */
function apply() {
  tell({ level: ratio(Math.min(listening().level, cap()) - SESSION_LUFS) });
}

/** @returns {number} the level that may not be passed, in LUFS */
export function cap() {
  const { raised, levels } = listening();
  return Math.min(raised ? RAISED_LUFS : CAP_LUFS, peaksAllow(Object.values(levels)));
}

/** @param {number} lufs */
export function setLevel(lufs) {
  set({ level: Math.min(Math.max(lufs, LEAST_LUFS), cap()) });
  apply();
}

/** Raise the cap, or take it back. @param {boolean} raised */
export function raiseCap(raised) {
  set({ raised });
  setLevel(Math.min(listening().level, cap()));
}

/** Hear one of the hidden versions. @param {string} id */
export function hearHidden(id) {
  set({ what: id });
  tell({ turn: id });
}

/** Hear the other one of the two. */
export function turn() {
  const { turned, beside, what } = listening();
  if (!beside) return;
  set({ turned: !turned });
  tell({ turn: turned ? what : beside });
}

/**
 * Listen through a band and a side.
 * @param {{band?: [number, number] | null, side?: Side}} wanted
 */
export async function through(wanted) {
  const before = listening();
  const { band, side } = { ...before, ...wanted };
  try {
    const list = band ? (await ask(`api/band?low_hz=${band[0]}&high_hz=${band[1]}`)).result : null;
    set({ band, side });
    tell({ through: { band: list, side } });
  } catch (error) {
    put({ notice: said(error) });
  }
}

export function pause() {
  loading.abort();
  tell({ pause: true });
  if (listening().plays !== "no") set({ plays: "paused" });
}

/** Play on, or pause. */
export function toggle() {
  const { plays, stretch } = listening();
  if (plays === "yes" || plays === "waits") pause();
  else if (stretch) void listen();
}

/** @returns {number | null} the time that sounds now, in seconds of the song */
export function heardAt() {
  const { plays, stretch } = listening();
  if (plays !== "yes" || !stretch || !context || !place) return null;
  const long = stretch.to - stretch.from;
  return stretch.from + ((place.frame / context.sampleRate + context.currentTime - place.at) % long);
}
