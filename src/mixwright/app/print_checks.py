# SPDX-License-Identifier: Apache-2.0
"""Checks of prints that their proof leaves open: silence, offset, mono, the same twice, header and tags of each file.

Nothing is read for them but headers: levels are those that were measured before the files were written.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from mixwright.app.print_files import Measured, print_tags
from mixwright.delivery.check_lines import line
from mixwright.delivery.file_checks import NEAR_SILENT_LUFS
from mixwright.delivery.file_plan import PrintFile
from mixwright.delivery.finished.mono_sum import WHOLE
from mixwright.delivery.print_set import PARTS
from mixwright.errors import InputError
from mixwright.intake.faults import DC_LOOK_DBFS
from mixwright.io.read_back import written_form
from mixwright.io.tags import read_tags
from mixwright.model.levels import Levels
from mixwright.model.results import CheckLine
from mixwright.model.song import Song
from mixwright.model.tags import TagLoudness, Tags

#: What every container holds as it was given.
_COMPARED = ("title", "print", "artist", "album", "kind", "isrc", "date", "key")
_BRACKETS = str.maketrans("()", "[]")


def print_checks(folder: Path, song: Song, files: Sequence[PrintFile], levels: Measured) -> tuple[CheckLine, ...]:
    """Return what levels and headers show of the files of a set.

    Parameters
    ----------
    folder : Path
        In which they were written.
    song : Song
    files : sequence of PrintFile
    levels : mapping
        Of every print at every rate.
    """
    sound = {file.entry.name: levels[file.entry, file.rate_hz] for file in files}
    whole = {file.entry.name for file in files if _is_whole(file)}
    return (
        _line("every file sounds", sound, lambda name, found: _silent(found, whole=name in whole), "not one is silent"),
        _line("no constant offset", sound, _offset, "none that matters"),
        _line("mono keeps every mix", {name: sound[name] for name in sound if name in whole}, _against, "it does"),
        _twice(sound),
        _forms(folder, song, files),
        _tags(folder, song, files),
    )


def _is_whole(file: PrintFile) -> bool:
    """Tell whether a print is a mix: parts may be silent for long, or stand on the sides alone."""
    return file.entry.kind not in PARTS and file.entry.kind != "a_cappella"


def _line(name: str, sound: dict[str, Levels], fault: Callable[[str, Levels], str], good: str) -> CheckLine:
    return _told(name, (f"{one}: {told}" for one, found in sound.items() if (told := fault(one, found))), good)


def _told(name: str, wrong: Iterable[str], good: str) -> CheckLine:
    told = "; ".join(wrong)
    return line(name, not told, told or good)


def _silent(found: Levels, *, whole: bool) -> str:
    if found.sample_peak_dbfs is None:
        return "silent; leave it out, or unmute what belongs in it"
    # What lies below the gate throughout has no integrated loudness.
    loudness = found.momentary_max_lufs if found.integrated_lufs is None else found.integrated_lufs
    if whole and loudness is not None and loudness < NEAR_SILENT_LUFS:
        return f"only {loudness:.1f} LUFS; raise what belongs in it"
    return ""


def _offset(_: str, found: Levels) -> str:
    if found.dc_dbfs is None or found.dc_dbfs <= DC_LOOK_DBFS:
        return ""
    return f"{found.dc_dbfs:.1f} dBFS; put a high-pass on what brings it in"


def _against(_: str, found: Levels) -> str:
    if found.correlation is None or found.correlation >= WHOLE:
        return ""
    return f"left and right move against one another (correlation {found.correlation:.2f}); turn one side over"


def _twice(sound: dict[str, Levels]) -> CheckLine:
    """Tell which prints are one sound: no fault where one group holds all the voices, but worth a look."""
    first: dict[Levels, str] = {}
    same = []
    for name, found in sound.items():
        # Two sounds of which all levels agree to the last bit are one.
        if found.sample_peak_dbfs is not None and (other := first.setdefault(found, name)) != name:
            same.append(f"{name} is the same as {other}")
    return line("no print twice", True, "; ".join(same) or "all hold something else")


def _forms(folder: Path, song: Song, files: Sequence[PrintFile]) -> CheckLine:
    wrong = (
        f"{file.name} says {rate_hz} Hz, {form or 'an unknown format'}"
        for file in files
        for rate_hz, form in (written_form(folder / file.name),)
        if (rate_hz, form) != (file.rate_hz, file.sample_format)
    )
    good = "every header says what was asked for"
    if raised := sorted({file.rate_hz for file in files if file.rate_hz > song.rate_hz}):
        good += f"; {', '.join(map(str, raised))} Hz are brought up from the song's {song.rate_hz}"
    return _told("rates and depths", wrong, good)


def _tags(folder: Path, song: Song, files: Sequence[PrintFile]) -> CheckLine:
    wrong = []
    for file in files:
        wanted = print_tags(song, file, 0, TagLoudness())
        try:
            found = read_tags(folder / file.name)
        except InputError as error:
            wrong.append(f"{file.name}: {error.message}")
            continue
        differ = [name for name in _COMPARED if found is None or getattr(found, name) != getattr(wanted, name)]
        if found is None or _credited(found) != _credited(wanted):
            differ.append("credits")
        if differ:
            wrong.append(f"{file.name}: {', '.join(differ)}")
    return _told("tags", wrong, "read back as the song has them")


def _credited(tags: Tags) -> set[tuple[str, str]]:
    """Return who did what as every container tells it: FLAC has capitals and brackets of its own for roles."""
    return {(one.role.casefold().translate(_BRACKETS), one.name) for one in tags.credits}
