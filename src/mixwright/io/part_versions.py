# SPDX-License-Identifier: Apache-2.0
"""Versions of every part that the samples of a file depend on."""

from __future__ import annotations

import importlib.metadata
import platform

import soundfile

from mixwright.jobs.entries import file_digest
from mixwright.native.library import library_path
from mixwright.version import __version__

_LIBRARIES = ("numpy", "scipy", "soundfile", "soxr")


def part_versions() -> dict[str, str]:
    """Return versions by part; of the C core, the first digits of its digest."""
    return {
        "mixwright": __version__,
        "core": file_digest(library_path("baseline"))[:16],
        "python": platform.python_version(),
        **{name: importlib.metadata.version(name) for name in _LIBRARIES},
        "libsndfile": soundfile.__libsndfile_version__,
        "machine": platform.machine(),
    }
