# SPDX-License-Identifier: Apache-2.0
"""Measured levels of one piece of audio."""

from __future__ import annotations

from mixwright.model.record import Record


class Levels(Record, frozen=True, kw_only=True):
    """Levels of a track or a mix; None where a figure is not defined (silence, too short, mono).

    `momentary_max_lufs`, `short_term_max_lufs`: largest ungated 400 ms and 3 s loudness, 10 ms hop.
    `plr_db`: true peak minus integrated loudness. `psr_min_db`: smallest short-term peak-to-loudness
    ratio. `crest_db`: sample peak over RMS. `dc_dbfs`: the larger channel's mean. `correlation`: of
    left and right over the whole length. `side_to_mid_db`: power ratio of (L-R)/2 to (L+R)/2.
    `third_octave_hz`, `third_octave_db`: exact mid-band frequencies and mean-square band levels of the channel
    mean, dB re full-scale square wave (a full-scale sine reads -3.01).
    """

    duration_s: float
    integrated_lufs: float | None
    momentary_max_lufs: float | None
    short_term_max_lufs: float | None
    loudness_range_lu: float | None
    true_peak_dbtp: float | None
    sample_peak_dbfs: float | None
    plr_db: float | None
    psr_min_db: float | None
    rms_dbfs: float | None
    crest_db: float | None
    dc_dbfs: float | None
    correlation: float | None
    side_to_mid_db: float | None
    third_octave_hz: tuple[float, ...] = ()
    third_octave_db: tuple[float | None, ...] = ()
