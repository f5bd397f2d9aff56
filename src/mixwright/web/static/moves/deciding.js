// SPDX-License-Identifier: Apache-2.0
// Hearing a move beside the mix without it, and while its settings are turned.

import { change, said, send } from "../api.js";
import { listen, listening, prepare } from "../listening/listen.js";
import { tell } from "../listening/output.js";
import { current, put } from "../store.js";
import { readMoves } from "./read.js";

/** @typedef {import("../types.js").ViewedMove} ViewedMove */

/** The stretch in which a move is needed most. @param {ViewedMove} move */
function where({ start_s, end_s }) {
  return { from: start_s, to: end_s, name: "" };
}

/**
 * Hear the mix with a move beside the mix without it, over and over.
 * @param {ViewedMove} move
 * @param {boolean} turned begin with the one without it
 */
export async function hearMove(move, turned = false) {
  await listen({ what: `with/${move.id}`, beside: `without/${move.id}`, turned, stretch: where(move) });
  await prepare(`try/${move.id}`); // it is what sounds as soon as one of its numbers is turned
}

/** Hear the mix as it would be without any move. @param {ViewedMove} move */
export function hearUnmoved(move) {
  return listen({ what: `with/${move.id}`, beside: "unmoved", turned: true, stretch: where(move) });
}

/** What is turned and not settled yet, by id of the move. @type {Map<string, Record<string, string>>} */
const turning = new Map();
/** One is on its way to the server; what is turned meanwhile waits, and only the last of it goes. */
let sending = false;
/** @type {ViewedMove | null} */
let waiting = null;

/**
 * Try a setting out: what sounds follows at once, the song stays as it is.
 * @param {ViewedMove} move
 * @param {string} key
 * @param {number} value
 */
export function turnSetting(move, key, value) {
  turning.set(move.id, { ...turning.get(move.id), [key]: String(value) });
  waiting = move;
  if (!sending) void passOn();
}

async function passOn() {
  sending = true;
  while (waiting) {
    const move = waiting;
    waiting = null;
    try {
      await sound(move);
    } catch (error) {
      put({ notice: said(error) });
    }
  }
  sending = false;
}

/** Have a move sound as it is turned. @param {ViewedMove} move */
async function sound(move) {
  const settings = turning.get(move.id),
    name = `try/${move.id}`;
  if (!settings) return;
  const { plays, what } = listening();
  if (what !== name || plays === "no")
    await listen({ what: name, beside: `without/${move.id}`, turned: false, stretch: where(move) });
  const channels = current().tried[name];
  if (!channels) return;
  const { result } = await send("api/try", { move: move.id, settings, channels });
  tell({ change: { name, lists: result } });
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
    await prepare(`try/${move.id}`);
  }
}
