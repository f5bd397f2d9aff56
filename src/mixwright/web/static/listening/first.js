// SPDX-License-Identifier: Apache-2.0
// How a session of listening begins.

import { FIRST_LUFS } from "./level.js";

/**
 * @typedef {import("./sounding.js").Side} Side
 * @typedef {import("./sources.js").Stretch} Stretch
 * @typedef {import("./sources.js").Levels} Levels
 * @typedef {object} Listening
 * @property {string} what id of what is heard
 * @property {string} beside id of what it is heard beside, "" for nothing
 * @property {boolean} turned the one beside it sounds now
 * @property {string[]} blind ids of versions of which nobody is to know which one sounds; empty outside a blind test
 * @property {Stretch | null} stretch
 * @property {[number, number] | null} band in Hz, 0: open
 * @property {Side} side
 * @property {number} level in LUFS, of everything that is heard
 * @property {boolean} raised whether the cap was raised
 * @property {"no" | "waits" | "yes" | "paused"} plays
 * @property {Record<string, Levels>} levels of what is loaded, by id
 */

/** @type {Listening} */
export const FIRST = {
  what: "mix",
  beside: "",
  turned: false,
  blind: [],
  stretch: null,
  band: null,
  side: "stereo",
  level: FIRST_LUFS,
  raised: false,
  plays: "no",
  levels: {},
};
