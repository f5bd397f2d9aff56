# SPDX-License-Identifier: Apache-2.0
"""Bring a mix to a loudness under a ceiling: gain first, the limiter only for the excess, a compressor only if needed.

All of it is found by measuring: loudness by the meter, peaks at 16 points a sample. Bounds are those of `preview`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.app.keys import rendered_key
from mixwright.app.session import Session
from mixwright.engine.temp_master import Mastered, TempMaster, mastered
from mixwright.errors import StateError
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.progress import Cancel, Job, Report, blocks, silent
from mixwright.meter.measure import Meter
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.preview import Reduced
from mixwright.model.song import changed
from mixwright.native.mathematics import ratio
from mixwright.units import db_from_ratio

#: What a limiter takes off at most where nothing else is said, and more than which is told: common practice, no source.
MOST_REDUCTION_DB = 6.0
#: A target counts as reached within this, and gains are rounded to so many digits, so that bits do not hang on them.
REACHED_LU = 0.05
_DIGITS = 2
_MOST_PASSES = 8
#: A limiter lets loudness rise by less than the gain, but hardly by less than this part of it.
_LEAST_SLOPE = 0.2
#: The compressor has to bring a preview nearer to its target by so much: else it is left out.
_WORTH_LU = 0.2
#: The bus compressor: fast, because it is to share the work of the limiter; common practice, no source.
_THRESHOLD_BELOW_PEAK_DB = 8.0
_BUS = Compressor(threshold_db=0.0, ratio=2.0, knee_db=6.0, attack_ms=1.0, release_ms=60.0, range_db=2.0)
_LEAST_THRESHOLD_DB = -100.0
#: A reduction counts as one from here on.
_REDUCES_DB = 0.1
_LEAST_GAIN = 1e-12
_BLOCK_FRAMES = 65536


@dataclass(frozen=True, eq=False)
class Master:
    """A mix brought to a loudness: `gains` are float32 ``(frames, 2)``, those of compressor and limiter."""

    settings: TempMaster
    gains: np.ndarray
    integrated_lufs: float
    compressed: Reduced | None
    limited: Reduced

    def gain_blocks(self) -> Iterator[np.ndarray]:
        """Yield what compressor and limiter multiply by, as float64 ``(n,)``."""
        for block in blocks(self.gains, _BLOCK_FRAMES):
            yield block[:, 0].astype(np.float64) * block[:, 1]

    def audio(self, mix: np.ndarray, cancel: Cancel | None = None) -> Iterator[np.ndarray]:
        """Yield the mix, mastered, as float64 blocks ``(n, 2)``."""
        factor = float(ratio(self.settings.gain_db))
        for block, gain in zip(blocks(mix, _BLOCK_FRAMES, cancel), self.gain_blocks(), strict=True):
            yield block * (gain * factor)[:, np.newaxis]


class Levelling:
    """Finds the settings that bring audio to a loudness, by running it through them.

    Parameters
    ----------
    audio : callable
        Gives all of it anew, in blocks ``(n, 2)``.
    frames, rate_hz : int
        Its length and rate.
    target_lufs : float
    most_reduction_db : float
        What the limiter may take off.
    report, cancel
        Progress and stop switch.
    """

    def __init__(
        self,
        audio: Callable[[], Iterator[np.ndarray]],
        frames: int,
        rate_hz: int,
        target_lufs: float,
        most_reduction_db: float,
        report: Report = silent,
        cancel: Cancel | None = None,
    ) -> None:
        self._audio, self._frames, self._rate_hz = audio, frames, rate_hz
        self._target_lufs, self._most_reduction_db = target_lufs, most_reduction_db
        self._report, self._cancel = report, cancel

    def source(self, ceiling_dbtp: float, *, compress: bool) -> _Source | None:
        """Return what the gain is given, compressed where that helps under a ceiling; None for what has no loudness."""
        lufs = self._loudness(TempMaster(0.0, None), "measuring the mix")
        peak_dbtp = db_from_ratio(true_peak_16x(self._audio()))
        if lufs is None or peak_dbtp is None:
            return None
        source = _Source(lufs, peak_dbtp, None)
        plain = self.settled(source, ceiling_dbtp)
        if compress and plain[1] < self._target_lufs - REACHED_LU:
            tried = self._compressed(peak_dbtp)
            found = tried and self.settled(tried, ceiling_dbtp)
            if tried and found and found[1] >= plain[1] + _WORTH_LU:
                return tried
        return source

    def settled(self, source: _Source, ceiling_dbtp: float) -> tuple[TempMaster, float]:
        """Return the settings that come nearest to the target within the bound, and the loudness that they make."""

        def settings(gain_db: float) -> TempMaster:
            return TempMaster(gain_db, ceiling_dbtp, compressor=source.compressor)

        def louder(gain_db: float) -> float:
            lufs = self._loudness(settings(gain_db), "finding the level")
            assert lufs is not None
            return lufs

        # The largest reduction is what the highest peak has too much.
        highest = ceiling_dbtp + self._most_reduction_db - source.peak_dbtp
        return _search(self._target_lufs, source.lufs, highest, settings, louder)

    def run(self, settings: TempMaster, job: Job | None) -> Iterator[Mastered]:
        """Yield the audio through some settings."""
        for stretch in mastered(self._audio(), self._rate_hz, settings):
            yield stretch
            if job is not None:
                job.step(len(stretch.audio))

    def _compressed(self, peak_dbtp: float) -> _Source | None:
        """Return the audio behind the bus compressor."""
        threshold_db = max(_LEAST_THRESHOLD_DB, round(peak_dbtp - _THRESHOLD_BELOW_PEAK_DB, 1))
        compressor = changed(_BUS, threshold_db=threshold_db)
        settings = TempMaster(0.0, None, compressor=compressor)
        lufs = self._loudness(settings, "compressing")
        peak_dbtp_then = db_from_ratio(true_peak_16x(stretch.audio for stretch in self.run(settings, None)))
        return None if lufs is None or peak_dbtp_then is None else _Source(lufs, peak_dbtp_then, compressor)

    def _loudness(self, settings: TempMaster, name: str) -> float | None:
        meter = Meter(self._rate_hz, 2, spectrum=False, true_peak=False)
        job = Job(name, max(1, self._frames), self._report, self._cancel)
        for stretch in self.run(settings, job):
            meter.push(stretch.audio)
        return meter.loudness().integrated_lufs()


class Mastering:
    """Finds masters of one mix, for any ceiling of the limiter; each once.

    Parameters
    ----------
    session : Session
    mix : ndarray
        The rendered mix, float32 ``(frames, 2)``.
    target_lufs : float
    ceiling_dbtp : float
        Of the limiter, to begin with: whether a compressor is used is found with this one.
    most_reduction_db : float
        What the limiter may take off.
    compress : bool
        Whether a compressor may be used.
    report, cancel
        Progress and stop switch.

    Raises
    ------
    StateError
        when the mix has no loudness
    """

    def __init__(
        self,
        session: Session,
        mix: np.ndarray,
        target_lufs: float,
        ceiling_dbtp: float,
        *,
        most_reduction_db: float = MOST_REDUCTION_DB,
        compress: bool = True,
        report: Report = silent,
        cancel: Cancel | None = None,
    ) -> None:
        self._session, self._mix, self._rate_hz = session, mix, session.song.rate_hz
        self.target_lufs, self.ceiling_dbtp, self.compress = target_lufs, ceiling_dbtp, compress
        self.most_reduction_db, self._report, self._cancel = most_reduction_db, report, cancel
        self._found: dict[float, Master] = {}
        self._levelling = Levelling(
            lambda: blocks(mix, _BLOCK_FRAMES, cancel),
            len(mix),
            self._rate_hz,
            target_lufs,
            most_reduction_db,
            report,
            cancel,
        )
        source = self._levelling.source(ceiling_dbtp, compress=compress)
        if source is None:
            raise StateError(
                "the mix is silent or shorter than 0.4 s: it has no loudness",
                hint="unmute or add tracks, and run again",
            )
        self._source = source

    def at(self, ceiling_dbtp: float) -> Master:
        """Return the master with its limiter at a ceiling; the loudness is the target, or what the bound allows."""
        if ceiling_dbtp not in self._found:
            settings, _ = self._levelling.settled(self._source, ceiling_dbtp)
            self._found[ceiling_dbtp] = self._logged(settings)
        return self._found[ceiling_dbtp]

    def of_another(self, audio: Callable[[], Iterator[np.ndarray]], ceiling_dbtp: float) -> TempMaster:
        """Return the settings that this would find for another mix of the same length, which sounds."""
        other = Levelling(audio, len(self._mix), self._rate_hz, self.target_lufs, self.most_reduction_db)
        source = other.source(self.ceiling_dbtp, compress=self.compress)
        assert source is not None
        return other.settled(source, ceiling_dbtp)[0]

    def _logged(self, settings: TempMaster) -> Master:
        """Return the master of some settings, its gains made once and mapped from the cache."""
        cache, graph = self._session.cache, self._session.graph
        key = cache.key("temp master", rendered_key("mix", graph, None), *settings)

        def make(path: Path) -> None:
            job = Job("limiting", max(1, len(self._mix)), self._report, self._cancel)
            with ArrayWriter(path, 2) as writer:
                for stretch in self._levelling.run(settings, job):
                    writer.push(np.stack([stretch.compressed, stretch.limited], axis=1))

        gains = cache.array(key, make)
        found = Master(settings, gains, 0.0, None, _reduced(gains, 1, self._rate_hz))
        meter = Meter(self._rate_hz, 2, spectrum=False, true_peak=False)
        for block in found.audio(self._mix, self._cancel):
            meter.push(block)
        lufs = meter.loudness().integrated_lufs()
        assert lufs is not None
        compressed = None if settings.compressor is None else _reduced(gains, 0, self._rate_hz)
        return Master(settings, gains, lufs, compressed, found.limited)


@dataclass(frozen=True)
class _Source:
    """What comes into the gain: its loudness, its true peak, and the compressor that it went through."""

    lufs: float
    peak_dbtp: float
    compressor: Compressor | None


def _search(
    target_lufs: float,
    lufs: float,
    highest_db: float,
    settings: Callable[[float], TempMaster],
    louder: Callable[[float], float],
) -> tuple[TempMaster, float]:
    """Find the gain by secants: what a limiter takes off, the gain has to make up for."""
    highest_db = math.floor(highest_db * 10**_DIGITS) / 10**_DIGITS
    gain_db = min(round(target_lufs - lufs, _DIGITS), highest_db)
    before = (gain_db - 1.0, lufs + gain_db - 1.0)
    for _ in range(_MOST_PASSES):
        found = louder(gain_db)
        missing = target_lufs - found
        if abs(missing) <= REACHED_LU or (gain_db >= highest_db and missing > 0.0):
            break
        step = gain_db - before[0]
        slope = (found - before[1]) / step if step else 1.0
        before = (gain_db, found)
        gain_db = min(round(gain_db + missing / min(1.0, max(_LEAST_SLOPE, slope)), _DIGITS), highest_db)
    return settings(gain_db), found


def _reduced(gains: np.ndarray, column: int, rate_hz: int) -> Reduced:
    """Return what one column of gains takes off."""
    largest, at, total, frames = 0.0, 0, 0.0, 0
    for number, block in enumerate(blocks(gains, _BLOCK_FRAMES)):
        reduction_db = -20.0 * np.log10(np.maximum(block[:, column].astype(np.float64), _LEAST_GAIN))
        most = int(reduction_db.argmax())
        if reduction_db[most] > largest:
            largest, at = float(reduction_db[most]), number * _BLOCK_FRAMES + most
        total += float(reduction_db.sum())
        frames += int(np.count_nonzero(reduction_db > _REDUCES_DB))
    length = max(1, len(gains))
    return Reduced(
        largest_db=largest, largest_at_s=at / rate_hz, mean_db=max(0.0, total) / length, share_of_time=frames / length
    )
