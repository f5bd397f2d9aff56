# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.errors import InputError, SettingError
from mixwright.reference.profile import RecordProfile, band_spread_db, corridor, profile

RATE_HZ = 48000


def noise(seconds=4.0, *, slope_db_oct=0.0, side=0.3, seed=1):
    """Noise whose power density falls by a slope, with a side signal of known size."""
    rng = np.random.default_rng(seed)
    frames = round(seconds * RATE_HZ)
    parts = []
    for _ in range(2):
        spectrum = np.fft.rfft(rng.standard_normal(frames))
        hz = np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 20.0)
        parts.append(np.fft.irfft(spectrum * 10.0 ** (slope_db_oct * np.log2(hz / 1000.0) / 20.0), frames))
    mid, other = (0.05 * part / np.sqrt(np.mean(part**2)) for part in parts)
    return np.stack([mid + side * other, mid - side * other], axis=1).astype(np.float32)


def test_shares_of_white_noise_are_ratios_of_bandwidths():
    found = profile(noise(), RATE_HZ)
    # White noise: energy goes as bandwidth. Third-octave bands from 20 to 160 Hz reach from 17.8 to 177.8 Hz, from
    # 200 to 4000 Hz from 177.8 to 4467 Hz, from 5 to 16 kHz from 4467 to 17783 Hz (exact edges, IEC 61260-1).
    assert found.low_end_db == pytest.approx(10.0 * np.log10((177.8 - 17.8) / (4467.0 - 177.8)), abs=0.6)
    assert found.top_end_db == pytest.approx(10.0 * np.log10((17783.0 - 4467.0) / (4467.0 - 177.8)), abs=0.1)


def test_pink_noise_has_equal_third_octaves():
    found = profile(noise(8.0, slope_db_oct=-3.0103), RATE_HZ)
    bands = np.array(found.third_octave_db, dtype=np.float64)
    hz = np.array(found.third_octave_hz)
    middle = bands[(hz > 200.0) & (hz < 10000.0)]
    assert np.abs(middle - middle.mean()).max() < 0.6


def test_side_to_mid_is_that_of_the_definition():
    found = profile(noise(side=0.3), RATE_HZ)
    assert found.side_to_mid_db == pytest.approx(20.0 * np.log10(0.3), abs=0.1)
    known = [band for band in found.side_to_mid_by_band_db[15:] if band is not None]
    assert np.abs(np.array(known) - 20.0 * np.log10(0.3)).max() < 1.5


def test_a_louder_master_changes_nothing_but_its_loudness():
    audio = noise()
    quiet, loud = profile(audio, RATE_HZ), profile((2.0 * audio).astype(np.float32), RATE_HZ)
    assert loud.integrated_lufs - quiet.integrated_lufs == pytest.approx(6.02, abs=0.01)
    for name in ("low_end_db", "top_end_db", "side_to_mid_db", "plr_db"):
        assert getattr(loud, name) == pytest.approx(getattr(quiet, name), abs=0.01)
    assert np.allclose(loud.third_octave_db, quiet.third_octave_db, atol=0.01)


def test_block_size_changes_nothing():
    audio = noise(1.5)
    assert profile(audio, RATE_HZ, block_frames=1777) == profile(audio, RATE_HZ)


def test_mono_has_no_side_and_silence_has_nothing():
    mono = profile(noise()[:, :1], RATE_HZ)
    assert mono.side_to_mid_db is None
    assert all(band is None for band in mono.side_to_mid_by_band_db)
    silence = profile(np.zeros((RATE_HZ, 2), dtype=np.float32), RATE_HZ)
    assert silence.integrated_lufs is silence.low_end_db is silence.plr_db is None


def test_more_than_two_channels_are_refused():
    with pytest.raises(InputError, match="one or two channels"):
        profile(np.zeros((100, 6), dtype=np.float32), RATE_HZ)


def record(low, **fields):
    known = {"duration_s": 1.0, "integrated_lufs": -10.0, "top_end_db": -12.0, "side_to_mid_db": -9.0, "plr_db": 9.0}
    return RecordProfile(low_end_db=low, **{**known, **fields})


def test_a_record_counts_only_for_what_it_was_chosen_for():
    found = corridor([record(-3.0), record(3.0)], [("low_end",), ("width",)])
    assert found.low_end_db.references == 1
    assert found.low_end_db.high < 3.0
    assert found.side_to_mid_db.references == 1
    assert found.plr_db is None
    with pytest.raises(SettingError, match="no attribute"):
        corridor([record(0.0)], [("loudness",)])


def test_where_lead_voices_stand_is_told_of_the_records_whose_voice_is_there_alone():
    assert corridor([record(0.0)]).lead_re_mix_lu is None
    found = corridor([record(0.0), record(0.0, lead_re_mix_lu=-2.0), record(0.0, lead_re_mix_lu=-3.0)]).lead_re_mix_lu
    assert found.references == 2
    # Standard deviation between engineers on the same song: 1.31 LU (De Man et al. 2014), over the number of records.
    assert (found.low, found.high) == pytest.approx((-3.0 - 1.31 / 2, -2.0 + 1.31 / 2))


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-10.0, 10.0), min_size=1, max_size=8))
def test_every_record_lies_inside_its_own_corridor(lows):
    interval = corridor([record(low) for low in lows]).low_end_db
    assert all(interval.outside(low) == 0.0 for low in lows)
    assert interval.high - interval.low >= max(lows) - min(lows)


def test_few_records_widen_by_the_published_spread():
    # +-2 dB in the middle, +-5 dB below 80 Hz: common practice, guided by Elowsson & Friberg 2017.
    assert band_spread_db(50.0) == band_spread_db(12000.0) == 5.0
    assert band_spread_db(1000.0) == 2.0
    one, four = corridor([record(0.0)]).low_end_db, corridor([record(0.0)] * 4).low_end_db
    assert one.high - one.low == pytest.approx(2.0 * band_spread_db(100.0))
    assert one.high - one.low == pytest.approx(4.0 * (four.high - four.low))
    assert one.outside(one.high + 1.5) == pytest.approx(1.5)
    assert one.outside(one.low - 1.5) == pytest.approx(-1.5)
