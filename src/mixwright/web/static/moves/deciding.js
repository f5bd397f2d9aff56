// SPDX-License-Identifier: Apache-2.0
// Hearing a move beside the mix without it, and while its settings are turned.

import { change, said, send } from "../api.js";
import { listen, listening, tell } from "../listening/listen.js";
import { current, put } from "../store.js";
import { readMoves } from "./read.js";

/** @typedef {import("../types.js").ViewedMove} ViewedMove */

/** Settings on their way are sent this often, in milliseconds. */
const TURN_MS = 25;
/** The stretch in which a move is needed most. @param {ViewedMove} move */
function where({ start_s, end_s }) {
  return { from: start_s, to: end_s, name: "" };
}

/**
 * Hear the mix with a move beside the mix without it, over and over.
 * @param {ViewedMove} move
 * @param {boolean} turned begin with the one without it
 */
export function hearMove(move, turned = false) {
  return listen({ what: `with/${move.id}`, beside: `without/${move.id}`, turned, stretch: where(move) });
}

/** Hear the mix as it would be without any move. @param {ViewedMove} move */
export function hearUnmoved(move) {
  return listen({ what: `with/${move.id}`, beside: "unmoved", turned: true, stretch: where(move) });
}

/** What is turned and not settled yet, by id of the move. @type {Map<string, Record<string, string>>} */
const turning = new Map();
let timer = 0;
let sending = false;

/**
 * Try a setting out: what sounds follows at once, the song stays as it is.
 * @param {ViewedMove} move
 * @param {string} key
 * @param {number} value
 */
export function turnSetting(move, key, value) {
  turning.set(move.id, { ...turning.get(move.id), [key]: String(value) });
  if (!timer) timer = window.setTimeout(() => void passOn(move), TURN_MS);
}

/** @param {ViewedMove} move */
async function passOn(move) {
  timer = 0;
  const settings = turning.get(move.id);
  if (!settings || sending) return;
  const name = `try/${move.id}`;
  sending = true;
  try {
    const { plays, what } = listening();
    if (what !== name || plays === "no") {
      await listen({ what: name, beside: `without/${move.id}`, turned: false, stretch: where(move) });
    }
    const channels = current().tried[name];
    if (channels) {
      const { result } = await send("api/try", { move: move.id, settings, channels });
      tell({ change: { name, lists: result } });
    }
  } catch (error) {
    put({ notice: said(error) });
  } finally {
    sending = false;
  }
  if (turning.has(move.id) && turning.get(move.id) !== settings) void passOn(move);
}

/**
 * Keep a setting: the song is changed, and the exact mix replaces what was tried out.
 * @param {ViewedMove} move
 * @param {string} key
 * @param {number} value
 */
export async function settleSetting(move, key, value) {
  const settings = { ...turning.get(move.id), [key]: String(value) };
  turning.delete(move.id);
  const heard = listening();
  if ((await change("change", { move: move.id, settings })) === null) return;
  await readMoves();
  if (heard.plays === "yes" && heard.what.endsWith(`/${move.id}`)) {
    await listen({ what: `with/${move.id}`, beside: `without/${move.id}` });
  }
}
