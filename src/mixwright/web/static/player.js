// SPDX-License-Identifier: Apache-2.0
// Hearing a stretch of the mix as it is now; quiet at first, whatever the system's level.

import { ask, said } from "./api.js";
import { current, put } from "./store.js";

/** Nothing is asked for that is longer, in seconds. */
const LONGEST_S = 60;
/** -12 dB. */
const QUIET = 0.25;
const audio = new Audio();
audio.volume = QUIET;
audio.preload = "auto";
let startS = 0;

/**
 * Play the mix from a time on.
 * @param {number} from in seconds
 * @param {number} [to] in seconds; else twenty seconds on
 * @param {string[]} [tracks] these alone
 */
export function hear(from, to, tracks = []) {
  const end = Math.min(to ?? from + 20, from + LONGEST_S, current().song?.duration_s || Infinity);
  if (end <= from) return;
  startS = from;
  audio.src =
    `api/excerpt?start_s=${from.toFixed(3)}&end_s=${end.toFixed(3)}` +
    tracks.map((id) => `&track=${encodeURIComponent(id)}`).join("");
  put({ playing: { from, to: end, waits: true } });
  audio.play().catch((error) => {
    if (error.name === "AbortError") return;
    put({ playing: null });
    void why(audio.src);
  });
}

/**
 * Tell why something cannot be played.
 * @param {string} url
 */
async function why(url) {
  try {
    await ask(url, { headers: { Range: "bytes=0-0" } });
    put({ notice: { text: "The browser cannot play this." } });
  } catch (error) {
    put({ notice: said(error) });
  }
}

/** Stop. */
export function hush() {
  audio.pause();
  put({ playing: null });
}

/** @returns {number | null} the time that sounds now, in seconds of the song */
export function playedAt() {
  return current().playing && !audio.paused ? startS + audio.currentTime : null;
}

audio.addEventListener("playing", () => {
  const { playing } = current();
  if (playing) put({ playing: { ...playing, waits: false } });
});
audio.addEventListener("ended", () => put({ playing: null }));
