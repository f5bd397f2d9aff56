# SPDX-License-Identifier: Apache-2.0
"""Check any finished files: what they hold, how loud they are, what is wrong with them."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from mixwright.app.checked_file import Decoded, HeldTo, checked_file
from mixwright.app.receiving import AUDIO_ENDINGS
from mixwright.delivery.check_lines import MIX_CHECKS, line, lines_of
from mixwright.delivery.finished.parts import Off
from mixwright.delivery.name_checks import taken_names
from mixwright.delivery.normalising import NORMALISERS, normalisers_of, played_levels
from mixwright.delivery.parts_check import Part, parts_check
from mixwright.delivery.print_set import PARTS
from mixwright.errors import InputError, SettingError, printable
from mixwright.intake.faults import problem_kind
from mixwright.io.decode import Decoder
from mixwright.io.tags import read_tags
from mixwright.jobs.array_file import map_array
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.audio import Fault
from mixwright.model.expected import Expected
from mixwright.model.results import CheckedFile, CheckLine, CheckResult
from mixwright.model.song import changed
from mixwright.model.tags import Tags

#: Kinds of prints that are one sound where a song has no backing voices, no doubles, or no limiter.
_MIX = frozenset({"main", "for_mastering"})
_SAME = (frozenset({"instrumental", "tv", "performance"}), _MIX)
#: Kinds of prints that add up to the mix.
_ADD_UP = frozenset({"stem", "instrumental", "a_cappella"})


def check(
    files: Sequence[Path | str],
    *,
    against: Path | str | None = None,
    expected: Expected | None = None,
    voice: Path | str | None = None,
    muted_s: Sequence[tuple[float, float]] = (),
    played_lufs: Sequence[float] = (),
    report: Report = silent,
    cancel: Cancel | None = None,
    workers: int | None = None,
) -> CheckResult:
    """Check finished files of any kind that can be decoded.

    A file that cannot be used is one entry that says why; the others are checked all the same.

    Parameters
    ----------
    files : sequence of paths
        A folder stands for the audio files in it.
    against : path, optional
        The mix that the files belong to: start, polarity, sides and length must be its own. With ``expected.parts``,
        or where two or more of the files are tagged as stems or all as instrumental and a cappella, they must add up.
    expected : Expected, optional
        What was agreed.
    voice : path, optional
        The voice alone, from the same start, for what is left of muted words.
    muted_s : sequence of (start, end)
        Where words are muted, in seconds.
    played_lufs : sequence of float, optional
        Levels of playback that normalises, in place of those in common use.
    workers : int, optional
        Files checked at once.

    Raises
    ------
    SettingError
        when no file is named, or muted ranges and the voice do not come together
    InputError
        when the mix or the voice cannot be read
    OutputError
        when there is no room to decode
    """
    _check_muted(voice, muted_s)
    paths = _listed(files, against)
    normalisers = normalisers_of(played_lufs) if played_lufs else NORMALISERS
    cancel = cancel or Cancel()
    job = Job("checking files", len(paths), report, cancel)
    with Decoder(cancel=cancel) as decoder, tempfile.TemporaryDirectory(prefix="mixwright-") as folder:

        def decoded(path: Path, name: str) -> Decoded:
            into = Path(folder) / f"{name}.npy"
            return Decoded(path, decoder.decode(path, into), map_array(into))

        mix = None if against is None else decoded(Path(against), "mix")
        tags = [_tags_of(path) for path in paths]
        held = HeldTo(
            expected=expected or Expected(),
            mix=mix,
            voice=None if voice is None else decoded(Path(voice), "voice"),
            muted_s=tuple(muted_s),
            others_tagged=any(one is not None and one.title for one in tags),
        )

        def one(item: tuple[int, Path]) -> tuple[CheckedFile, Decoded | None]:
            number, path = item
            file = None
            try:
                file = decoded(path, str(number))
                found = checked_file(file, tags[number], held, cancel)
            except InputError as error:
                found, file = _unreadable(path, error), None
            if found.levels is not None:
                found = changed(found, played=played_levels(found.levels, normalisers))
            if mix is None or not (held.expected.parts or found.kind in _ADD_UP):  # others are read once
                (Path(folder) / f"{number}.npy").unlink(missing_ok=True)
                file = None
            job.step()
            return found, file

        checked = list(in_order(one, enumerate(paths), workers))
        results = [found for found, _ in checked]
        together = _together(results)
        if mix is not None:
            parts = [
                i for i, (found, file) in enumerate(checked) if file is not None and _is_part(found, held, results)
            ]
            if held.expected.parts or len(parts) > 1:
                lines, off = _parts(mix, [(i, checked[i][1]) for i in parts], cancel)
                together += lines
                for number, faults in off:
                    results[number] = _with_faults(results[number], faults)
    return CheckResult(files=tuple(results), checks=tuple(together))


def _check_muted(voice: Path | str | None, muted_s: Sequence[tuple[float, float]]) -> None:
    if (voice is None) != (not muted_s):
        raise SettingError(
            "muted words are looked for with the voice alone and the ranges that are muted",
            hint="give both: --voice FILE --muted 12.5-13.1",
        )
    for start_s, end_s in muted_s:
        if not 0.0 <= start_s < end_s:
            raise SettingError(
                f"{start_s:g} to {end_s:g} s is no range", hint="give start and end in seconds: 12.5-13.1"
            )


def _listed(files: Sequence[Path | str], against: Path | str | None) -> list[Path]:
    """Return the files named, and those of folders that are named, by name; without the mix that they stand beside."""
    paths: list[Path] = []
    for named in map(Path, files):
        if os.path.isdir(named):  # noqa: PTH112 - not of Path: there a name that is too long is an error
            inside = sorted(path for path in named.iterdir() if path.suffix.lower() in AUDIO_ENDINGS)
            if not inside:
                raise SettingError("the folder holds no audio file", where=printable(named), hint="name another")
            paths += inside
        else:
            paths.append(named)
    if against is not None:
        paths = [path for path in paths if not _same(path, Path(against))]
    if not paths:
        raise SettingError("no file to check", hint="name one or more audio files")
    return paths


def _same(path: Path, other: Path) -> bool:
    with suppress(OSError, ValueError):
        return path.samefile(other)
    return False


def _tags_of(path: Path) -> Tags | None:
    with suppress(InputError):
        return read_tags(path)
    return None


def _unreadable(path: Path, error: InputError) -> CheckedFile:
    return CheckedFile(
        file=str(path),
        container="",
        encoding="",
        sample_rate_hz=None,
        channels=None,
        duration_s=None,
        levels=None,
        faults=(Fault(kind=problem_kind(error), severity="unusable", detail=error.message),),
        checks=(line("can be read", False, "; ".join(filter(None, (error.message, error.hint)))),),
    )


def _together(results: Sequence[CheckedFile]) -> list[CheckLine]:
    """Return whether every name, and every sound in one form, is there once; of one file there is nothing to tell."""
    if len(results) < 2:
        return []
    taken = taken_names([Path(one.file).name for one in results])
    wrong = [f"{printable(name)} is {printable(first)} to some systems; rename it" for name, first in taken.items()]
    return [line("every name once", not wrong, "; ".join(wrong) or "all differ"), _twice(results)]


def _twice(results: Sequence[CheckedFile]) -> CheckLine:
    """Tell which files are one sound: no fault where two kinds of print may well be.

    A group of all the voices is the a cappella, a layer may be all that is in its group. No part is the whole mix.
    """
    met: dict[object, CheckedFile] = {}
    wrong, meant = [], []
    for one in results:
        if one.levels is None or one.levels.sample_peak_dbfs is None:
            continue
        # Two sounds whose levels agree to the last bit, in every band, are one.
        first = met.setdefault((one.container, one.encoding, one.channels, one.levels), one)
        if first is not one:
            told = f"{printable(one.file)} holds the same as {printable(first.file)}"
            kinds = {one.kind, first.kind}
            is_part = bool(kinds & PARTS) and not kinds & _MIX
            if len(kinds) == 2 and (is_part or any(kinds <= same for same in _SAME)):
                meant.append(told)
            else:
                wrong.append(f"{told}; export the right one")
    return line("no file twice", not wrong, "; ".join((*wrong, *meant)) or "all hold something else")


def _is_part(found: CheckedFile, held: HeldTo, results: Sequence[CheckedFile]) -> bool:
    """Return whether a file is one of those that must add up to the mix."""
    if held.expected.parts:
        return True
    kinds = {one.kind for one in results}
    if "stem" in kinds:
        return found.kind == "stem"
    return {"instrumental", "a_cappella"} <= kinds and found.kind in ("instrumental", "a_cappella")


def _parts(
    mix: Decoded, files: Sequence[tuple[int, Decoded | None]], cancel: Cancel
) -> tuple[list[CheckLine], list[tuple[int, tuple[Fault, ...]]]]:
    """Return whether parts add up, and the faults of those that are off, by the number of the file."""
    whole = Part(mix.path.name, mix.info.sample_rate_hz, mix.audio)
    numbers, parts = [], []
    for number, file in files:
        if file is not None:
            numbers.append(number)
            parts.append(Part(file.path.name, file.info.sample_rate_hz, file.audio))
    told, total = parts_check(whole, parts, cancel)
    off = () if total is None else total.off
    return [told], [(numbers[one.part], _off_faults(one)) for one in off]


def _off_faults(off: Off) -> tuple[Fault, ...]:
    kinds = []
    if off.late_frames:
        kinds.append(
            Fault(kind="start_differs", severity="look", detail=f"{replace(off, sides=False, gain=1.0).words}; move it")
        )
    if off.sides:
        kinds.append(
            Fault(kind="sides_changed", severity="look", detail="left and right changed over; change them back")
        )
    if off.gain < 0.0:
        kinds.append(Fault(kind="polarity", severity="look", detail="turned over beside the mix; turn it over"))
    if off.gain >= 0.0 and off.gain != 1.0:
        kinds.append(Fault(kind="gain_differs", severity="look", detail=f"{off.words}; change it back"))
    return tuple(kinds)


def _with_faults(found: CheckedFile, faults: Sequence[Fault]) -> CheckedFile:
    """Return a file with more faults, those that it has left out, and its lines beside the mix anew."""
    new = [fault for fault in faults if fault.kind not in {one.kind for one in found.faults}]
    names = {name: kinds for kinds, name, _ in MIX_CHECKS}
    lines = tuple(
        lines_of(((names[one.name], one.name, one.detail),), new)[0]
        if one.name in names and one.passed and any(fault.kind in names[one.name] for fault in new)
        else one
        for one in found.checks
    )
    return changed(found, faults=(*found.faults, *new), checks=lines)
