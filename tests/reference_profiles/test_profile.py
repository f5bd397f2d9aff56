# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest
from noises_of_profiles import RATE_HZ, noise, song, tone

from mixwright.errors import InputError
from mixwright.model.profile import FIGURES, OCTAVES_HZ, THIRDS_HZ
from mixwright.model.song import Section
from mixwright.reference.profile import profile


def test_shares_of_white_noise_are_ratios_of_bandwidths():
    found = profile(noise(), RATE_HZ)
    # White noise: energy goes as bandwidth. Third-octave bands from 20 to 160 Hz reach from 17.8 to 177.8 Hz, from
    # 200 to 4000 Hz from 177.8 to 4467 Hz, from 5 to 16 kHz from 4467 to 17783 Hz (exact edges, IEC 61260-1).
    assert found.one("low_end_db") == pytest.approx(10.0 * np.log10((177.8 - 17.8) / (4467.0 - 177.8)), abs=0.6)
    assert found.one("top_end_db") == pytest.approx(10.0 * np.log10((17783.0 - 4467.0) / (4467.0 - 177.8)), abs=0.1)
    # Octaves of the low end: bandwidths as 1 to 2 to 4.
    assert found.values["low_octaves_db"] == pytest.approx(10.0 * np.log10(np.array([1, 2, 4]) / 7.0), abs=0.8)


def test_pink_noise_has_equal_third_octaves_and_falls_by_three_decibels():
    found = profile(noise(8.0, slope_db_oct=-3.0103), RATE_HZ)
    bands = np.array(found.values["third_octaves_db"], dtype=np.float64)
    hz = np.array(THIRDS_HZ)
    middle = bands[(hz > 200.0) & (hz < 10000.0)]
    assert np.abs(middle - middle.mean()).max() < 0.6
    assert found.one("slope_db_oct") == pytest.approx(-3.01, abs=0.05)


def test_side_to_mid_is_that_of_the_definition():
    found = profile(noise(side=0.3), RATE_HZ)
    assert found.one("side_to_mid_db") == pytest.approx(20.0 * np.log10(0.3), abs=0.1)
    known = np.array(found.values["side_to_mid_octaves_db"][3:], dtype=np.float64)
    assert np.abs(known - 20.0 * np.log10(0.3)).max() < 0.7


@pytest.mark.parametrize(("correlation", "loss_db"), [(0.9, 0.22), (0.5, 1.25), (0.0, 3.01), (-0.5, 6.02)])
def test_what_a_mono_sum_loses(correlation, loss_db):
    # D = 10 log10((1 + r) / 2), S/M = (1 - r) / (1 + r) for equal powers: arithmetic of the definitions.
    ratio = (1.0 - correlation) / (1.0 + correlation)
    found = profile(noise(side=np.sqrt(ratio)), RATE_HZ)
    assert found.one("correlation") == pytest.approx(correlation, abs=0.02)
    assert found.one("mono_loss_db") == pytest.approx(loss_db, abs=0.1)


def test_a_steady_tone_has_the_crest_of_a_sine():
    # Crest factor of a sine: 20 log10(sqrt(2)) = 3.01 dB.
    # Its ends are steps, which are none of it.
    found = profile(tone(1000.0), RATE_HZ, [Section(name="middle", start_s=1.0, end_s=5.0)]).sections[0]
    assert found.values["crest_octaves_db"][OCTAVES_HZ.index(1000.0)] == pytest.approx(3.01, abs=0.02)


def test_what_lasts_fills_the_time_and_one_tone_fills_one_band():
    steady, single = profile(noise(slope_db_oct=-4.5), RATE_HZ), profile(tone(1000.0), RATE_HZ)
    assert steady.one("filled_time_percent") > 90.0
    # One of 14 bands holds everything: 1/14 = 7 %.
    assert single.one("filled_bands_percent") == pytest.approx(100.0 / 14.0, abs=1.0)
    assert steady.one("filled_bands_percent") > 65.0


def test_hits_jump_and_do_not_last():
    at = np.arange(6 * RATE_HZ) / RATE_HZ
    beaten = noise(6.0) * (np.exp(-(at % 0.5) / 0.02))[:, None].astype(np.float32)
    hit, steady = profile(beaten, RATE_HZ), profile(noise(6.0), RATE_HZ)
    assert hit.one("percussion_percent") > 60.0 > 35.0 > steady.one("percussion_percent")
    assert min(hit.values["attack_db"]) > 15.0 > 8.0 > max(steady.values["attack_db"][1:])


def test_a_louder_master_changes_nothing_but_its_loudness():
    audio = song()
    quiet, loud = profile(audio, RATE_HZ), profile((1.9953 * audio).astype(np.float32), RATE_HZ)
    assert loud.integrated_lufs - quiet.integrated_lufs == pytest.approx(6.0, abs=0.01)
    for name, figure in FIGURES.items():
        if not figure.follows_level and name in quiet.values:
            assert loud.values[name] == pytest.approx(quiet.values[name], abs=0.02, nan_ok=False), name
    assert [one.start_s for one in loud.sections] == [one.start_s for one in quiet.sections]


def test_sections_are_found_where_the_sound_changes_and_contrast_is_between_them():
    found = profile(song(48.0), RATE_HZ)
    starts = [one.start_s for one in found.sections]
    assert starts == pytest.approx([0.0, 12.0, 24.0, 36.0], abs=1.01)
    names = [one.name for one in found.sections]
    assert names == ["part-a-1", "part-b-1", "part-a-2", "part-b-2"]
    # From the samples: mean squares of side and middle between the changes.
    parts = [song(48.0)[start * RATE_HZ : (start + 12) * RATE_HZ].astype(np.float64) for start in (12, 24)]
    full, thin = (10.0 * np.log10(np.mean((p[:, 0] - p[:, 1]) ** 2) / np.mean(p.sum(axis=1) ** 2)) for p in parts)
    assert found.one("contrast_width_db") == pytest.approx(full - thin, abs=0.4)
    assert found.one("contrast_loudness_lu") > 6.0


def test_sections_that_are_marked_stand_as_they_are_marked():
    marks = (Section(name="one", start_s=0.0, end_s=12.0), Section(name="two", start_s=12.0, end_s=24.0))
    found = profile(song(24.0), RATE_HZ, marks)
    assert [(one.name, one.start_s, one.end_s) for one in found.sections] == [("one", 0.0, 12.0), ("two", 12.0, 24.0)]


def test_the_same_audio_has_the_same_profile():
    assert profile(noise(2.0), RATE_HZ) == profile(noise(2.0), RATE_HZ)


def test_mono_has_no_side_and_silence_has_nothing():
    mono = profile(noise()[:, :1], RATE_HZ)
    assert mono.one("side_to_mid_db") is mono.one("mono_loss_db") is None
    assert set(mono.values["side_to_mid_octaves_db"]) == {None}
    silence = profile(np.zeros((RATE_HZ, 2), dtype=np.float32), RATE_HZ)
    assert silence.integrated_lufs is silence.one("low_end_db") is silence.one("plr_db") is None


def test_more_than_two_channels_are_refused():
    with pytest.raises(InputError, match="one or two channels"):
        profile(np.zeros((100, 6), dtype=np.float32), RATE_HZ)
