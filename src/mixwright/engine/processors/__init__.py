# SPDX-License-Identifier: Apache-2.0
"""Processors: inserts as operations of the C core, one module a family; each registers what its inserts are made of."""

from mixwright.engine.processors import bass, colour, dynamics, filters, keyed, width
from mixwright.engine.processors.insert import operations_of

__all__ = ["bass", "colour", "dynamics", "filters", "keyed", "operations_of", "width"]
