# SPDX-License-Identifier: Apache-2.0
"""Under which keys the audio of a mix lies in the cache."""

from __future__ import annotations

from collections.abc import Collection

from mixwright.engine.graph import MixGraph
from mixwright.io.stems import DECODED_BY
from mixwright.jobs.cache import Cache, code_hash

#: What the rendered audio depends on, beside the song and its files.
RENDERED_BY = (
    "mixwright.engine",
    "mixwright.app.dynamics",
    "mixwright.core.filters",
    "mixwright.core.resample",
    *DECODED_BY,
    "mixwright.meter.true_peak",
)
#: What measured levels depend on.
MEASURED_BY = ("mixwright.meter", "mixwright.core.spectra")


def rendered_key(what: str, graph: MixGraph, tracks: Collection[str] | None, *modules: str) -> str:
    """Return the key of something made of the mix, or of some of its tracks as they stand in it."""
    return Cache.key(what, graph.identity(tracks), code_hash(*RENDERED_BY, *modules))


def gains_key(graph: MixGraph) -> str:
    """Return the key of the logged gains of a mix."""
    return Cache.key("gains", graph.identity(), code_hash(*RENDERED_BY))
