# SPDX-License-Identifier: Apache-2.0
"""Finished songs that are none, or not whole: what of them is used, what not, and why."""

import numpy as np
import pytest
from noises_of_profiles import RATE_HZ, noise, song, speech_like
from scipy.signal import butter, firwin, oaconvolve, sosfilt

from mixwright.model.profile import ATTRIBUTES
from mixwright.reference.corridor import corridor
from mixwright.reference.profile import profile


def why(audio, rate_hz=RATE_HZ):
    return {weak.why: set(weak.attributes) for weak in profile(audio.astype(np.float32), rate_hz).weak}


def test_a_whole_song_has_no_weakness():
    assert why(song()) == {}


def test_speech_counts_for_nothing():
    assert why(speech_like()) == {"sounds like speech, or like a voice alone": set(ATTRIBUTES)}


def test_silence_before_and_behind_a_song_is_no_pause():
    thin = sosfilt(butter(8, 250.0, "highpass", fs=RATE_HZ, output="sos"), song()[: 8 * RATE_HZ], axis=0)
    quiet = np.zeros((4 * RATE_HZ, 2))
    assert set(why(np.concatenate([quiet, thin, quiet]))) == {"only 16 s long"}


def test_silence_counts_for_nothing():
    assert why(np.zeros((10 * RATE_HZ, 2))) == {"silent": set(ATTRIBUTES)}
    assert why(np.zeros((100, 2))) == {"too short to have a loudness": set(ATTRIBUTES)}


def test_five_seconds_have_no_sections_to_compare():
    found = profile(song()[: 5 * RATE_HZ], RATE_HZ)
    assert {weak.why: weak.attributes for weak in found.weak} == {"only 5 s long": ("contrast", "density")}
    assert found.one("loudness_range_lu") is None


def test_mono_is_left_out_of_width():
    audio = song()
    assert why(audio[:, :1]) == {"both sides are the same (mono)": {"width", "lead"}}


def test_a_low_rate_ends_the_spectrum():
    found = profile(song(rate_hz=11025), 11025)
    assert [weak.why for weak in found.weak] == ["nothing above 5.5 kHz (a low rate)"]
    assert "top_end" in found.weak[0].attributes
    thirds = found.values["third_octaves_db"]
    assert thirds[20] is not None  # 2 kHz
    assert thirds[-6:] == (None,) * 6  # 6.3 kHz and up
    assert found.one("slope_db_oct") is None


@pytest.mark.parametrize(("limit_hz", "spoilt"), [(16000.0, set()), (11000.0, {"top_end"})])
def test_a_low_pass_of_lossy_coding_is_seen(limit_hz, spoilt):
    filtered = oaconvolve(song(), firwin(511, limit_hz, fs=RATE_HZ)[:, None], mode="same", axes=0)
    found = profile(filtered.astype(np.float32), RATE_HZ)
    told = {weak.why: set(weak.attributes) for weak in found.weak}
    (words,) = told
    assert words.startswith("nothing above ")
    assert words.endswith("kHz (coding)")
    assert float(words.split()[2]) == pytest.approx(limit_hz / 1000.0, abs=0.6)
    assert told[words] == spoilt
    assert found.values["third_octaves_db"][-1] is None


def test_clipping_spoils_the_dynamics():
    audio = song()
    top = 0.35 * float(np.abs(audio).max())
    (words,) = found = why(np.clip(audio, -top, top))
    assert words.startswith("clipped: ")
    assert found[words] == {"dynamics"}


def test_an_offset_spoils_peaks_and_low_end():
    assert why(song() + 0.03) == {"a constant offset of -30 dBFS": {"dynamics", "low_end"}}


def test_what_is_spoilt_is_not_counted():
    mono, wide = profile(song()[:, :1], RATE_HZ), profile(song(), RATE_HZ)
    assert corridor([mono]).side_to_mid_db is None
    assert corridor([mono]).low_end_db is not None
    assert corridor([mono, wide]).side_to_mid_db.references == 1
    assert why(noise(40.0, slope_db_oct=-4.5)) == {}
