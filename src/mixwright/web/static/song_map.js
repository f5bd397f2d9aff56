// SPDX-License-Identifier: Apache-2.0
// The song map: rows are layers by place, time runs across, fuller and stronger is more left of the layer.

import { drawn, panned, timeKey } from "./canvas.js";
import { el, fill } from "./dom.js";
import { FOOT_PX, layOut, layout, rowAt, rowNames, sectionNames } from "./map_rows.js";
import { lanesOver } from "./lanes/over_rows.js";
import { followPlaying, hear, playedAt } from "./player.js";
import { chooseTracks } from "./selection.js";
import { current, follow, followSong, put } from "./store.js";
import { clock, inView, length, reveal, ticks } from "./time.js";

/** @typedef {import("./types.js").Row} Row @typedef {import("./types.js").SongView} SongView */

const SHADES = 5;
/** What is usually above the map, and what below its rows, in pixels; a shift of less leaves the rows as they are. */
const USUAL_TOP_PX = 300,
  BELOW_PX = 46,
  MOVED_PX = 30;

/** @returns {HTMLElement} */
export function songMap() {
  const names = el("div", { class: "names" });
  const canvas = el("canvas", { "aria-hidden": "true" });
  const field = el(
    "div",
    {
      class: "field",
      tabindex: "0",
      role: "group",
      "aria-roledescription": "song map",
      "aria-label":
        "Song map: up and down go through the layers, left and right through time, Enter plays, " +
        "plus and minus zoom, 0 shows the whole song, x chooses the layer",
    },
    canvas,
  );
  const reading = el("p", { class: "reading", "aria-live": "polite", tabindex: "0", "data-explain": "kept" });
  const sections = el("div", { class: "sections", role: "group", "aria-label": "Sections" });
  const map = el(
    "section",
    { class: "map", "aria-label": "Song map" },
    el("div", { class: "gutter" }),
    sections,
    names,
    field,
    el("div", { class: "gutter" }),
    reading,
  );
  const ask = drawn(canvas, paint);
  const timeAt = (/** @type {number} */ x) => {
    const [from, to] = inView();
    return from + (x / field.clientWidth) * (to - from);
  };
  panned(field, timeAt, (event) => {
    const box = field.getBoundingClientRect();
    const at = rowAt(event.clientY - box.top);
    const time = Math.min(Math.max(timeAt(event.clientX - box.left), 0), length());
    put({ row: at?.id || current().row, cursor_s: time });
    hear(time);
  });
  field.addEventListener("keydown", (event) => keyed(event));
  /** Where the map begins and how high the window is: both decide how high rows are. */
  let top = USUAL_TOP_PX,
    high = innerHeight;
  const rows = (/** @type {SongView} */ song) => {
    layOut(song, high - top - BELOW_PX);
    fill(names, ...rowNames(song));
    map.style.setProperty("--rows", `${layout.totalPx}px`);
    map.style.setProperty("--gap", `${layout.gapPx}px`);
    map.parentElement?.classList.toggle("close", layout.isClose);
    ask();
  };
  const measured = () => {
    const { song } = current(),
      begins = field.getBoundingClientRect().top + scrollY;
    if (!song || !field.isConnected || (Math.abs(begins - top) < MOVED_PX && innerHeight === high)) return;
    [top, high] = [begins, innerHeight];
    rows(song);
  };
  const parts = () => {
    const { song } = current();
    if (song) fill(sections, ...sectionNames(song, field.clientWidth || 600));
  };
  followSong((song) => song.rows.map(({ kept, ...row }) => row), rows);
  followSong((song) => song.sections, parts);
  follow(["song"], ask);
  follow(["view_s"], parts);
  new ResizeObserver(parts).observe(field);
  follow(["lanes"], ask);
  new ResizeObserver(measured).observe(document.body);
  addEventListener("resize", measured);
  follow(["row", "cursor_s", "view_s", "finding", "chosen", "playing"], (now) => {
    ask();
    for (const one of names.querySelectorAll("label")) {
      one.classList.toggle("at", one.dataset.row === now.row);
      const tracks = (one.dataset.tracks || "").split(" ");
      const box = one.querySelector("input");
      if (box) box.checked = tracks.every((id) => now.chosen.includes(id)) && tracks[0] !== "";
    }
    fill(reading, told());
  });
  followPlaying(ask);
  return map;
}

