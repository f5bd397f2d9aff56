# SPDX-License-Identifier: Apache-2.0
"""Processors: inserts as operations of the C core, one module a family."""

from mixwright.engine.processors.bass import bass_harmonics, low_end
from mixwright.engine.processors.colour import saturation
from mixwright.engine.processors.dynamics import compressor
from mixwright.engine.processors.filters import filters
from mixwright.engine.processors.insert import operations_of
from mixwright.engine.processors.keyed import dip, duck, peaks
from mixwright.engine.processors.width import width

__all__ = [
    "bass_harmonics",
    "compressor",
    "dip",
    "duck",
    "filters",
    "low_end",
    "operations_of",
    "peaks",
    "saturation",
    "width",
]
