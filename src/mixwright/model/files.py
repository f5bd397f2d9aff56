# SPDX-License-Identifier: Apache-2.0
"""The received files that a song names."""

from __future__ import annotations

from collections.abc import Mapping

from mixwright.model.record import Record
from mixwright.model.song import Song, changed
from mixwright.model.words import FileUse


class SongFile(Record, frozen=True, kw_only=True):
    """A file that a song names: what it is to the song, the id there, its path, its content (empty: not known)."""

    use: FileUse
    id: str
    file: str
    sha256: str


def files_of(song: Song) -> tuple[SongFile, ...]:
    """Return the tracks (those left out, too), references, rough mix and print of the mix that a song names."""
    named = [SongFile(use="track", id=t.id, file=t.file, sha256=t.sha256) for t in song.tracks]
    named += [SongFile(use="reference", id=r.id, file=r.file, sha256=r.sha256) for r in song.references]
    if song.rough:
        named.append(SongFile(use="rough", id="rough", file=song.rough, sha256=song.rough_sha256))
    if song.mix_print:
        named.append(SongFile(use="mix_print", id="mix_print", file=song.mix_print, sha256=song.mix_print_sha256))
    return tuple(named)


def with_files(song: Song, moved: Mapping[SongFile, str]) -> Song:
    """Return the song with new paths for some of its files; a file that it names otherwise by now stays as it is."""
    new = {(file.use, file.id): path for file, path in moved.items() if file in files_of(song)}
    return changed(
        song,
        tracks=tuple(changed(t, file=new.get(("track", t.id), t.file)) for t in song.tracks),
        references=tuple(changed(r, file=new.get(("reference", r.id), r.file)) for r in song.references),
        rough=new.get(("rough", "rough"), song.rough),
        mix_print=new.get(("mix_print", "mix_print"), song.mix_print),
    )
