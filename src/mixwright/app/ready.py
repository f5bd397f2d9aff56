# SPDX-License-Identifier: Apache-2.0
"""What a song must not be printed with unless its engineer says so, name by name."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

from mixwright.errors import SettingError, StateError, count, printable
from mixwright.io.kept import read_kept
from mixwright.model.results import StartResult
from mixwright.model.song import Song, used_tracks
from mixwright.model.words import FaultKind

#: What of a received file is not there: a better one must be asked for.
_DAMAGED: frozenset[FaultKind] = frozenset({"truncated", "header_differs", "non_finite", "out_of_range", "unreadable"})


@dataclass(frozen=True)
class Confirmed:
    """Names that are confirmed: undecided moves and muted layers, which are left out, and damaged tracks."""

    moves: Collection[str] = ()
    mutes: Collection[str] = ()
    faults: Collection[str] = ()


def check_ready(folder: Path, song: Song, confirmed: Confirmed) -> None:
    """Refuse to print a song with undecided moves, mutes or damaged tracks that are not confirmed by name.

    Raises
    ------
    StateError
        names what is not confirmed, and how to confirm it
    SettingError
        when something is confirmed that is not so: a name may be mistyped
    """
    undecided = [move.id for move in song.moves if move.state == "proposed"]
    _check(undecided, confirmed.moves, "proposed move", "not decided", "accept or refuse them", "--undecided-ok")
    muted = [owner.id for owners in (used_tracks(song), song.groups, song.sends) for owner in owners if owner.mute]
    _check(muted, confirmed.mutes, "muted layer", "", "set mute = false in song.toml", "--mutes-ok")
    damaged = _damaged(folder, song)
    _check(damaged, confirmed.faults, "damaged track", "", "ask for better files", "--faults-ok")


def _check(found: Sequence[str], confirmed: Collection[str], what: str, state: str, mend: str, option: str) -> None:
    unknown = [name for name in confirmed if name not in found]
    if unknown:
        known = f"there are {', '.join(map(printable, found))}" if found else "there is none"
        raise SettingError(f"{printable(unknown[0])!r} is no {what}", where=option, hint=known)
    open_ = [name for name in dict.fromkeys(found) if name not in confirmed]
    if open_:
        told = f"{count(len(open_), what)}{f' {state}' if state else ''}: {', '.join(map(printable, open_))}"
        names = ",".join(map(printable, dict.fromkeys(found)))
        left = "" if option == "--faults-ok" else ", which leaves them out"
        raise StateError(told, hint=f"{mend}, or deliver with {option} {names}{left}")


def _damaged(folder: Path, song: Song) -> list[str]:
    """Return the tracks in use of which intake found that something is not there."""
    try:
        intake = read_kept(folder, "intake", StartResult)
    except StateError:
        return []  # what intake found is told, and nothing stands on it
    if intake is None:
        return []
    # Intake tells files as they were delivered, the song from its own folder: only their names are alike.
    used = {track.id: printable(Path(track.file).name) for track in used_tracks(song)}
    return [
        track.id
        for track in intake.tracks
        if used.get(track.id) == Path(track.file).name and any(fault.kind in _DAMAGED for fault in track.faults)
    ]
