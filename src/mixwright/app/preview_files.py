# SPDX-License-Identifier: Apache-2.0
"""The files of a preview: named by its number, tagged as what they are, written until each keeps its ceiling."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from mixwright.app.mastering import REACHED_LU, Master, Mastering
from mixwright.app.session import Session
from mixwright.core.resample import resampled, resampled_frames
from mixwright.delivery.names import DEFAULT_TEMPLATE, NameFields, file_names
from mixwright.delivery.quiet_ends import fade_frames, faded
from mixwright.delivery.tagging import song_tags
from mixwright.io.coded import CODINGS, coded_blocks, coded_rate_hz, write_coded
from mixwright.io.write import WrittenFile, write_wav
from mixwright.jobs.progress import Cancel, Job, Report
from mixwright.meter.measure import Meter
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.preview import CodingTry, PreviewFile, PreviewFormat
from mixwright.model.song import Song
from mixwright.model.tags import TagLoudness
from mixwright.native.mathematics import ratio
from mixwright.units import db_from_ratio

#: A decoded peak may lie so much above the ceiling: dither and rounding.
_OVER_DB = 0.005
#: Tries to keep the ceiling after coding: the limiter is lowered in the first ones, by no more than so much in all.
_MOST_TRIES, _LIMITER_TRIES = 7, 4
_LIMITER_LOWER_DB = 3.0
_STEPS_A_DB = 10


class FileSpec(NamedTuple):
    """One file that is asked for."""

    format: PreviewFormat
    rate_hz: int
    ending: str


def file_spec(format_: PreviewFormat, rate_hz: int) -> FileSpec:
    """Return how a format is written at a rate, or at the nearest that it takes."""
    if format_ == "wav":
        return FileSpec(format_, rate_hz, ".wav")
    return FileSpec(format_, coded_rate_hz(format_, rate_hz), CODINGS[format_].ending)


class FileNames:
    """Names of the files: `now`, and by the number of the folder when that is known."""

    def __init__(self, song: Song, specs: Sequence[FileSpec]) -> None:
        self._song, self._specs = song, specs
        self.now = [f"{k}{spec.ending}" for k, spec in enumerate(specs)]

    def take(self, folder: Path, number: int) -> None:
        """Name the files in a folder by its number."""
        lossless = ("wav", "flac")
        fields = [
            NameFields(
                f"Preview{number:02d}", spec.rate_hz, "pcm24" if spec.format in lossless else None, ending=spec.ending
            )
            for spec in self._specs
        ]
        for k, name in enumerate(file_names(DEFAULT_TEMPLATE, self._song, fields)):
            (folder / self.now[k]).rename(folder / name)
            self.now[k] = name


class FileMaker:
    """Writes files of a preview, each as often as its ceiling asks for.

    Parameters
    ----------
    session : Session
    mix : ndarray
        The rendered mix, float32 ``(frames, 2)``.
    mastering : Mastering
        Of that mix, for the target.
    target_lufs, ceiling_dbtp : float
    report, cancel
        Progress and stop switch.
    """

    def __init__(
        self,
        session: Session,
        mix: np.ndarray,
        mastering: Mastering,
        target_lufs: float,
        ceiling_dbtp: float,
        report: Report,
        cancel: Cancel | None,
    ) -> None:
        self._session, self._mix, self._mastering = session, mix, mastering
        self._target_lufs, self._ceiling_dbtp = target_lufs, ceiling_dbtp
        self._report, self._cancel = report, cancel
        text = f"preview\n{session.song.title}\n{session.song.artist}"
        self._seed = int.from_bytes(hashlib.sha256(text.encode("utf-8", "surrogatepass")).digest()[:16], "big")

    def file(self, path: Path, spec: FileSpec) -> tuple[PreviewFile, Master]:
        """Write one file until its decoded true peak is at or below the ceiling."""
        ceiling, lowered = self._ceiling_dbtp, 0.0
        tries: list[CodingTry] = []
        while True:
            master = self._mastering.at(ceiling)
            written = self._write(path, spec, master, lowered)
            lufs, peak = self._decoded(path, spec, written.frames)
            tries.append(CodingTry(limiter_ceiling_dbtp=ceiling, lowered_db=lowered, true_peak_dbtp=peak))
            over = -math.inf if peak is None else peak - self._ceiling_dbtp
            if over <= _OVER_DB or len(tries) == _MOST_TRIES:
                break
            step = math.ceil(over * _STEPS_A_DB) / _STEPS_A_DB
            if len(tries) < _LIMITER_TRIES and self._ceiling_dbtp - (ceiling - step) <= _LIMITER_LOWER_DB:
                ceiling = round(ceiling - step, 2)
            else:
                lowered = round(lowered - step, 2)
        before = master.integrated_lufs + lowered
        short_by = self._target_lufs - before
        lossy = CODINGS[spec.format].bits_a_second if spec.format != "wav" else None
        file = PreviewFile(
            file=path.name,
            format=spec.format,
            kbit_s=None
            if lossy is None
            else round(8e-3 * path.stat().st_size * spec.rate_hz / max(1, written.frames), 1),
            sample_format="pcm24" if lossy is None else None,
            rate_hz=spec.rate_hz,
            frames=written.frames,
            size_bytes=path.stat().st_size,
            sha256=written.sha256,
            gain_db=round(master.settings.gain_db + lowered, 2),
            integrated_lufs=before,
            decoded_lufs=lufs,
            true_peak_dbtp=peak,
            plr_db=None if peak is None or lufs is None else peak - lufs,
            limiter=master.limited,
            tries=tuple(tries),
            short_by_lu=round(short_by, 2) if short_by > REACHED_LU else 0.0,
            why=self._why(short_by, lowered, over),
        )
        return file, master

    def _why(self, short_by: float, lowered: float, over: float) -> str:
        """Return why a file is softer than asked for, or over the ceiling; empty where it is neither."""
        if over > _OVER_DB:
            return f"coding raises its peaks {over:.2f} dB above the ceiling, however far it was lowered"
        if short_by <= REACHED_LU:
            return ""
        if lowered:
            return f"lowered by {-lowered:.1f} dB behind the limiter, because coding raised its peaks at every try"
        most = self._mastering.most_reduction_db
        return f"{short_by:.1f} LU more would take off more than the {most:g} dB that the limiter may"

    def _write(self, path: Path, spec: FileSpec, master: Master, lowered: float) -> WrittenFile:
        song = self._session.song
        frames = resampled_frames(len(self._mix), song.rate_hz, spec.rate_hz)
        job = Job(f"writing {spec.format}", max(1, len(self._mix)), self._report, self._cancel)
        factor = float(ratio(lowered))

        def passing() -> Iterator[np.ndarray]:
            start, length = 0, len(self._mix)
            loud = factor * float(ratio(master.settings.gain_db))
            fade_in, fade_out = (
                fade_frames(loud * float(np.abs(edge).max(initial=0.0)), song.rate_hz)
                for edge in (self._mix[:1], self._mix[-1:])
            )
            for block in master.audio(self._mix, self._cancel):
                yield faded(block * factor, start, length, fade_in=fade_in, fade_out=fade_out)
                start += len(block)
                job.step(len(block))

        audio = resampled(passing(), song.rate_hz, spec.rate_hz, 2)
        tags = song_tags(
            song,
            rate_hz=spec.rate_hz,
            frames=frames,
            kind="preview",
            loudness=TagLoudness(integrated_lufs=master.integrated_lufs + lowered),
            comment="preview, not the mix",
        )
        if spec.format == "wav":
            return write_wav(
                path,
                audio,
                rate_hz=spec.rate_hz,
                channels=2,
                frames=frames,
                sample_format="pcm24",
                seed=self._seed,
                tags=tags,
            )
        return write_coded(path, audio, spec.format, rate_hz=spec.rate_hz, seed=self._seed, tags=tags)

    def _decoded(self, path: Path, spec: FileSpec, frames: int) -> tuple[float | None, float | None]:
        """Return loudness and true peak of a file as it sounds."""
        meter = Meter(spec.rate_hz, 2, spectrum=False, true_peak=False)
        job = Job(f"reading {spec.format} back", max(1, frames), self._report, self._cancel)

        def passing() -> Iterator[np.ndarray]:
            for block in coded_blocks(path):
                meter.push(block)
                yield block
                job.step(len(block))

        peak = true_peak_16x(passing())
        return meter.loudness().integrated_lufs(), db_from_ratio(peak)
