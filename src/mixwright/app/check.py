# SPDX-License-Identifier: Apache-2.0
"""Check any finished files: what they hold, how loud they are, what is wrong with them."""

from __future__ import annotations

import functools
import math
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from mixwright.errors import InputError, SettingError, count, printable
from mixwright.intake.faults import channel_words, header_faults, own_faults, problem_kind
from mixwright.intake.listening import listen
from mixwright.io.decode import Decoder
from mixwright.jobs.array_file import map_array
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, blocks, silent
from mixwright.meter.measure import Meter
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.levels import Levels
from mixwright.model.results import CheckedFile, CheckLine, CheckResult
from mixwright.model.song import changed
from mixwright.model.words import FaultKind
from mixwright.units import db_from_power, db_from_ratio

TRUE_PEAK_LIMIT_DBTP = 0.0
#: A file that starts or ends above this has been cut (common practice, no source).
CUT_LIMIT_DBFS = -50.0
_TAIL_S = 0.010
#: Rounding of the figures shown; a peak is over full scale only beyond it.
_ROUNDING_DB = 0.0005


def check(
    files: Sequence[Path | str],
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
    workers: int | None = None,
) -> CheckResult:
    """Check finished files of any kind that can be decoded.

    A file that cannot be used is one entry that says why; the others are checked all the same.

    Parameters
    ----------
    files : sequence of paths
    workers : int, optional
        Files checked at once.

    Raises
    ------
    SettingError
        when no file is named
    OutputError
        when there is no room to decode
    """
    if not files:
        raise SettingError("no file to check", hint="name one or more audio files")
    job = Job("checking files", len(files), report, cancel)
    checked = []
    with Decoder(cancel=cancel) as decoder, tempfile.TemporaryDirectory(prefix="mixwright-") as folder:
        work = functools.partial(_check_one, decoder=decoder, folder=Path(folder), cancel=cancel or Cancel())
        for one in in_order(work, enumerate(Path(file) for file in files), workers):
            checked.append(one)
            job.step()
    return CheckResult(files=tuple(checked))


def _check_one(item: tuple[int, Path], *, decoder: Decoder, folder: Path, cancel: Cancel) -> CheckedFile:
    """Decode and check one file; its decoded audio is removed before the next."""
    number, path = item
    decoded = folder / f"{number}.npy"
    try:
        info = decoder.decode(path, decoded)
        return _checked(path, info, map_array(decoded), cancel)
    except InputError as error:
        return CheckedFile(
            file=str(path),
            container="",
            encoding="",
            sample_rate_hz=None,
            channels=None,
            duration_s=None,
            levels=None,
            faults=(Fault(kind=problem_kind(error), severity="unusable", detail=error.message),),
            checks=(_line("can be read", False, "; ".join(filter(None, (error.message, error.hint)))),),
        )
    finally:
        decoded.unlink(missing_ok=True)


def _checked(path: Path, info: AudioInfo, audio: np.ndarray, cancel: Cancel) -> CheckedFile:
    rate_hz, channels = info.sample_rate_hz, info.channels
    if channels <= 2 or not len(audio):
        faults = own_faults(listen(audio, rate_hz, cancel))
    else:
        faults = _of_each_channel(audio, info, cancel)
    levels, refused = None, ""
    if not _kinds(faults) & {"empty", "non_finite"}:
        try:
            levels = _levels(audio, rate_hz, cancel)
        except (InputError, SettingError) as error:
            refused = error.message
    lines = [
        _line("can be read", True, _form(info)),
        _complete(info, len(audio)),
        _line("header agrees with the file", not info.disagreements, "; ".join(info.disagreements) or "they agree"),
        *(_absent(kinds, faults, name, good) for kinds, name, good in _FAULT_CHECKS),
        *(
            [_absent(frozenset({"one_side_dead"}), faults, "both sides sound", "no side is dead")]
            if channels == 2
            else ()
        ),
    ]
    if refused:
        lines.append(_line("can be measured", False, refused))
    if levels is not None and levels.sample_peak_dbfs is not None:
        lines += [*_full_scale(levels), *_ends(audio, rate_hz)]
    return CheckedFile(
        file=str(path),
        container=info.container,
        encoding=info.encoding,
        sample_rate_hz=rate_hz,
        channels=channels,
        duration_s=len(audio) / rate_hz,
        levels=levels,
        faults=(*header_faults(info), *faults),
        checks=tuple(lines),
    )


def _of_each_channel(audio: np.ndarray, info: AudioInfo, cancel: Cancel) -> tuple[Fault, ...]:
    """Return the faults of a file of more than two channels, each with its channel; one that rests is none."""
    found: list[Fault] = []
    silent: list[Fault] = []
    for channel in range(info.channels):
        name = printable(info.speakers[channel]) if channel < len(info.speakers) else f"channel {channel + 1}"
        for fault in own_faults(listen(audio[:, channel : channel + 1], info.sample_rate_hz, cancel)):
            (silent if fault.kind == "silent" else found).append(changed(fault, detail=f"{name}: {fault.detail}"))
    return (*found, *(silent[:1] if len(silent) == info.channels else ()))


