// SPDX-License-Identifier: Apache-2.0
// Moves and their evidence, as the server tells them.

import { ask, said } from "../api.js";
import { put } from "../store.js";

/** @type {string | null} */
let read = null;
/** Answers may overtake each other: one that was asked for before the one that is shown comes too late. */
let asked = 0,
  shown = 0;

/** Read the moves anew, where the song is another one or a result is new. */
export async function readMoves() {
  const turn = ++asked;
  try {
    const { result } = await ask("api/moves");
    if (turn < shown) return;
    shown = turn;
    const text = JSON.stringify(result);
    if (text === read) return;
    read = text;
    put({ moves: result.moves, movesTold: result.told, moveForms: result.forms });
  } catch (error) {
    put({ notice: said(error) });
  }
}
