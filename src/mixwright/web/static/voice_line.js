// SPDX-License-Identifier: Apache-2.0
// The voice line: the followed line phrase by phrase, its margin, who takes it, the smallest fix; a click plays it.

import { drawn, panned, timeKey } from "./canvas.js";
import { el, fill } from "./dom.js";
import { followPlaying, hear, playedAt } from "./player.js";
import { current, follow, put } from "./store.js";
import { clock, inView, reveal, ticks } from "./time.js";

/** @typedef {import("./types.js").Line} Line @typedef {import("./types.js").Phrase} Phrase */

/** The margin is drawn between these, in dB; what lies beyond, at the edge. */
const DEEPEST_DB = -24,
  HIGHEST_DB = 12,
  LEAST_DB = 4;
const TICKS_DB = [-18, -12, -6, 0, 6];
const TOP_PX = 22,
  FOOT_PX = 18;
/** What would read as 0.0 dB short is not; so many of the worst are numbered. */
const EDGE_DB = 0.05,
  NAMED = 5;

/**
 * @param {Line} line
 * @returns {{element: HTMLElement, stop: () => void}} `stop` when it is taken away
 */
export function voiceLine(line) {
  const canvas = el("canvas", { "aria-hidden": "true" });
  const told = el("p", { class: "reading", "aria-live": "polite", tabindex: "0", "data-explain": "margin" });
  const group = el(
    "div",
    {
      class: "line",
      tabindex: "0",
      role: "group",
      "aria-roledescription": "voice line",
      "aria-label": `${line.name}, phrase by phrase: arrow keys go from phrase to phrase, Enter plays`,
    },
    canvas,
  );
  const [low, high] = span(line.phrases);
  const gutter = el("div", { class: "gutter", "aria-hidden": "true" });
  const ask = drawn(canvas, (context, width, height, colours) => {
    const y = heights(low, high, height);
    paint(
      context,
      width,
      height,
      colours,
      line,
      y,
      TICKS_DB.filter((db) => db > low && db < high),
    );
    fill(
      gutter,
      ...TICKS_DB.filter((db) => db > low && db < high).map((db) => {
        const label = el("span", {}, db ? `${db > 0 ? "+" : ""}${db} dB` : "half is left");
        label.style.top = `${y(db)}px`;
        return label;
      }),
    );
  });
  const timeAt = (/** @type {number} */ x) => {
    const [from, to] = inView();
    return from + (x / group.clientWidth) * (to - from);
  };
  const at = (/** @type {MouseEvent} */ event) =>
    nearest(line, timeAt(event.clientX - group.getBoundingClientRect().left));
  panned(group, timeAt, (event) => {
    const phrase = at(event);
    if (phrase) choose(line, phrase, true);
  });
  group.addEventListener("keydown", (event) => {
    const index = line.phrases.findIndex((phrase) => key(line, phrase) === current().phrase);
    const steps = { ArrowRight: index + 1, ArrowLeft: Math.max(index, 0) - 1, Home: 0, End: line.phrases.length - 1 };
    const step = Object.entries(steps).find(([name]) => name === event.key);
    if (step) {
      const phrase = line.phrases[Math.min(Math.max(step[1], 0), line.phrases.length - 1)];
      choose(line, phrase, false);
      event.preventDefault();
    } else if (event.key === "Enter" || event.key === " ") {
      if (index >= 0) choose(line, line.phrases[index], true);
      event.preventDefault();
    } else {
      timeKey(event);
    }
  });
  const stopped = follow(["phrase", "view_s", "playing"], (now) => {
    ask();
    const phrase = line.phrases.find((one) => key(line, one) === now.phrase);
    fill(told, phrase ? [phrase.told, phrase.fix ? el("b", {}, ` ${phrase.fix}`) : ""] : line.told);
  });
  const still = followPlaying(ask);
  const stop = () => {
    stopped();
    still();
  };
  const element = el("section", { class: "voice", "aria-label": `The line of ${line.name}` }, gutter, group, told);
  return { element, stop };
}

/** @param {Line} line @param {Phrase} phrase */
function key(line, phrase) {
  return `${line.layer}@${phrase.start_s}`;
}

/** @param {Line} line @param {Phrase} phrase @param {boolean} aloud */
function choose(line, phrase, aloud) {
  put({ phrase: key(line, phrase), cursor_s: phrase.start_s });
  reveal(phrase.start_s, phrase.end_s);
  if (aloud) hear(Math.max(0, phrase.start_s - 0.5), phrase.end_s + 0.5);
}

/** @param {Line} line @param {number} time */
function nearest(line, time) {
  const away = (/** @type {Phrase} */ one) => Math.max(one.start_s - time, time - one.end_s, 0);
  return line.phrases.reduce(
    (/** @type {Phrase | null} */ best, one) => (!best || away(one) < away(best) ? one : best),
    null,
  );
}

