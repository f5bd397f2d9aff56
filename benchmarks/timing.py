# SPDX-License-Identifier: Apache-2.0
"""Time several ways to do a thing in one run."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping


def timed(ways: Mapping[str, Callable[[], object]], repeat: int) -> tuple[dict[str, float], dict[str, float]]:
    """Return the smallest wall clock and the smallest processor time of each way, in seconds, by turns."""
    wall, cpu = dict.fromkeys(ways, math.inf), dict.fromkeys(ways, math.inf)
    for _ in range(repeat):
        for name, way in ways.items():
            start, start_cpu = time.perf_counter(), time.process_time()
            way()
            wall[name] = min(wall[name], time.perf_counter() - start)
            cpu[name] = min(cpu[name], time.process_time() - start_cpu)
    return wall, cpu
