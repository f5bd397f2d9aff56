# SPDX-License-Identifier: Apache-2.0
"""A mix beside its references: what is told, of which attribute, how far; and what is not."""

import numpy as np
import pytest
from noises_of_profiles import RATE_HZ, noise, song
from scipy.signal import oaconvolve

from mixwright.model.profile import FIGURES, THIRDS_HZ, Profile, SectionProfile
from mixwright.reference.beside import Chosen, rows_of
from mixwright.reference.contrast import contrast_values
from mixwright.reference.heard_bands import heard_thirds
from mixwright.reference.matching import matched
from mixwright.reference.profile import profile


def sections_of(audio):
    found = profile(audio, RATE_HZ)
    return found, Chosen(found, (), {one.name: one for one in found.sections})


@pytest.fixture(scope="module")
def itself():
    return sections_of(song())


def outside(audio, reference):
    mix = profile(audio.astype(np.float32), RATE_HZ)
    return {(row.figure, row.low_hz, row.section): row for row in rows_of(mix, [reference]) if row.outside}


def test_a_song_beside_itself_raises_nothing(itself):
    found, chosen = itself
    rows = rows_of(found, [chosen])
    assert len(rows) > 150
    assert not [row for row in rows if row.outside]
    assert {row.section for row in rows} == {"", *(one.name for one in found.sections)}
    # Nor does anything without references.
    assert rows_of(found, []) == ()


def test_six_decibels_more_change_nothing(itself):
    assert outside(1.9953 * song(), itself[1]) == {}


def test_a_tilt_is_told_as_slope_with_its_size(itself):
    # 1.5 dB an octave about 1 kHz, as a linear-phase filter from its definition.
    hz = np.fft.rfftfreq(4096, 1.0 / RATE_HZ)
    gain = 10.0 ** (1.5 * np.log2(np.maximum(hz, 15.0) / 1000.0) / 20.0)
    taps = np.roll(np.fft.irfft(gain), 2048) * np.hanning(4096)
    told = outside(oaconvolve(song(), taps[:, None], mode="same", axes=0), itself[1])
    slope = told["slope_db_oct", None, ""]
    assert slope.attribute == "spectrum"
    assert slope.value - itself[0].one("slope_db_oct") == pytest.approx(1.5, rel=0.1)
    assert slope.outside == pytest.approx(1.5 - FIGURES["slope_db_oct"].spread, abs=0.15)
    assert not {figure for figure, _, _ in told if FIGURES[figure].attribute == "width"}


def test_sides_turned_up_are_told_as_width_alone(itself):
    audio = song().astype(np.float64)
    mid, side = audio.mean(axis=1), (audio[:, 0] - audio[:, 1]) / 2.0
    wide = np.stack([mid + 2.0 * side, mid - 2.0 * side], axis=1)
    told = outside(wide, itself[1])
    row = told["side_to_mid_db", None, ""]
    # Twice the side is 6.02 dB.
    assert row.value - itself[0].one("side_to_mid_db") == pytest.approx(6.02, abs=0.02)
    assert row.outside == pytest.approx(6.02 - 2.1, abs=0.02)
    # The choruses, wide already, are louder by it than the verses, so more than the width moves; the width the most.
    whole = [row for (_, _, section), row in told.items() if not section]
    assert max(whole, key=lambda row: abs(row.widths)).attribute == "width"


def test_clipped_peaks_are_told_as_dynamics_alone(itself):
    audio = song().astype(np.float64)
    # A smooth ceiling 7 dB under the peaks: nothing is flat, so nothing looks clipped.
    top = float(np.abs(audio).max()) * 10.0 ** (-7.0 / 20.0)
    told = outside(top * np.tanh(audio / top), itself[1])
    assert told["plr_db", None, ""].outside < -1.0
    assert {FIGURES[figure].attribute for figure, _, section in told if not section} == {"dynamics"}


def test_only_what_a_reference_was_chosen_for_is_told(itself):
    rows = rows_of(itself[0], [Chosen(itself[0], ("width",), {})])
    assert {row.attribute for row in rows} == {"width"}


def test_references_span_from_the_least_to_the_most(itself):
    narrow, wide = (sections_of(noise(8.0, slope_db_oct=-4.5, side=side))[1] for side in (0.1, 0.5))
    (row,) = (row for row in rows_of(itself[0], [narrow, wide]) if (row.figure, row.section) == ("side_to_mid_db", ""))
    assert row.low < -20.0 < -6.0 < row.high
    assert row.references == 2


def part(name, energy, filled):
    return SectionProfile(
        name=name, start_s=0.0, end_s=9.0, energy_lu=energy, values={"filled_time_percent": (filled,)}
    )


