# SPDX-License-Identifier: Apache-2.0
"""How soon the page of a measured song is there: `python benchmarks/page_speed.py SONG`; needs playwright and Chromium.

Each view is that of a fresh browser profile, from the address to the last row of the song map, and then the time from a
key to the next frame in which the map was drawn anew. Wall clock, and beside it processor time: of this process, which
serves, and of the tasks of the page, as Chromium counts them. The first view of all is told apart: it loads modules.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import time
from pathlib import Path

from served_page import served_page

_KEY = """
() => new Promise(done => {
  const field = document.querySelector('.map .field'), begun = performance.now();
  field.focus();
  field.dispatchEvent(new KeyboardEvent('keydown', {key: 'ArrowDown', bubbles: true}));
  requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now() - begun)));
})
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("song", type=Path)
    parser.add_argument("--repeat", type=int, default=5)
    given = parser.parse_args()
    rows = []
    with served_page(given.song) as (address, browser):
        for _ in range(given.repeat + 1):
            context = browser.new_context(viewport={"width": 1280, "height": 800})
            page = context.new_page()
            counted = context.new_cdp_session(page)
            counted.send("Performance.enable")
            wall, served = time.perf_counter(), time.process_time()
            page.goto(address)
            page.wait_for_selector(".names label")
            wall, served = time.perf_counter() - wall, time.process_time() - served
            figures = {one["name"]: one["value"] for one in counted.send("Performance.getMetrics")["metrics"]}
            rows.append((wall, served, figures["TaskDuration"], page.evaluate(_KEY) / 1000.0))
            context.close()
    names = ("first view, wall", "served, processor", "page's main thread", "key to drawn frames")
    for number, name in enumerate(names):
        later = [row[number] for row in rows[1:]]
        line = f"{name:20} {statistics.median(later):6.3f} s (from {min(later):.3f} to {max(later):.3f}); "
        sys.stdout.write(f"{line}the very first {rows[0][number]:.3f} s\n")


if __name__ == "__main__":
    main()
