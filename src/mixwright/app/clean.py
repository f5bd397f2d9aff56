# SPDX-License-Identifier: Apache-2.0
"""Free disk space: the cache of a song, and nothing else."""

from __future__ import annotations

from pathlib import Path

from mixwright.app.bounces import release
from mixwright.io.song_file import require_song
from mixwright.jobs.budget import budget_bytes, trim
from mixwright.jobs.parts import remove_abandoned
from mixwright.model.results import CleanResult


def clean(song: Path, *, everything: bool = False, superseded: bool = False) -> CleanResult:
    """Bring the cache of a song to its budget, and remove what commands that were killed left half-made.

    Everything in the cache can be made again; nothing else is touched. What a running command uses stays.

    Parameters
    ----------
    song : Path
        The song folder.
    everything : bool
        Empty the cache whatever the budget; the next command takes longer.
    superseded : bool
        Release what tracks held before bounces took their place, too.

    Raises
    ------
    StateError
        when there is no song
    SettingError
        when the budget in ``MIXWRIGHT_CACHE_GIB`` is no size
    """
    song = Path(song)
    require_song(song)
    cache = song / "cache"
    budget = budget_bytes(cache)
    trimmed = trim(cache, 0 if everything else budget)
    for folder in (song, *(song / name for name in ("kept", "mixes", "prints")), *(song / "kept").glob("journal/*")):
        remove_abandoned(folder)
    return CleanResult(
        released_bytes=release(song) if superseded else 0,
        folder=str(cache),
        freed_bytes=trimmed.freed_bytes,
        remaining_bytes=trimmed.remaining_bytes,
        in_use_bytes=trimmed.in_use_bytes,
        budget_bytes=budget,
        left_alone=trimmed.left_alone,
    )
