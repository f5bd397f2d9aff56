// SPDX-License-Identifier: Apache-2.0
// Which tracks are chosen, to be edited together.

import { change } from "./api.js";
import { current, put } from "./store.js";

/**
 * Choose tracks, or no more.
 * @param {string[]} tracks
 * @param {boolean} on
 */
export function chooseTracks(tracks, on) {
  const others = current().chosen.filter((id) => !tracks.includes(id));
  put({ chosen: on ? [...others, ...tracks] : others });
}

/**
 * Edit tracks in one step.
 * @param {string[]} tracks
 * @param {object} fields
 */
export function editTracks(tracks, fields) {
  return change("edit", { edit: { tracks: Object.fromEntries(tracks.map((id) => [id, fields])) } });
}

/** The roles, in the words of song.toml. */
export const ROLES = [
  "lead vocal",
  "double",
  "backing vocal",
  "kick",
  "snare",
  "toms",
  "hats",
  "cymbals",
  "overheads",
  "room",
  "drums",
  "percussion",
  "loop",
  "bass",
  "acoustic guitar",
  "electric guitar",
  "keys",
  "organ",
  "pad",
  "synth",
  "strings",
  "brass",
  "effects",
  "return",
  "other",
  "unknown",
];
/** The places. */
export const PLACES = /** @type {const} */ (["lead", "support", "bed"]);
