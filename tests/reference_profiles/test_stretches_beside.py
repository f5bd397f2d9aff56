# SPDX-License-Identifier: Apache-2.0
"""What lies outside, neighbouring bands together: a stretch names bands that are about as far off, and no others."""

import msgspec

from mixwright.model.comparison import ComparedRow
from mixwright.model.profile import BANDS_HZ, Profile
from mixwright.reference.beside import Chosen, rows_of
from mixwright.reference.stretches import stretches
from mixwright.report.compared import stretch_words


def rows(outside: list[float], first: int = 4, figure: str = "third_octaves_db") -> list[ComparedRow]:
    """Thirds from 50 Hz on, each so far outside; equally well heard."""
    bands = BANDS_HZ["thirds"][first : first + len(outside)]
    return [
        ComparedRow(
            attribute="spectrum", figure=figure, unit="db", low_hz=low, high_hz=high, value=far, low=-2.0, high=2.0,
            outside=far, references=1,
        )
        for (low, high), far in zip(bands, outside, strict=True)
    ]  # fmt: skip


def words(outside: list[float]) -> list[str]:
    return [stretch_words(one) for one in stretches(rows(outside))]


def test_bands_that_are_hardly_outside_do_not_widen_the_one_that_is_far():
    assert words([0.6, 0.7, 5.5, 4.0, 1.0, 0.8, 0.7]) == [
        "4.0 to 5.5 dB more at 80 to 100 Hz (level by third of an octave)",
        "0.7 to 1.0 dB more at 125 to 200 Hz (level by third of an octave)",
        "0.6 to 0.7 dB more at 50 to 63 Hz (level by third of an octave)",
    ]


def test_one_band_and_both_sides_are_told_apart():
    assert words([0.0, 1.5, 0.0, -1.2, -1.2]) == [
        "1.5 dB more at 63 Hz (level by third of an octave)",
        "1.2 dB less at 100 to 125 Hz (level by third of an octave)",
    ]


def test_what_is_far_outside_but_not_heard_is_told_by_itself():
    far, near = rows([18.0, 4.0])
    told = stretches([msgspec.structs.replace(far, heard=0.1), near])
    assert [(one.furthest.outside, one.least, one.most) for one in told] == [(4.0, 4.0, 4.0), (18.0, 18.0, 18.0)]


def test_what_a_figure_cannot_be_is_not_in_its_interval():
    values = {"percussion_percent": (3.0,), "filled_time_percent": (97.0,), "correlation": (0.95,)}
    one = Profile(duration_s=60.0, rate_hz=48000, integrated_lufs=-9.0, true_peak_dbtp=-1.0, values=values)
    told = {row.figure: row for row in rows_of(one, [Chosen(one)])}
    assert (told["percussion_percent"].low, told["percussion_percent"].high) == (0.0, 13.0)
    assert (told["filled_time_percent"].low, told["filled_time_percent"].high) == (87.0, 100.0)
    assert told["correlation"].high == 1.0
