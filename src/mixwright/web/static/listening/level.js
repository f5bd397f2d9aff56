// SPDX-License-Identifier: Apache-2.0
// How loud it is: one level for the session, to which everything is brought, and how far that may go.

/** @typedef {import("./sources.js").Levels} Levels */

/** The loudness to which every version is brought, and at which the cap stands at first (that of EBU R 128). */
export const SESSION_LUFS = -23;
/**
 * What a session begins with; the least; the cap, and what it can be raised to on purpose. Common practice, no
 * source.
 */
export const FIRST_LUFS = -33,
  LEAST_LUFS = -53,
  CAP_LUFS = SESSION_LUFS,
  RAISED_LUFS = -13;
/** Nothing is to come nearer to full scale. */
const PEAK_DBTP = -1;

/**
 * By how many dB a version is moved; where its loudness is not known its peak is brought there, which is quieter.
 * @param {Levels} levels
 */
export function movedDb({ integrated_lufs, true_peak_dbtp }) {
  if (integrated_lufs !== null) return SESSION_LUFS - integrated_lufs;
  return true_peak_dbtp === null ? 0 : Math.min(0, SESSION_LUFS - true_peak_dbtp);
}

/**
 * The loudest session at which the peaks of all versions stay below full scale.
 * @param {Levels[]} all
 */
export function peaksAllow(all) {
  const room = all.map((one) =>
    one.true_peak_dbtp === null ? Infinity : PEAK_DBTP - one.true_peak_dbtp - movedDb(one),
  );
  return SESSION_LUFS + Math.min(Infinity, ...room);
}

/** @param {number} db */
export function ratio(db) {
  return 10 ** (db / 20);
}

/** @param {number} db @param {boolean} [sign] */
export function decibels(db, sign = false) {
  const text = Math.abs(db).toFixed(1);
  return `${db < 0 && text !== "0.0" ? "\u2212" : sign && text !== "0.0" ? "+" : ""}${text} dB`;
}
