# SPDX-License-Identifier: Apache-2.0
"""Leave findings as they are: they are told last, and count again only where they grow."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from mixwright.errors import SettingError, StateError, listed, printable
from mixwright.io.kept import read_kept
from mixwright.io.song_file import edit_song
from mixwright.ledger.findings import cued_db
from mixwright.model.ledger import Finding
from mixwright.model.results import MeasureResult
from mixwright.model.song import LeftAsIs, Song, changed, replace_in


def leave(song: Path, findings: Sequence[str]) -> tuple[str, ...]:
    """Leave findings of the last `measure` as they are; return their ids.

    Parameters
    ----------
    song : Path
        The song folder.
    findings : sequence of str
        Ids, or parts of ids that fit only one.

    Raises
    ------
    StateError
        where nothing was measured yet
    SettingError
        where no finding, or more than one, is called so
    """
    measured = read_kept(song, "measure", MeasureResult)
    if measured is None or measured.hearing is None:
        raise StateError("nothing was measured yet", where=printable(song), hint="run measure first")
    chosen = [_named(measured.hearing.findings, name) for name in findings]

    def edit(before: Song) -> Song:
        left = before.left_as_is
        for one in chosen:
            left = replace_in(left, left_as_is(one))
        return changed(before, left_as_is=left)

    edit_song(song, f"leave {', '.join(one.id for one in chosen)}", edit)
    return tuple(one.id for one in chosen)


def _named(findings: Sequence[Finding], name: str) -> Finding:
    found = [one for one in findings if one.id == name] or [one for one in findings if name in one.id]
    if len(found) == 1:
        return found[0]
    what = f"no finding is called {printable(name)!r}" if not found else f"{printable(name)!r} fits several findings"
    hint = f"one of {listed([one.id for one in found or findings])}" if findings else "nothing lies outside tolerance"
    raise SettingError(what, where="--leave", hint=hint)


def left_as_is(finding: Finding) -> LeftAsIs:
    """Return what a song says of a finding that is left as it is."""
    return LeftAsIs(
        id=finding.id,
        kind=finding.kind,
        track=finding.track,
        section=finding.section,
        band_hz=finding.band_hz,
        size_db=cued_db(finding.size_db),
    )