def _form(info: AudioInfo) -> str:
    """Return what kind of file it is, and what its channels are for where that is not plain."""
    encoding = f"{info.bits} bit" if info.bits is not None else info.encoding
    channels = f", {channel_words(info.channels, info.speakers)}" if info.channels > 2 else ""
    return f"{info.container}, {encoding}{channels}"


def _levels(audio: np.ndarray, rate_hz: int, cancel: Cancel) -> Levels:
    meter = Meter(rate_hz, audio.shape[1])
    for block in blocks(audio, rate_hz, cancel):
        meter.push(block)
    return meter.result()


#: Kinds of fault, the check that each belongs to, and what is said when there is none.
_FAULT_CHECKS: tuple[tuple[frozenset[FaultKind], str, str], ...] = (
    (frozenset({"empty", "silent"}), "not silent", "it sounds"),
    (frozenset({"non_finite"}), "every sample has a value", "no NaN, none infinite"),
    (frozenset({"out_of_range"}), "no damaged samples", "none above +60 dBFS"),
    (frozenset({"clipped"}), "no flat peaks", "no runs of equal samples at the peaks"),
    (frozenset({"dc_offset"}), "no constant offset", "none that matters"),
)


def _line(name: str, passed: bool, detail: str) -> CheckLine:
    return CheckLine(name=name, passed=passed, detail=detail)


def _kinds(faults: Sequence[Fault]) -> set[FaultKind]:
    return {fault.kind for fault in faults}


def _absent(kinds: frozenset[FaultKind], faults: Sequence[Fault], name: str, good: str) -> CheckLine:
    """Return whether no fault of these kinds was found, or only one that is good to know."""
    found = [fault for fault in faults if fault.kind in kinds]
    places = [fault.detail if fault.at_s is None else f"{fault.detail}, from {fault.at_s:.2f} s" for fault in found]
    return _line(name, all(fault.severity == "note" for fault in found), "; ".join(places) or good)


def _complete(info: AudioInfo, frames: int) -> CheckLine:
    if info.header_frames is None:
        return _line("complete", True, f"{frames / info.sample_rate_hz:.2f} s, as its header says")
    promised, held = (f"{count(many, 'sample')} a channel" for many in (info.header_frames, frames))
    detail = f"its header promises {promised}, the file holds {held}; export it again"
    return _line("complete", False, detail)


def _full_scale(levels: Levels) -> list[CheckLine]:
    """Return whether samples and true peak stay within full scale."""
    lines = []
    sample_db, true_db = levels.sample_peak_dbfs, levels.true_peak_dbtp
    if sample_db is not None:
        over = sample_db > _ROUNDING_DB
        mend = f"; lower it by {_up(sample_db)} dB before it becomes 16 or 24 bit" if over else ""
        lines.append(_line("samples within full scale", not over, f"sample peak {sample_db:.2f} dBFS{mend}"))
    if true_db is not None:
        over = true_db > TRUE_PEAK_LIMIT_DBTP + _ROUNDING_DB
        mend = f"; lower it by {_up(true_db - TRUE_PEAK_LIMIT_DBTP)} dB" if over else ""
        name = f"true peak at most {TRUE_PEAK_LIMIT_DBTP:.0f} dBTP"
        lines.append(_line(name, not over, f"true peak {true_db:.2f} dBTP{mend}"))
    return lines


def _up(decibels: float) -> str:
    """Return decibels rounded up to a tenth, so that following the advice is enough."""
    return f"{math.ceil(decibels * 10.0 - 1e-9) / 10.0:.1f}"


def _ends(audio: np.ndarray, rate_hz: int) -> list[CheckLine]:
    """Return whether the file starts and ends in quiet: otherwise a click is heard, or something is missing."""
    first_db = db_from_ratio(float(np.abs(audio[0]).max()))
    tail = np.asarray(audio[-max(1, round(_TAIL_S * rate_hz)) :], dtype=np.float64)
    last_db = db_from_power(float(np.mean(tail * tail)))
    return [
        _quiet("starts in quiet", first_db, "first sample"),
        _quiet("ends in quiet", last_db, f"last {1000.0 * _TAIL_S:.0f} ms"),
    ]


def _quiet(name: str, level_db: float | None, what: str) -> CheckLine:
    if level_db is None:
        return _line(name, True, f"{what} silent")
    passed = level_db <= CUT_LIMIT_DBFS
    told = f"{what} at {level_db:.1f} dBFS"
    return _line(name, passed, told if passed else f"{told}: it may be cut; fade it, or export it whole")
