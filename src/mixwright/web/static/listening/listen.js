// SPDX-License-Identifier: Apache-2.0
// Listening: a stretch in one or two versions, through a band and a side, at one level for all.

import { ask, said } from "../api.js";
import { current, put } from "../store.js";
import { Breaks } from "./breaks.js";
import { CAP_LUFS, LEAST_LUFS, RAISED_LUFS, SESSION_LUFS, movedDb, peaksAllow, ratio } from "./level.js";
import { now, opened, rate, tell } from "./output.js";
import { LONGEST_S, heldBack, isLonger, load } from "./sources.js";

/**
 * @typedef {import("./sounding.js").Side} Side
 * @typedef {import("./sources.js").Stretch} Stretch
 * @typedef {import("./sources.js").Levels} Levels
 * @typedef {import("./first.js").Listening} Listening
 */

let loading = new AbortController();
/** What is loaded though nobody hears it yet, "" for nothing. */
let ahead = "";
/** @type {{frame: number, at: number} | null} where it was, and when in seconds of the context */
let place = null;
/** What the worklet holds, so that nothing is fetched twice. @type {Map<string, string>} */
const given = new Map();
/** How often it was started: what is told of an earlier start comes too late. */
let starts = 0;
/** The stretch that the player has. @type {Stretch | null} */
let sounds = null;
/** What is read while it sounds. @type {Map<string, import("./windows.js").Windows>} */
const streams = new Map();
const TIRED =
  "You have listened for three quarters of an hour. Ears tire before one notices; a break of ten minutes helps.";
const breaks = new Breaks(() => put({ notice: { text: TIRED } }));

/** @returns {Listening} */
export function listening() {
  return current().listening;
}

/** @param {Partial<Listening>} fields */
function set(fields) {
  const next = { ...listening(), ...fields };
  const { plays, stretch } = next;
  const isOn = stretch && (plays === "yes" || plays === "waits");
  const playing = isOn ? { from: stretch.from, to: stretch.to, waits: plays === "waits" } : null;
  const before = current().playing;
  const isSame = before?.from === playing?.from && before?.to === playing?.to && before?.waits === playing?.waits;
  put({ listening: next, playing: isSame ? before : playing });
}

/** @type {(what: {frame: number, db: number | null}) => void} */
let rode = () => {};

/** Be told at which frame a level was taken over. @param {typeof rode} listener */
export function onRode(listener) {
  rode = listener;
}

/** @param {any} data what the player tells */
function told(data) {
  if (data.faulty) stopped(data.faulty);
  if (data.rode) rode(data.rode);
  if (data.at === undefined || data.start !== starts) return;
  place = { frame: data.at, at: now() };
  breaks.heard();
  if (listening().plays !== "yes") return;
  const { signal } = loading;
  stream(data.at).catch((error) => signal.aborted || put({ notice: said(error) }));
}

navigator.mediaDevices?.addEventListener("devicechange", () => {
  if (listening().plays !== "yes") return;
  pause();
  put({ notice: { text: "The output changed, so it is paused. Check the level there before you go on." } });
});

