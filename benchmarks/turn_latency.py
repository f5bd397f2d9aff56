# SPDX-License-Identifier: Apache-2.0
"""How soon a number that is turned is heard: `python benchmarks/turn_latency.py SONG`; needs playwright and Chromium.

The song has an accepted move with a number that can be tried out. It is heard, and one of its numbers is stepped by a
key again and again; told is the time from the event of the key to the message of the worklet that the first 128 frames
with the new setting were made, which takes in the way of that message back. What the device adds is told apart.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from pathlib import Path

from served_page import served_page

_HEARKEN = """
const Plain = AudioWorkletNode;
window.heard = [];
window.AudioWorkletNode = class extends Plain {
  constructor(...given) {
    super(...given);
    window.player = this;
    this.port.addEventListener("message", ({ data }) => {
      if (data.changed !== undefined) window.heard.push(performance.now() - window.pressed);
    });
  }
};
addEventListener("keydown", event => { window.pressed = event.timeStamp }, true);
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("song", type=Path)
    parser.add_argument("--repeat", type=int, default=100)
    parser.add_argument("--number", default=".move.accepted input[aria-label='gain, in dB']", help="a CSS selector")
    given = parser.parse_args()
    with served_page(given.song) as (address, browser):
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        page.set_default_timeout(120000)
        page.add_init_script(_HEARKEN)
        page.goto(f"{address}#moves")
        number = page.locator(given.number).first
        number.wait_for()
        with page.expect_response("**/api/try/audio**"):
            number.locator("xpath=ancestor::li").locator("[data-word$=' h']").click()
        page.wait_for_timeout(1500)
        number.focus()
        for turn in range(given.repeat):
            page.keyboard.press("ArrowUp" if turn % 2 else "ArrowDown")
            page.wait_for_function("many => window.heard.length >= many", arg=turn + 1, polling=5)
            page.wait_for_timeout(40)
        first, *later = page.evaluate("window.heard")
        device = page.evaluate("player.context.baseLatency + player.context.outputLatency") * 1000.0
    later.sort()
    sys.stdout.write(
        f"key to first changed frames, {len(later)} turns: median {statistics.median(later):.1f} ms, "
        f"95th of 100 {later[int(0.95 * len(later))]:.1f} ms, longest {later[-1]:.1f} ms; "
        f"the first turn {first:.1f} ms; the device adds {device:.1f} ms\n"
    )


if __name__ == "__main__":
    main()
