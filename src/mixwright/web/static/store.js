// SPDX-License-Identifier: Apache-2.0
// The state of the page: one object, replaced as a whole, and whoever wants to know of it.

import { FIRST } from "./listening/first.js";

/**
 * @typedef {import("./types.js").SongView} SongView
 * @typedef {import("./types.js").Job} Job
 * @typedef {import("./types.js").FindingView} FindingView
 *
 * @typedef {object} State
 * @property {SongView | null} song what the server told last
 * @property {Job | null} job the job that runs, or the last one
 * @property {"joining" | "joined" | "lost"} link to the server
 * @property {string} view which view is shown
 * @property {[number, number] | null} view_s the stretch of the song that is in view, in seconds; null: all of it
 * @property {number} cursor_s where the keys are in the song, in seconds
 * @property {string} row id of the row that the keys are in, "" before any
 * @property {string} phrase the phrase that is told, `layer@start`, "" for none
 * @property {{from: number, to: number, waits: boolean} | null} playing what is heard, in seconds
 * @property {string} finding id of the finding that is chosen, "" for none
 * @property {FindingView | null} covered who covers whom in it
 * @property {string[]} chosen ids of the tracks that are chosen, to be edited together
 * @property {import("./listening/listen.js").Listening} listening what is heard, and how
 * @property {import("./types.js").ViewedMove[] | null} moves the moves with their evidence, once they were asked for
 * @property {string} movesTold what the receipts say of all of them
 * @property {string[]} moveForms how a move may be written
 * @property {Record<string, number[]>} tried by id of what is tried out, the channels of its parts
 * @property {import("./types.js").Bounce[] | null} bounces those that were taken, the newest first
 * @property {number} supersededBytes how much is kept of what they superseded
 * @property {import("./types.js").LanesView | null} lanes the automation, once it was read
 * @property {{target: string, parameter: string} | null} lane the lane that is shown
 * @property {import("./types.js").Point[] | null} draft its points as they are drawn and not kept yet
 * @property {number} point which of them the keys are on, -1 before any
 * @property {"no" | "waits" | "rides" | "ridden"} ride whether its level is ridden; `ridden`: to be kept or not
 * @property {boolean} walks the walk through the page is shown
 * @property {{text: string, again?: () => void} | null} notice the last thing to be told
 */

/** @type {State} */
let state = {
  song: null,
  job: null,
  link: "joining",
  view: "song",
  view_s: null,
  cursor_s: 0,
  row: "",
  phrase: "",
  playing: null,
  finding: "",
  covered: null,
  chosen: [],
  notice: null,
  walks: false,
  moves: null,
  movesTold: "",
  moveForms: [],
  tried: {},
  bounces: null,
  supersededBytes: 0,
  lanes: null,
  lane: null,
  draft: null,
  point: -1,
  ride: "no",
  listening: FIRST,
};
/** @type {Set<(now: State, before: State) => void>} */
const listeners = new Set();

/** @returns {State} */
export function current() {
  return state;
}

/**
 * Replace some fields; everybody who listens is told if one is another now.
 * @param {Partial<State>} fields
 */
export function put(fields) {
  const before = state;
  const keys = /** @type {(keyof State)[]} */ (Object.keys(fields));
  if (keys.every((key) => before[key] === fields[key])) return;
  state = { ...before, ...fields };
  for (const listener of [...listeners]) listener(state, before);
}

/**
 * Call `listener` whenever one of these fields is another; and once now.
 * @param {(keyof State)[]} fields
 * @param {(now: State) => void} listener
 * @returns {() => void} stops it
 */
export function follow(fields, listener) {
  /** @param {State} now @param {State} before */
  const told = (now, before) => {
    if (fields.some((field) => now[field] !== before[field])) listener(now);
  };
  listeners.add(told);
  listener(state);
  return () => listeners.delete(told);
}

/**
 * Call `listener` whenever something made of the song is another; and once it is there. What a page shows is then
 * made anew only where it must be: nothing that is pressed or typed in is taken away by a change elsewhere.
 * @param {(song: SongView) => unknown} chosen
 * @param {(song: SongView) => void} listener
 * @returns {() => void} stops it
 */
export function followSong(chosen, listener) {
  /** @type {string | undefined} */
  let before;
  return follow(["song"], ({ song }) => {
    const now = song ? JSON.stringify(chosen(song)) : undefined;
    if (!song || now === before) return;
    before = now;
    listener(song);
  });
}
