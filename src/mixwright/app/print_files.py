# SPDX-License-Identifier: Apache-2.0
"""Prints become files: measured, lowered together where they must be, dithered, tagged, written."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.app.print_audio import PrintAudio
from mixwright.delivery.file_plan import PrintFile, as_float, named
from mixwright.delivery.print_set import PARTS, Print
from mixwright.delivery.tagging import song_tags, told_loudness
from mixwright.errors import count
from mixwright.io.coded import write_coded
from mixwright.io.write import SampleFormat, WrittenFile, write_wav
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report
from mixwright.meter.measure import Meter
from mixwright.model.agreement import Agreement
from mixwright.model.levels import Levels
from mixwright.model.prints import PrintedFile
from mixwright.model.results import CheckLine
from mixwright.model.song import Song, sounding_tracks
from mixwright.model.tags import TagLoudness, Tags
from mixwright.units import ratio_from_db

#: The highest peak of an integer file: dither may add a step and a half to it, which must not clip at 24 bit.
_HIGHEST = 1.0 - 3.0 * 2.0**-23
#: The same at 16 bit.
_HIGHEST_16 = 1.0 - 3.0 * 2.0**-15
_GAIN_STEP_DB = 0.1
TRUE_PEAK_LIMIT_DBTP = 0.0

#: Which prints are lowered as one: those that add up, and the mixes that stand beside them.
_FAMILIES = {"for_mastering": "the mix for mastering", "group": "groups and returns", "return": "groups and returns"}
_MIX = "every file"

#: Audio of prints, and their levels, by print and rate.
Audio = Mapping[tuple[Print, int], PrintAudio]
Measured = Mapping[tuple[Print, int], Levels]


@dataclass(frozen=True)
class Leveled:
    """Files as they will be written, the gain in dB of each family, and what is told of it."""

    files: tuple[PrintFile, ...]
    gains_db: Mapping[str, float]
    checks: tuple[CheckLine, ...]

    def gain_db(self, entry: Print) -> float:
        """Return the gain of a print."""
        return self.gains_db.get(family(entry), 0.0)


def family(entry: Print) -> str:
    """Return what a print is lowered together with."""
    return _FAMILIES.get(entry.kind, _MIX)


def measured(audio: Audio, report: Report, cancel: Cancel | None) -> dict[tuple[Print, int], Levels]:
    """Measure prints, one a thread."""
    job = Job("measuring", max(1, sum(print_.frames for print_ in audio.values())), report, cancel)

    def one(print_: PrintAudio) -> Levels:
        meter = Meter(print_.rate_hz, 2, spectrum=False)
        for block in print_.blocks(cancel):
            meter.push(block)
            job.step(len(block))
        return meter.result()

    return dict(zip(audio, in_order(one, audio.values()), strict=True))


def leveled(song: Song, agreement: Agreement, files: Sequence[PrintFile], levels: Measured) -> Leveled:
    """Settle what becomes of prints whose peaks pass full scale where samples are whole numbers.

    All of a family are lowered by one amount, in steps of 0.1 dB, or those that are too loud become 32-bit float.
    """
    over = {file: peak for file in files if (peak := _over(file, levels)) > 1.0}
    if not over:
        return Leveled(tuple(files), {}, (_held("every file is as loud as in the mix"),))
    if agreement.over_full_scale == "float":
        loud = frozenset(file.entry for file in over)
        told = ", ".join(dict.fromkeys(file.entry.name for file in over))
        detail = f"as loud as in the mix; above full scale, so written as 32-bit float: {told}"
        return Leveled(named(song, agreement, as_float(files, loud)), {}, (_held(detail),))
    gains: dict[str, float] = {}
    checks = []
    for name in dict.fromkeys(family(file.entry) for file in over):
        loudest = max((file for file in over if family(file.entry) == name), key=over.__getitem__)
        gain_db = -math.ceil(20.0 * math.log10(over[loudest]) / _GAIN_STEP_DB) * _GAIN_STEP_DB
        gains[name] = round(gain_db, 1)
        peak = 20.0 * math.log10(_peak(levels[loudest.entry, loudest.rate_hz]))
        added = ", so that stems add up and nothing clips" if name == _MIX else ", so that nothing clips"
        checks.append(
            _held(
                f"{name} {'are' if name == 'groups and returns' else 'is'} lowered by {-gain_db:.1f} dB{added}: "
                f"{loudest.entry.name} peaks at {peak:+.1f} dBTP as mixed"
            )
        )
    return Leveled(tuple(files), gains, tuple(checks))


def written(
    folder: Path, song: Song, files: Leveled, audio: Audio, levels: Measured, job: Job
) -> tuple[tuple[PrintedFile, ...], list[tuple[str, WrittenFile]]]:
    """Write all files into a folder, a few at a time."""

    def one(file: PrintFile) -> WrittenFile:
        print_, gain_db = audio[file.entry, file.rate_hz], files.gain_db(file.entry)
        blocks = _louder(print_, float(ratio_from_db(gain_db)), job)
        tags = print_tags(song, file, print_.frames, told_loudness(levels[file.entry, file.rate_hz], gain_db))
        seed, path = _seed(song, file), folder / file.name
        form, rate_hz = file.sample_format, file.rate_hz
        if file.ending == ".flac":
            return write_coded(path, blocks, "flac", rate_hz=rate_hz, sample_format=form, seed=seed, tags=tags)
        return write_wav(
            path, blocks, rate_hz=rate_hz, channels=2, frames=print_.frames, sample_format=form, seed=seed, tags=tags
        )

    everything = tuple(track.id for track in sounding_tracks(song))
    printed, done = [], []
    for file, found in zip(files.files, in_order(one, files.files), strict=True):
        gain_db, measured_ = files.gain_db(file.entry), levels[file.entry, file.rate_hz]
        done.append((file.name, found))
        printed.append(
            PrintedFile(
                file=file.name,
                kind=file.entry.kind,
                sha256=found.sha256,
                sample_format=file.sample_format,
                rate_hz=file.rate_hz,
                frames=found.frames,
                integrated_lufs=_shifted(measured_.integrated_lufs, gain_db),
                true_peak_dbtp=_shifted(measured_.true_peak_dbtp, gain_db),
                print=file.entry.name,
                audio_sha256=found.audio_sha256,
                size_bytes=(folder / file.name).stat().st_size,
                gain_db=gain_db,
                tracks=everything if file.entry.tracks is None else tuple(sorted(file.entry.tracks)),
            )
        )
    return tuple(printed), done


def print_tags(song: Song, file: PrintFile, frames: int, loudness: TagLoudness) -> Tags:
    """Return what a file of a print says of itself."""
    return song_tags(
        song,
        rate_hz=file.rate_hz,
        frames=frames,
        kind=file.entry.kind,
        part=file.entry.name if file.entry.kind in PARTS else "",
        loudness=loudness,
    )


def level_checks(printed: Sequence[PrintedFile], done: Sequence[tuple[str, WrittenFile]]) -> tuple[CheckLine, ...]:
    """Return whether a sample was cut, and whether any file would clip between its samples."""
    clipped = [f"{name}: {count(found.clipped_samples, 'sample')}" for name, found in done if found.clipped_samples]
    unclipped = CheckLine(
        name="nothing clipped", passed=not clipped, detail="; ".join(clipped) or "not one sample in any file"
    )
    return unclipped, _true_peak(printed)


def _true_peak(printed: Sequence[PrintedFile]) -> CheckLine:
    """Tell whether a converter, or a change of rate, would clip; float files can be lowered by who gets them."""
    peaks = {file.file: file.true_peak_dbtp for file in printed if file.true_peak_dbtp is not None}
    floats = {file.file for file in printed if file.sample_format == "float32"}
    told = {name: f"{name}: {peak:+.2f} dBTP" for name, peak in peaks.items() if peak > TRUE_PEAK_LIMIT_DBTP}
    over = [line for name, line in told.items() if name not in floats]
    highest = max(peaks, key=lambda file: peaks[file], default="")
    found = f"the highest is {peaks[highest]:.2f} dBTP, in {highest}" if highest else "silence"
    if told and not over:
        found = f"{'; '.join(told.values())}: 32-bit float, to be lowered before it is played or converted"
    return CheckLine(
        name=f"true peak at most {TRUE_PEAK_LIMIT_DBTP:.0f} dBTP", passed=not over, detail="; ".join(over) or found
    )


def _over(file: PrintFile, levels: Measured) -> float:
    """Return the peak of a file of whole numbers beside the highest that it may have; 0 for float."""
    highest: dict[SampleFormat, float] = {"pcm16": _HIGHEST_16, "pcm24": _HIGHEST}
    if file.sample_format not in highest:
        return 0.0
    return _peak(levels[file.entry, file.rate_hz]) / highest[file.sample_format]


def _peak(levels: Levels) -> float:
    peaks_db = [peak for peak in (levels.sample_peak_dbfs, levels.true_peak_dbtp) if peak is not None]
    return float(ratio_from_db(max(peaks_db))) if peaks_db else 0.0


def _held(detail: str) -> CheckLine:
    return CheckLine(name="level", passed=True, detail=detail)


def _louder(print_: PrintAudio, gain: float, job: Job) -> Iterator[np.ndarray]:
    for block in print_.blocks():
        yield block * gain if gain != 1.0 else block
        job.step(len(block))


def _shifted(level: float | None, gain_db: float) -> float | None:
    return None if level is None else level + gain_db


def _seed(song: Song, file: PrintFile) -> int:
    """Return the seed of a file's dither: each its own, so that the noises of stems do not add up in step."""
    at_rate = "" if file.rate_hz == song.rate_hz else f"\n{file.rate_hz}"
    name = f"dither\n{song.title}\n{song.artist}\n{file.entry.name}{at_rate}"
    return int.from_bytes(hashlib.sha256(name.encode("utf-8", "surrogatepass")).digest()[:16], "big")
