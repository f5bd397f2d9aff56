// SPDX-License-Identifier: Apache-2.0
// Hearing a stretch of the song from anywhere in the page, in what the line of listening is set to.

import { heardAt, listen, pause } from "./listening/listen.js";
import { LONGEST_S, isLonger } from "./listening/sources.js";
import { current, follow } from "./store.js";

/**
 * Play from a time on.
 * @param {number} from in seconds
 * @param {number} [to] in seconds; else twenty seconds on
 * @param {string[]} [tracks] these layers alone; else what was heard before, or the mix
 */
export function hear(from, to, tracks = []) {
  const { stretch } = current().listening;
  const isWithin = stretch && isLonger(stretch) && stretch.from <= from && from < stretch.to;
  if (to === undefined && !tracks.length && isWithin) {
    void listen({ turned: false }, { at: from }); // a long stretch goes on from there
    return;
  }
  const end = Math.min(to ?? from + 20, from + LONGEST_S, current().song?.duration_s || Infinity);
  const { what } = current().listening;
  const again = what.startsWith("layers/") ? "mix" : what;
  void listen({
    what: tracks.length ? `layers/${tracks.join(",")}` : again,
    turned: false,
    stretch: { from, to: end, name: "" },
  });
}

/** Pause. */
export const hush = pause;
/** The time that sounds now, in seconds of the song; null where nothing does. */
export const playedAt = heardAt;

/**
 * Call something before each picture for as long as anything is heard, or waits to be.
 * @param {() => void} moved
 * @returns {() => void} stops it
 */
export function followPlaying(moved) {
  let runs = false;
  const again = () => {
    moved();
    runs = current().playing !== null;
    if (runs) requestAnimationFrame(again);
  };
  return follow(["playing"], ({ playing }) => {
    if (!runs && playing) requestAnimationFrame(again);
    runs ||= playing !== null;
  });
}
