// SPDX-License-Identifier: Apache-2.0
// The level of all that is heard, what it may not pass, and a word of caution.

import { el, fill } from "../dom.js";
import { follow } from "../store.js";
import { CAP_LUFS, LEAST_LUFS, RAISED_LUFS } from "./level.js";
import { cap, listening, raiseCap, setLevel } from "./listen.js";

const CAUTION =
  " It starts quietly: turn it up little by little, for what is loud harms hearing. " +
  "How loud it is at your ears the page cannot know.";

/** @returns {HTMLElement} */
export function levelLine() {
  const slider = el("input", {
    type: "range",
    min: LEAST_LUFS,
    max: CAP_LUFS,
    step: 1,
    "aria-label": "Level of all that is heard, in LUFS",
    "data-word": "level",
  });
  const told = el("output", {});
  const raise = el("button", { type: "button", class: "plain" });
  const caution = el("small", {}, CAUTION);
  slider.addEventListener("input", () => setLevel(Number(slider.value)));
  raise.addEventListener("click", () => raiseCap(!listening().raised));
  follow(["listening"], ({ listening: now }) => {
    slider.max = String(now.raised ? RAISED_LUFS : CAP_LUFS);
    slider.value = String(now.level);
    const most = cap();
    const held = most < (now.raised ? RAISED_LUFS : CAP_LUFS) - 0.5 && now.level >= most - 0.5;
    const far = held ? ", as far as its peaks allow" : "";
    const said = `Everything at ${now.level.toFixed(0).replace("-", "\u2212")} LUFS${far}.`;
    fill(told, said);
    slider.setAttribute("aria-valuetext", said);
    fill(raise, now.raised ? `Hold it below ${-CAP_LUFS} again` : `Let it go up to \u2212${-RAISED_LUFS} LUFS`);
    raise.hidden = !now.raised && now.level < CAP_LUFS - 0.5;
    caution.hidden = now.plays !== "no" && now.level < CAP_LUFS;
  });
  return el("p", { class: "level" }, slider, " ", told, " ", raise, caution);
}