/** @param {Phrase} phrase */
function cued(phrase) {
  return phrase.margin_db.cued ?? -Infinity;
}

/** @param {Phrase[]} phrases @returns {[number, number]} */
function span(phrases) {
  const values = phrases.flatMap((one) => [cued(one), one.margin_db.strict ?? -Infinity]);
  return [
    Math.max(Math.min(-LEAST_DB, ...values) - 1, DEEPEST_DB),
    Math.min(Math.max(LEAST_DB, ...values) + 1, HIGHEST_DB),
  ];
}

/** @param {number} low @param {number} high both in dB @param {number} height @returns {(db: number) => number} */
function heights(low, high, height) {
  return (db) => TOP_PX + ((high - Math.min(Math.max(db, low), high)) / (high - low)) * (height - TOP_PX - FOOT_PX);
}

/**
 * @param {CanvasRenderingContext2D} context
 * @param {number} width @param {number} height
 * @param {import("./canvas.js").Colours} colours
 * @param {Line} line @param {(db: number) => number} y @param {number[]} lines at which heights, in dB
 */
function paint(context, width, height, colours, line, y, lines) {
  const [from, to] = inView();
  const x = (/** @type {number} */ time) => ((time - from) / (to - from)) * width;
  context.font = "11px system-ui, sans-serif";
  context.lineWidth = 1;
  for (const part of current().song?.sections || []) {
    context.strokeStyle = colours.soft;
    context.setLineDash([2, 3]);
    upright(context, x(part.start_s), 0, height);
  }
  context.setLineDash([]);
  for (const time of ticks(from, to, width)) {
    context.fillStyle = colours.soft;
    context.fillText(clock(time), x(time) + 2, height - 4);
  }
  for (const db of lines) {
    context.strokeStyle = db ? colours.hair : colours.ink;
    across(context, 0, width, y(db));
  }
  for (const phrase of line.phrases) step(context, x, y, colours, line, phrase);
  const now = playedAt();
  if (now !== null) {
    context.strokeStyle = colours.ink;
    upright(context, x(now), 0, height);
  }
}

/**
 * One phrase: the interval of the two readings, the cued one as a step; short ones heavy, with a diamond.
 * @param {CanvasRenderingContext2D} context
 * @param {(time: number) => number} x @param {(db: number) => number} y
 * @param {import("./canvas.js").Colours} colours @param {Line} line @param {Phrase} phrase
 */
function step(context, x, y, colours, line, phrase) {
  const left = x(phrase.start_s),
    right = Math.max(x(phrase.end_s), left + 3);
  const top = y(cued(phrase)),
    bottom = y(phrase.margin_db.strict ?? -Infinity);
  const short = cued(phrase) < -EDGE_DB,
    chosen = current().phrase === key(line, phrase);
  context.fillStyle = colours.span;
  context.fillRect(left, top, right - left, Math.max(bottom - top, 1));
  context.strokeStyle = short ? colours.accent : colours.ink;
  context.lineWidth = short ? 4 : 2;
  across(context, left, right, top);
  context.lineWidth = 1;
  if (short) diamond(context, (left + right) / 2, top, 5, colours);
  if (chosen) {
    context.strokeStyle = colours.ink;
    context.strokeRect(left - 2.5, top - 7.5, right - left + 5, Math.max(bottom - top, 1) + 12);
  }
  if (phrase.worst && phrase.worst <= NAMED) {
    context.fillStyle = colours.ink;
    context.fillText(String(phrase.worst), (left + right) / 2 - 3, top - 9);
  }
}

/** @param {CanvasRenderingContext2D} context @param {number} x @param {number} top @param {number} bottom */
function upright(context, x, top, bottom) {
  context.beginPath();
  context.moveTo(Math.round(x) + 0.5, top);
  context.lineTo(Math.round(x) + 0.5, bottom);
  context.stroke();
}

/** @param {CanvasRenderingContext2D} context @param {number} left @param {number} right @param {number} y */
function across(context, left, right, y) {
  context.beginPath();
  context.moveTo(left, Math.round(y) + 0.5);
  context.lineTo(right, Math.round(y) + 0.5);
  context.stroke();
}

/**
 * @param {CanvasRenderingContext2D} context @param {number} x @param {number} y @param {number} size
 * @param {import("./canvas.js").Colours} colours
 */
function diamond(context, x, y, size, colours) {
  context.beginPath();
  context.moveTo(x, y - size);
  context.lineTo(x + size, y);
  context.lineTo(x, y + size);
  context.lineTo(x - size, y);
  context.closePath();
  context.fillStyle = colours.accent;
  context.fill();
  context.strokeStyle = colours.paper;
  context.stroke();
}
