# SPDX-License-Identifier: Apache-2.0
"""Files that go beside the prints as they are: the preview that the artist approved."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator, Sequence
from pathlib import Path

from mixwright.errors import InputError, OutputError, printable
from mixwright.io.kept import relative_to_song, song_path
from mixwright.io.replace import replacing
from mixwright.jobs.paced_file import PacedFile
from mixwright.model.agreement import Agreement
from mixwright.model.prints import CopiedFile

_ENDINGS = (".wav", ".flac", ".mp3", ".opus", ".m4a")
_PIECE_BYTES = 1 << 20


def approved_preview(song: Path, agreement: Agreement) -> tuple[list[Path], tuple[str, ...]]:
    """Return the files of the approved preview, where the mix for mastering is printed; and what of it is missing."""
    if "for_mastering" not in agreement.prints or not agreement.approved_preview:
        return [], ()
    folder = song_path(song, agreement.approved_preview)
    shown = printable(agreement.approved_preview)
    try:
        files = [path for path in sorted(folder.iterdir()) if path.suffix.lower() in _ENDINGS and path.is_file()]
    except OSError as error:
        return [], (f"preview: {shown} cannot be read ({error.strerror or error})",)
    return files, () if files else (f"preview: {shown} holds no audio",)


def copied(folder: Path, song: Path, files: Sequence[Path], taken: Collection[str]) -> tuple[CopiedFile, ...]:
    """Copy files into the folder of the prints, under their own names.

    Raises
    ------
    OutputError
        when a print has the name already, or it cannot be written
    InputError
        when a file cannot be read
    """
    found = []
    names = {name.casefold() for name in taken}
    for path in files:
        if path.name.casefold() in names:
            raise OutputError("a print has the name of this preview", where=printable(path), hint="rename the preview")
        names.add(path.name.casefold())
        digest, size = hashlib.sha256(), 0
        with replacing(folder / path.name) as part, PacedFile(part) as out:
            for piece in _pieces(path):
                digest.update(piece)
                out.write(piece)
                size += len(piece)
        found.append(
            CopiedFile(
                file=path.name,
                kind="preview",
                sha256=digest.hexdigest(),
                size_bytes=size,
                copy_of=relative_to_song(song, path),
            )
        )
    return tuple(found)


def _pieces(path: Path) -> Iterator[bytes]:
    try:
        with path.open("rb") as source:
            while piece := source.read(_PIECE_BYTES):
                yield piece
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror or error})", where=printable(path)) from error
