# SPDX-License-Identifier: Apache-2.0
"""An invented song beside invented references; no figure is measured."""

from __future__ import annotations

from mixwright.model.comparison import ComparedReference, ComparedRow, CompareResult
from mixwright.model.results import ReferencesResult
from mixwright.model.song import Reference


def compare_result() -> CompareResult:
    """Wider than the one record for width; far off in a band that nobody hears, less far in one that leads."""
    third = {"attribute": "spectrum", "figure": "third_octaves_db", "unit": "db", "low": -2.0, "high": 2.0}
    return CompareResult(
        file="the mix as it stands",
        integrated_lufs=-16.2,
        references=(
            ComparedReference(
                id="glass-harbour",
                file="records/glass-harbour.flac",
                use_for=("width", "spectrum"),
                integrated_lufs=-9.1,
                gain_db=-7.1,
                beside={"chorus 2": ("part-b-2", 61.0, 84.0)},
            ),
        ),
        sections=("chorus 2",),
        rows=(
            ComparedRow(
                attribute="width", figure="side_to_mid_db", unit="db", value=-3.0, low=-9.2, high=-5.0, outside=2.0,
                references=1,
            ),
            ComparedRow(**third, low_hz=28.2, high_hz=35.5, value=20.9, outside=18.9, references=1, heard=0.0),
            ComparedRow(**third, low_hz=2238.7, high_hz=2818.4, value=3.8, outside=1.8, references=1),
            ComparedRow(
                **third, section="chorus 2", low_hz=2238.7, high_hz=2818.4, value=4.4, outside=2.4, references=1
            ),
        ),
    )  # fmt: skip


def references_result() -> ReferencesResult:
    """One record, for two attributes."""
    return ReferencesResult(
        references=(
            Reference(id="glass-harbour", file="records/glass-harbour.flac", use_for=("width",),
                      beside={"chorus 2": "part-b-2"}, sha256="0" * 64),
        )
    )  # fmt: skip
