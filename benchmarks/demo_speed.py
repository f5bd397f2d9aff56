# SPDX-License-Identifier: Apache-2.0
"""How long the demo song takes to be made, and where the time goes layer by layer.

Run: ``python benchmarks/demo_speed.py [--layers]`` on a machine that does nothing else. CPU time is that of all
threads, and grows by a third or so where both threads of one core, or other programs, share it.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from mixwright.demo.layers import LAYERS, made
from mixwright.demo.pieces import SONG
from mixwright.demo.record import write_demo


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        wall, cpu = time.perf_counter(), time.process_time()
        write_demo(Path(folder) / "demo")
        print(f"whole demo: {time.perf_counter() - wall:.1f} s, CPU {time.process_time() - cpu:.1f} s")
    if "--layers" in sys.argv[1:]:
        for layer in LAYERS:
            cpu = time.process_time()
            made(layer, SONG, planted=True)
            print(f"{time.process_time() - cpu:6.2f} s  {layer.file}")


if __name__ == "__main__":
    main()
