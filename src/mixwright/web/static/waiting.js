// SPDX-License-Identifier: Apache-2.0
// What is being done, how far, how long left, and a way to stop it; and what there is to be told.

import { cancel, start } from "./api.js";
import { el, fill } from "./dom.js";
import { follow, put } from "./store.js";
import { clock } from "./time.js";

/** @typedef {import("./types.js").Job} Job */

const DOING = {
  measure: "Measuring",
  plan: "Planning",
  prove: "Proving",
  mix: "Rendering the mix",
  deliver: "Printing",
  refresh: "Looking for new files",
};
const DONE = {
  measure: "Measured.",
  plan: "Planned.",
  prove: "Proved.",
  mix: "The mix is rendered.",
  deliver: "Printed.",
  refresh: "Looked for new files.",
};

/** @returns {HTMLElement} */
export function waitingLine() {
  const bar = el("progress", { max: 1, value: 0, "aria-label": "How far the job is" });
  const words = el("span", {});
  const stop = el("button", { type: "button", class: "plain", onclick: () => void cancel() }, "Stop");
  const line = el("p", { class: "waiting", hidden: true }, words, bar, stop);
  follow(["job", "link"], ({ job, link }) => {
    const runs = job?.state === "running";
    line.hidden = !runs && link !== "lost";
    bar.hidden = stop.hidden = !runs;
    if (link === "lost")
      fill(
        words,
        "The server does not answer; the page goes on when it does. Run `mixwright open` again if it was ended.",
      );
    else if (job && runs) {
      bar.value = job.total ? job.done / job.total : 0;
      fill(words, told(job));
    }
  });
  /** Of which job the page saw that it runs: how one ended is told once, and not again when it is read anew. */
  let running = 0;
  follow(["job"], ({ job }) => {
    if (job?.state === "running") running = job.id;
    if (!job || job.state === "running" || job.id !== running) return;
    running = 0;
    const error = job.error && [job.error.where, job.error.message, job.error.hint].filter(Boolean).join("; ");
    const text =
      job.state === "failed"
        ? `${job.command}: ${error}`
        : job.state === "cancelled"
          ? "Stopped; what is done is kept."
          : "";
    put({ notice: { text: text || DONE[/** @type {keyof typeof DONE} */ (job.command)] || "Done." } });
  });
  return line;
}

/** @param {Job} job */
function told(job) {
  const name = DOING[/** @type {keyof typeof DOING} */ (job.command)] || job.command;
  const far = job.total ? `${Math.floor((100 * job.done) / job.total)} %` : "";
  const left = job.left_s === null ? "" : `, about ${clock(job.left_s)} left`;
  return `${name}: ${job.doing === job.command ? "" : `${job.doing}, `}${far}${left}. ${job.note}`;
}

/** @returns {HTMLElement} what to do next, as buttons */
export function nextSteps() {
  const measure = el("button", { type: "button", class: "do", onclick: () => void start("measure") });
  const plan = el("button", { type: "button", class: "do", onclick: () => void start("plan") });
  const why = el("small", {});
  const moves = el("span", { class: "soft" });
  follow(["song", "job"], ({ song, job }) => {
    if (!song) return;
    const busy = job?.state === "running",
      { proposed = 0, accepted = 0 } = song.moves;
    measure.disabled = busy;
    plan.disabled = busy || !song.lead.length;
    measure.textContent = song.heard ? "Measure again" : "Measure";
    plan.textContent = song.planned ? "Plan anew" : "Plan";
    why.textContent = song.lead.length ? "" : "first say who is followed ";
    moves.textContent = proposed || accepted ? `Moves: ${proposed} proposed, ${accepted} accepted.` : "No moves yet.";
  });
  return el("p", { class: "next" }, measure, " ", plan, " ", why, moves);
}

/** @returns {HTMLElement} */
export function noticeLine() {
  const words = el("span", {});
  const again = el("button", { type: "button", class: "plain" }, "Do it again");
  const away = el("button", { type: "button", class: "plain", onclick: () => put({ notice: null }) }, "Close");
  const line = el("p", { class: "notice", hidden: true }, words, " ", again, " ", away);
  /** @type {(() => void) | undefined} */
  let repeat;
  again.addEventListener("click", () => {
    const asked = repeat;
    put({ notice: null });
    asked?.();
  });
  follow(["notice"], ({ notice }) => {
    line.hidden = !notice;
    repeat = notice?.again;
    again.hidden = !repeat;
    fill(words, notice?.text || "");
  });
  return line;
}
