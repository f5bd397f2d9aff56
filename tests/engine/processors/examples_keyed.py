# SPDX-License-Identifier: Apache-2.0
"""Keyed processors to test by."""

from __future__ import annotations

from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule, Peaks
from reference import keyed_twin


def dip_twin(insert, rate_hz, audio, key):
    # The harness hands the same sound to every key.
    return keyed_twin.dip(insert, rate_hz, audio, key, key if insert.against else None)[0]


def duck_twin(insert, rate_hz, audio, key):
    return keyed_twin.duck(insert, rate_hz, audio, key)[0]


def peaks_twin(insert, rate_hz, audio, key):
    return keyed_twin.peaks(insert, rate_hz, audio, key)[0]


EXAMPLES = [
    (
        Dip(
            key="voice",
            bands=(DipBand(hz=2500, q=0.9, most_db=6), DipBand(hz=400, pace="phrase", hold_ms=15, release_ms=40)),
            margin_db=3,
        ),
        dip_twin,
    ),
    (
        Dip(key="voice", form="threshold", threshold_db=-50, bands=(DipBand(hz=1000, most_db=12),), look_ahead_ms=0),
        dip_twin,
    ),
    (
        Dip(
            key="voice",
            against="pads",
            margin_db=-2,
            bands=tuple(DipBand(hz=150 * 2**k, q=1.4, most_db=4, release_ms=30) for k in range(6)),
        ),
        dip_twin,
    ),
    (
        Duck(
            key="kit",
            rules=(
                DuckRule(by="hits", high_hz=120, key_high_hz=150, depth_db=9, hold_ms=5, release_ms=30),
                DuckRule(by="hits", low_hz=2000, high_hz=9000, key_low_hz=180, attack_ms=2, rise_db=4, release_ms=20),
                DuckRule(low_hz=6000, depth_db=2, above_db=-20),
            ),
        ),
        duck_twin,
    ),
    (
        Duck(key="voice", rules=(DuckRule(depth_db=60, hold_ms=0, release_ms=25, near_db=6),), look_ahead_ms=0),
        duck_twin,
    ),
    (Peaks(allowed_db=1, width_oct=0.5, release_ms=30), peaks_twin),
    (Peaks(key="voice", bands=21, high_hz=5000, allowed_db=0.5, look_ahead_ms=2.5), peaks_twin),
]
