// SPDX-License-Identifier: Apache-2.0
// What comes over the wire, as the checker of types knows it; the same as `/api/schema`.

/**
 * @typedef {{cued: number | null, strict: number | null}} Range
 * @typedef {{track: string, fraction: number}} TakenBy
 * @typedef {{kind: string, message: string, where: string | null, hint: string | null}} Told
 * @typedef {"lead" | "support" | "bed"} Place
 * @typedef {{id: string, name: string}} Named
 * @typedef {{name: string, start_s: number, end_s: number}} Section
 * @typedef {{
 *   id: string, name: string, file: string, role: string, role_confidence: number, place: Place,
 *   place_in: Record<string, Place>, source: string, group: string, use: boolean, why: string, mute: boolean,
 *   look: string[],
 * }} Track
 * @typedef {{
 *   start_s: number, end_s: number, section: string, margin_db: Range, rise_db: Range, re_mix_lu: number | null,
 *   taken_by: TakenBy[], told: string, fix: string, worst: number | null,
 * }} Phrase
 * @typedef {{layer: string, name: string, told: string, beside: string, phrases: Phrase[]}} Line
 * @typedef {{
 *   id: string, name: string, place: Place | "return", place_in: Record<string, Place>, tracks: string[],
 *   kept: (number | null)[], fader_equivalent_db: Range | null, told: string, findings: string[],
 * }} Row
 * @typedef {{
 *   id: string, kind: string, track: string, section: string, start_s: number, end_s: number,
 *   band_hz: [number, number] | null, excess_db: number, caused_by: TakenBy[],
 *   verdict: "outside" | "left as is" | "mended", where: string, told: string,
 * }} Finding
 * @typedef {{
 *   outdated: string, circumstances: string, integrated_lufs: number | null, true_peak_dbtp: number | null,
 *   guessed: boolean, lines: Line[],
 *   interval: {low_lu: number, high_lu: number, references: number, source: string} | null,
 *   findings: Finding[], told: string,
 * }} Heard
 * @typedef {{
 *   version: string, folder: string, title: string, artist: string, rate_hz: number, duration_s: number,
 *   tempo_bpm: number | null, beats_per_bar: number, first_bar_s: number, lead: string[], lead_guess: string | null,
 *   tracks: Track[], sources: Named[], groups: Named[], sections: Section[], rows: Row[], references: Named[],
 *   rough: string, moves: Record<string, number>, questions: {track: string, told: string, guess: string}[],
 *   for_the_artist: string[], planned: boolean, undo: string, redo: string, walk: boolean,
 *   heard: Heard | null, problems: string[],
 * }} SongView
 * @typedef {{id: string, name: string, alone_sone: number, in_mix_sone: Range, taken_by: TakenBy[]}} Covered
 * @typedef {{
 *   finding: Finding, band_hz: [number, number], rows: Covered[], takes: Record<string, number>, fix: string[],
 * }} FindingView
 * @typedef {{
 *   key: string, name: string, value: number | null, low: number, high: number, unit: string, usual: number | null,
 * }} MoveSetting
 * @typedef {{
 *   id: string, kind: string, target: string, name: string, sections: string[], settings: MoveSetting[], key: string,
 *   send: string, state: "proposed" | "accepted" | "refused", strength: number, by: "plan" | "engineer", told: string,
 *   reason: string, predicted: string, measured: string, costs: string[], without_it: string, needed: boolean | null,
 *   outdated: boolean, start_s: number, end_s: number,
 * }} ViewedMove
 * @typedef {{id: string, does: string, share: number, told: string}} DialledMove
 * @typedef {{
 *   track: string, name: string, sha256: string, superseded: string, moves: DialledMove[], also: string[],
 *   told: string,
 * }} Bounce
 * @typedef {{at_s: number, value: number}} Point
 * @typedef {{target: string, parameter: string, points: Point[]}} Lane
 * @typedef {{
 *   parameter: string, name: string, low: number, high: number, unit: string, usual: number, tried: boolean,
 * }} Parameter
 * @typedef {{id: string, name: string, parameters: Parameter[]}} LaneTarget
 * @typedef {{lanes: Lane[], targets: LaneTarget[]}} LanesView
 * @typedef {{
 *   id: number, command: string, state: "running" | "done" | "failed" | "cancelled", doing: string, done: number,
 *   total: number, left_s: number | null, note: string, error: Told | null,
 * }} Job
 */

export {};
