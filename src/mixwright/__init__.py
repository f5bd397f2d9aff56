# SPDX-License-Identifier: Apache-2.0
"""Mixwright: what a user can do, one function each; everything is loaded when first used."""

from __future__ import annotations

import importlib
import os
from typing import TYPE_CHECKING

# More than one BLAS thread makes the small products here many times slower; must be set before numpy loads.
for _name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

from mixwright.version import __version__  # noqa: E402

if TYPE_CHECKING:
    from mixwright.app.chain import chain
    from mixwright.app.check import check
    from mixwright.app.clean import clean
    from mixwright.app.compare import compare
    from mixwright.app.decide import accept, add, change, redo, refuse, undo
    from mixwright.app.deliver import deliver
    from mixwright.app.measure import measure
    from mixwright.app.mix import mix
    from mixwright.app.plan import plan
    from mixwright.app.preview import preview
    from mixwright.app.prove import prove
    from mixwright.app.refresh import refresh
    from mixwright.app.relink import relink
    from mixwright.app.settle import settle
    from mixwright.app.start import start
    from mixwright.app.tick import tick
    from mixwright.app.tour import tour
    from mixwright.app.verify import verify

_HOME = {
    "accept": "decide",
    "add": "decide",
    "chain": "chain",
    "change": "decide",
    "check": "check",
    "clean": "clean",
    "compare": "compare",
    "deliver": "deliver",
    "measure": "measure",
    "mix": "mix",
    "plan": "plan",
    "preview": "preview",
    "prove": "prove",
    "redo": "decide",
    "refresh": "refresh",
    "refuse": "decide",
    "relink": "relink",
    "settle": "settle",
    "start": "start",
    "tick": "tick",
    "tour": "tour",
    "undo": "decide",
    "verify": "verify",
}

__all__ = [
    "__version__",
    "accept",
    "add",
    "chain",
    "change",
    "check",
    "clean",
    "compare",
    "deliver",
    "measure",
    "mix",
    "plan",
    "preview",
    "prove",
    "redo",
    "refresh",
    "refuse",
    "relink",
    "settle",
    "start",
    "tick",
    "tour",
    "undo",
    "verify",
]


def __getattr__(name: str) -> object:
    """Load the function that a user asked for."""
    if name in _HOME:
        return getattr(importlib.import_module(f"mixwright.app.{_HOME[name]}"), name)
    raise AttributeError(f"module 'mixwright' has no attribute {name!r}")


def __dir__() -> list[str]:
    """List the public names without loading them."""
    return sorted(__all__)