def test_sections_stand_beside_those_of_like_energy_and_density():
    def of(*sections):
        return Profile(
            duration_s=30.0, rate_hz=48000, integrated_lufs=-9.0, true_peak_dbtp=0.0, values={}, sections=sections
        )

    mix = of(part("verse", -4.0, 40.0), part("chorus", 1.0, 80.0))
    record = of(part("part-a-1", -5.0, 35.0), part("part-b-1", 1.2, 85.0), part("part-c-1", -2.0, 75.0))
    assert {name: one.name for name, one in matched(mix, record, {}).items()} == {
        "verse": "part-a-1",
        "chorus": "part-b-1",
    }
    # A whisper of an intro is like nothing in it.
    assert matched(of(part("intro", -14.0, 5.0)), record, {}) == {}
    # As the engineer says; a name that is not there is passed over.
    by_hand = matched(mix, record, {"chorus": "part-c-1", "verse": "nothing"})
    assert {name: one.name for name, one in by_hand.items()} == {"verse": "part-a-1", "chorus": "part-c-1"}


def test_a_band_is_told_where_it_lies(itself):
    hz = np.fft.rfftfreq(4096, 1.0 / RATE_HZ)
    # 6 dB more in the octave around 2 kHz.
    gain = np.where((hz > 1414.0) & (hz < 2828.0), 10.0 ** (6.0 / 20.0), 1.0)
    taps = np.roll(np.fft.irfft(gain), 2048) * np.hanning(4096)
    told = outside(oaconvolve(song(), taps[:, None], mode="same", axes=0), itself[1])
    bands = {
        round(low * 10.0**0.05): row.outside
        for (figure, low, section), row in told.items()
        if figure == "third_octaves_db" and not section
    }
    above = {hz for hz, far in bands.items() if far > 1.0}
    assert above == {round(hz) for hz in THIRDS_HZ if 1500.0 < hz < 2700.0}


def test_what_is_not_heard_stands_last_and_a_step_too_small_to_notice_is_inside():
    def of(bands):
        levels = {"third_octaves_db": tuple(bands), "side_to_mid_db": (bands[17],)}
        return Profile(duration_s=99.0, rate_hz=48000, integrated_lufs=-9.0, true_peak_dbtp=0.0, values=levels)

    level = np.full(31, -15.0)
    level[2] = -60.0  # 31.5 Hz
    more = level.copy()
    more[2], more[17] = more[2] + 25.0, more[17] + 6.0
    rows = {(row.figure, row.low_hz): row for row in rows_of(of(more), [Chosen(of(level))])}
    low, middle = (
        next(row for row in rows.values() if row.low_hz and row.low_hz < hz < row.high_hz) for hz in (31.5, 1000.0)
    )
    assert low.outside > middle.outside > 3.9
    # ISO 226:2023: 44 dB SPL at 31.5 Hz is below the threshold of 59.5; here the mix of the two reaches no further.
    assert (low.heard, low.weight) == (0.0, 0.0)
    assert middle.weight == middle.widths > 1.0
    beside = rows["side_to_mid_db", None]
    assert beside.outside == pytest.approx(6.0 - 2.1)
    little = level.copy()
    little[17] += 2.1 + 0.4
    (row,) = (row for row in rows_of(of(little), [Chosen(of(level))]) if row.figure == "side_to_mid_db")
    assert row.value > row.high
    assert row.outside == 0.0


def test_bands_are_as_loud_as_equal_loudness_contours_say():
    # ISO 226:2023: 40 phon are 40.0 dB at 800 Hz and 88.2 dB at 31.5 Hz; ten phon less is half as loud (sone).
    level = np.full(31, -200.0)
    level[16], level[2] = 40.0 - 79.0, 88.2 - 79.0
    found = heard_thirds(list(level))
    assert found[[2, 16]] == pytest.approx(1.0, abs=0.02)
    level[16] = 59.8 - 79.0
    assert heard_thirds(list(level))[2] == pytest.approx(0.25, abs=0.01)
    assert not heard_thirds([None] * 31).any()


def test_contrast_does_not_change_where_a_limiter_brings_sections_together():
    def of(*energies):
        return [
            SectionProfile(name=str(i), start_s=20.0 * i, end_s=20.0 * (i + 1), energy_lu=energy,
                           values={"side_to_mid_db": (-12.0 + 2.0 * i,)})
            for i, energy in enumerate(energies)
        ]  # fmt: skip

    before, after = (
        contrast_values(of(*each), 120.0) for each in ((-9, -4, -3, 0, 2, -9), (-9, -1.4, -1.1, -0.6, 0.1, -9))
    )
    # Triangular weights by hand: (-4 - 6 / 3) / (4 / 3) + (10 + 8 * 2 / 3) / (5 / 3).
    assert before["contrast_width_db"] == pytest.approx((-4.5 + 9.2,))
    # A border of 1 LU would make 5 dB 3 dB.
    assert after["contrast_width_db"] == pytest.approx(before["contrast_width_db"], abs=0.5)
    alike = contrast_values(of(0.0, 0.0, 0.0, 0.0), 80.0)
    assert alike["contrast_width_db"] == pytest.approx((0.0,))
