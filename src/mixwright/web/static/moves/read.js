// SPDX-License-Identifier: Apache-2.0
// Moves and their evidence, as the server tells them.

import { latest, said } from "../api.js";
import { put } from "../store.js";

/** @type {string | null} */
let read = null;
const told = latest("api/moves");

/** Read the moves anew, where the song is another one or a result is new. */
export async function readMoves() {
  try {
    const result = await told.read();
    if (!result) return;
    const text = JSON.stringify(result);
    if (text === read) return;
    read = text;
    put({ moves: result.moves, movesTold: result.told, moveForms: result.forms });
  } catch (error) {
    put({ notice: said(error) });
  }
}