/** @param {KeyboardEvent} event */
function keyed(event) {
  const { row, cursor_s } = current();
  const { placed } = layout;
  const index = placed.findIndex((one) => one.row.id === row);
  const far = event.shiftKey ? 5 : 1;
  const go = (/** @type {number} */ to) =>
    put({ row: placed[Math.min(Math.max(to, 0), placed.length - 1)]?.row.id || "" });
  const seek = (/** @type {number} */ to) => {
    const time = Math.min(Math.max(to, 0), length());
    put({ cursor_s: time });
    reveal(time, time);
  };
  /** @type {Record<string, () => void>} */
  const known = {
    ArrowDown: () => go(index + 1),
    ArrowUp: () => go(Math.max(index, 0) - 1),
    ArrowRight: () => seek(cursor_s + far),
    ArrowLeft: () => seek(cursor_s - far),
    Home: () => seek(0),
    End: () => seek(length()),
    Enter: () => hear(cursor_s),
    x: () => {
      const tracks = placed[index]?.row.tracks || [];
      chooseTracks(tracks, !tracks.every((id) => current().chosen.includes(id)));
    },
  };
  if (known[event.key] && !event.ctrlKey && !event.metaKey && !event.altKey) {
    known[event.key]();
    event.preventDefault();
  } else {
    timeKey(event);
  }
}

/** @returns {string} where the keys are, in words */
function told() {
  const { row, cursor_s, song } = current();
  const found = song?.rows.find((one) => one.id === row);
  if (!song || !found)
    return song?.heard
      ? "Fuller and stronger: more of a layer is left, second by second. A line below: outside its tolerance."
      : "";
  const part = song.sections.find((one) => cursor_s >= one.start_s && cursor_s < one.end_s);
  const kept = found.kept[Math.floor(cursor_s)];
  const place = (part && found.place_in[part.name]) || found.place;
  const left = found.kept.length
    ? kept === null || kept === undefined
      ? "does not sound"
      : `${kept} % of it is left`
    : "not heard yet";
  return (
    `${found.name}, ${place}${part ? `, ${part.name}` : ""}, ${clock(cursor_s)}: ${left}.` +
    (found.told ? ` Over the song: ${found.told}.` : "")
  );
}

/** @type {import("./canvas.js").Draw} */
function paint(context, width, height, colours) {
  const { song, row: at, cursor_s, finding: chosen } = current();
  const { placed, rowPx } = layout;
  if (!song) return;
  const [from, to] = inView();
  const x = (/** @type {number} */ time) => ((time - from) / (to - from)) * width;
  const shades = [colours["kept-1"], colours["kept-2"], colours["kept-3"], colours["kept-4"], colours.sounds];
  const findings = new Map((song.heard?.findings || []).map((one) => [one.id, one]));
  context.font = "11px system-ui, sans-serif";
  for (const { row, top } of placed) {
    const foot = top + rowPx - (rowPx < 12 ? 2 : 3),
      full = foot - top - (rowPx < 12 ? 1 : 2);
    if (row.id === at) {
      context.fillStyle = colours.faint;
      context.fillRect(0, top, width, rowPx);
    }
    const last = Math.min(row.kept.length, Math.ceil(to));
    for (let second = Math.max(0, Math.floor(from)); second < last; second++) {
      const kept = row.kept[second];
      if (kept === null) continue;
      const left = Math.floor(x(second)),
        wide = Math.max(Math.ceil(x(second + 1)) - left, 1);
      context.fillStyle = colours.hair;
      context.fillRect(left, foot - full, wide, full);
      const high = Math.max(1, Math.round((kept / 100) * full));
      context.fillStyle = shades[Math.min(Math.floor((kept * SHADES) / 100), SHADES - 1)];
      context.fillRect(left, foot - high, wide, high);
    }
    lanesOver(context, row, { top, rowPx, from, to }, x, colours);
    for (const id of row.findings) {
      const one = findings.get(id);
      if (!one) continue;
      context.fillStyle = colours.accent;
      const high = id === chosen ? 4 : 1.5;
      context.fillRect(x(one.start_s), foot, Math.max(x(one.end_s) - x(one.start_s), 2), high);
    }
    const one = findings.get(chosen);
    if (one && one.track === row.id) {
      context.strokeStyle = colours.accent;
      context.lineWidth = 2;
      context.strokeRect(x(one.start_s) - 1, top, Math.max(x(one.end_s) - x(one.start_s), 3) + 2, rowPx);
    }
  }
  context.lineWidth = 1;
  context.setLineDash([2, 3]);
  context.strokeStyle = colours.soft;
  for (const part of song.sections) upright(context, x(part.start_s), height - FOOT_PX);
  context.setLineDash([]);
  for (const time of ticks(from, to, width)) {
    context.fillStyle = colours.soft;
    context.fillText(clock(time), x(time) + 2, height - 5);
  }
  context.strokeStyle = colours.ink;
  const now = playedAt();
  if (now !== null) upright(context, x(now), height);
  context.setLineDash([4, 2]);
  if (at) upright(context, x(cursor_s), height - FOOT_PX);
  context.setLineDash([]);
}

/** @param {CanvasRenderingContext2D} context @param {number} x @param {number} bottom */
function upright(context, x, bottom) {
  context.beginPath();
  context.moveTo(Math.round(x) + 0.5, 0);
  context.lineTo(Math.round(x) + 0.5, bottom);
  context.stroke();
}
