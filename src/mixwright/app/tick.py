# SPDX-License-Identifier: Apache-2.0
"""Say what a reference stands for: the attributes that it was chosen for, and which of its parts stand beside which."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from mixwright.app.page import write_page
from mixwright.app.told import check_known
from mixwright.errors import InputError, SettingError, printable, where
from mixwright.intake.ids import Ids, slug
from mixwright.io.decode import Decoder
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import relative_to_song
from mixwright.io.song_file import edit_song, load_song
from mixwright.model.profile import ATTRIBUTES
from mixwright.model.results import ReferencesResult
from mixwright.model.song import RESERVED, Reference, Song, changed, replace_in

#: In place of attributes: for all of them.
EVERYTHING = "everything"


def tick(
    song: Path,
    reference: str = "",
    *,
    use_for: Sequence[str] = (),
    beside: Mapping[str, str] | None = None,
    voice: Path | None = None,
    add: Path | None = None,
) -> ReferencesResult:
    """Change what a reference stands for, or add one; return all references of the song.

    Parameters
    ----------
    song : Path
        The song folder.
    reference : str
        Its id; not needed where one is added, or the song has only one.
    use_for : sequence of str
        Attributes that it was chosen for; :data:`EVERYTHING` for all; none leaves them as they are.
    beside : mapping of str to str
        Sections of the song to sections of the reference; an empty one leaves it to the program again.
    voice : Path, optional
        A print of its lead voice alone.
    add : Path, optional
        A finished record to add.

    Raises
    ------
    InputError
        when a file cannot be used
    SettingError
        when an attribute, a section or a reference is not known
    """
    folder = Path(song)
    given = load_song(folder)
    check_known(use_for, [*ATTRIBUTES, EVERYTHING], "attribute", "for")
    check_known(list(beside or {}), [section.name for section in given.sections], "section", "beside")
    new = None if add is None else _added(folder, given, Path(add))
    asked = bool(use_for or beside or voice or add)
    if not asked:
        return ReferencesResult(references=given.references)
    if new is None:
        known = [one.id for one in given.references]
        reference = reference or (known[0] if len(known) == 1 else "")
        check_known([reference], known, "reference", "reference")
    their_voice = "" if voice is None else _usable(folder, Path(voice))
    id_ = new.id if new is not None else reference

    def edit(before: Song) -> Song:
        one = new or next((one for one in before.references if one.id == id_), None)
        if one is None:
            raise SettingError(f"no reference is called {id_!r} any more", where="references")
        if use_for:
            one = changed(one, use_for=() if EVERYTHING in use_for else tuple(dict.fromkeys(use_for)))
        if beside:
            one = changed(one, beside={name: part for name, part in {**one.beside, **beside}.items() if part})
        if their_voice:
            one = changed(one, voice=their_voice)
        return changed(before, references=replace_in(before.references, one))

    after = edit_song(folder, f"reference {id_}", edit)
    write_page(folder)
    return ReferencesResult(references=after.references)


def _added(folder: Path, song: Song, path: Path) -> Reference:
    file = _usable(folder, path)
    ids = Ids({*RESERVED, *(one.id for one in song.references)})
    return Reference(id=ids.new(slug(path.stem) or "reference"), file=file, sha256=file_sha256(path))


def _usable(folder: Path, path: Path) -> str:
    """Return how the song names a finished file, after a look at its head."""
    with where(printable(path)), Decoder() as decoder:
        info = decoder.probe(path)
        if info.channels > 2:
            raise InputError(f"{info.channels} channels; a record has one or two", hint="give a stereo version")
        if info.frames == 0:
            raise InputError("holds no audio", hint="export it again")
    return relative_to_song(folder, path)
