# SPDX-License-Identifier: Apache-2.0
"""Inserts to test by, at least one of every kind, each with the plain Python that does the same.

A family keeps its own in `examples_FAMILY.py`: `EXAMPLES`, pairs of an insert and its twin. A twin takes the insert,
the rate, float64 audio ``(frames, channels)`` and the key (float32 ``(frames, 2)``, or None) and returns what comes out
of the processor alone: without `mix`, `gain_db` and `works_on`, which are tested for all at once.
"""

from __future__ import annotations

import importlib
import pkgutil
from pathlib import Path

RATE_HZ = 48000


def every():
    """Return all pairs of insert and twin."""
    names = sorted(m.name for m in pkgutil.iter_modules([str(Path(__file__).parent)]) if m.name.startswith("examples_"))
    return [pair for name in names for pair in importlib.import_module(f"engine.processors.{name}").EXAMPLES]