/** Have what sounds at a frame, and what comes next, of all that is read while it sounds. @param {number} frame */
async function stream(frame) {
  const { signal } = loading;
  await Promise.all(
    [...streams].map(([name, one]) =>
      one.at(
        frame,
        (first, channels, keep) => tell({ window: { name, first, channels, keep } }, channels),
        signal,
      ),
    ),
  );
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
 * @param {{anew?: boolean, at?: number}} [how] `anew`: fetch again what is there, it may be another; `at`: from this
 *   time of the song on
 */
export async function listen(wanted = {}, { anew = false, at } = {}) {
  const before = listening();
  const { stretch } = { ...before, ...wanted };
  if (!stretch) set(wanted); // said beforehand what is to be heard, and played with the first stretch
  if (!stretch || stretch.to <= stretch.from) return;
  const isMoved = (/** @type {Stretch} */ one) => sounds?.from !== one.from || sounds?.to !== one.to;
  let moved = isMoved(stretch);
  const blind =
    wanted.blind || (wanted.what !== undefined || wanted.beside !== undefined || wanted.stretch ? [] : before.blind);
  set({ ...wanted, blind, stretch, plays: "waits" });
  loading.abort();
  loading = new AbortController();
  ahead = "";
  const { signal } = loading;
  try {
    if (await opened(current().song?.rate_hz || 48000, told)) await through({});
    const held = await fitted(stretch, signal);
    if (signal.aborted) return;
    moved = isMoved(held);
    if (held !== stretch) set({ stretch: held });
    await fetchAll(held, moved || anew, signal);
    const frame = at !== undefined ? framesOf(held.from, at) : moved || !place ? 0 : place.frame;
    await stream(frame);
    if (signal.aborted) return;
    apply();
    const { turned, what, beside, plays } = listening();
    tell({ turn: turned && beside ? beside : what });
    if (at !== undefined || moved || before.plays !== "yes")
      tell({ play: { first: 0, end: framesOf(held.from, held.to), at: frame, start: ++starts } });
    sounds = held;
    if (plays !== "yes") set({ plays: "yes" });
  } catch (error) {
    if (signal.aborted) return;
    set({ plays: before.plays === "yes" && !moved ? "yes" : "no" });
    if (moved) tell({ pause: true });
    put({ notice: error instanceof Error && !(error instanceof TypeError) ? { text: error.message } : said(error) });
  }
}

/**
 * Have something ready in the stretch that sounds, to be heard at once; what fails is told when it is heard.
 * @param {string} id
 */
export async function prepare(id) {
  const { plays, stretch } = listening();
  if (plays !== "yes" || !stretch) return;
  ahead = id;
  await fetchAll(stretch, false, loading.signal).catch(() => {});
}

/**
 * Cut a stretch to what can be heard at once.
 * @param {Stretch} stretch
 * @param {AbortSignal} signal
 */
async function fitted(stretch, signal) {
  if (!isLonger(stretch)) return stretch;
  const { what, beside, blind } = listening();
  const why = await heldBack([what, beside, ...blind].filter(Boolean), signal);
  if (!why || signal.aborted) return stretch;
  put({ notice: { text: `Only the first minute of it: ${why}.` } });
  const isSection = current().song?.sections.some((one) => one.name === stretch.name);
  return { from: stretch.from, to: stretch.from + LONGEST_S, name: isSection ? stretch.name : "" };
}

/** @param {number} from @param {number} to both in seconds */
function framesOf(from, to) {
  return Math.round((to - from) * rate());
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
  const ids = [...new Set([what, beside, ...blind, ahead])].filter(Boolean);
  /** @type {Record<string, Levels>} */
  const levels = {};
  await Promise.all(
    ids.map(async (id) => {
      const key = `${version} ${stretch.from} ${stretch.to} ${stretch.name}`;
      if (!anew && given.get(id) === key && listening().levels[id]) {
        levels[id] = listening().levels[id];
        return;
      }
      const { channels, levels: found, parts, windows } = await load(id, stretch, rate(), signal);
      if (signal.aborted) return;
      levels[id] = found;
      given.set(id, key);
      if (windows) streams.set(id, windows);
      else streams.delete(id);
      const chains = parts.flatMap((part) => ("list" in part ? [part.list.channels] : []));
      if (chains.length) put({ tried: { [id]: chains } });
      tell({ give: { name: id, channels, gain: ratio(movedDb(found)), parts } }, channels);
    }),
  );
  if (signal.aborted) return;
  for (const id of [...given.keys()].filter((one) => !ids.includes(one))) {
    given.delete(id);
    streams.delete(id);
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
  if (plays !== "yes" || !stretch || !place) return null;
  const long = stretch.to - stretch.from;
  return stretch.from + ((place.frame / rate() + now() - place.at) % long);
}
