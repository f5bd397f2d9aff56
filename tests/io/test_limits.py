# SPDX-License-Identifier: Apache-2.0
"""Limits of received files, and the environment that sets them."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from malformed import FRAMES, chunk, fmt, noise, riff
from mixwright.app.start import start
from mixwright.errors import LimitError, SettingError
from mixwright.io.decode import Decoder
from mixwright.io.limits import VARIABLES, Limits, NoLimit, limits_from


def wav(path: Path, channels: int = 1, rate_hz: int = 48000) -> Path:
    path.write_bytes(riff(fmt(channels, rate_hz), chunk(b"data", noise(11, FRAMES))))
    return path


@pytest.mark.parametrize(
    ("limits", "channels", "rate_hz", "said"),
    [
        (Limits(file_gib=2e-5), 1, 48000, r"0\.0 GiB large, more than the limit of 2e-05 GiB.*MIXWRIGHT_MAX_FILE_GIB"),
        (Limits(channels=2), 3, 48000, "has 3 channels, the limit is 2; .*MIXWRIGHT_MAX_CHANNELS"),
        (Limits(rate_hz=44100), 1, 48000, "48000 Hz, the limit is 44100 Hz; .*MIXWRIGHT_MAX_RATE_HZ"),
        (Limits(), 1, 7999, "7999 Hz, less than 8000 Hz; export it at the rate of the session"),
        (Limits(hours=1e-5), 1, 48000, r"lasts 0\.0 hours, the limit is 1e-05 hours; .*MIXWRIGHT_MAX_HOURS"),
    ],
)
def test_what_is_over_a_limit(tmp_path: Path, limits: Limits, channels: int, rate_hz: int, said: str) -> None:
    path = wav(tmp_path / "a.wav", channels, rate_hz)
    with Decoder(1, limits=limits) as decoder:
        with pytest.raises(LimitError, match=said):
            decoder.probe(path)
        with pytest.raises(LimitError, match=said):
            decoder.decode(path, tmp_path / "a.npy")
    assert not (tmp_path / "a.npy").exists()


def test_defaults_let_a_file_through(tmp_path: Path) -> None:
    with Decoder(1, limits=Limits()) as decoder:
        assert decoder.probe(wav(tmp_path / "a.wav", 3, 192000)).channels == 3


def test_the_environment_sets_them(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tracks").mkdir()
    wav(tmp_path / "tracks" / "Kick.wav")
    wav(tmp_path / "tracks" / "Fast.wav", rate_hz=96000)
    monkeypatch.setenv("MIXWRIGHT_MAX_RATE_HZ", "48000")
    fast, kick = start(tmp_path / "tracks", tmp_path / "song").tracks
    assert (kick.use, fast.use) == (True, False)
    (fault,) = fast.faults
    assert (fault.kind, fault.severity) == ("over_limit", "unusable")
    assert "96000 Hz, the limit is 48000 Hz" in fault.detail
    assert "raise MIXWRIGHT_MAX_RATE_HZ" in fault.detail
    monkeypatch.setenv("MIXWRIGHT_MAX_CHANNELS", "many")
    with pytest.raises(SettingError, match="MIXWRIGHT_MAX_CHANNELS: 'many' is no limit; give a number of channels"):
        start(tmp_path / "tracks", tmp_path / "other")
    assert not (tmp_path / "other").exists()


def test_a_raised_limit_is_enough(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tracks").mkdir()
    wav(tmp_path / "tracks" / "Kick.wav", rate_hz=768_000)
    monkeypatch.setenv("MIXWRIGHT_MAX_RATE_HZ", "768000")
    result = start(tmp_path / "tracks", tmp_path / "song")
    (kick,) = result.tracks
    assert (kick.use, kick.sample_rate_hz, result.rate_hz) == (True, 768_000, 384_000)  # as fast as a song may be


def test_a_large_file_is_refused_before_it_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "tracks").mkdir()
    wav(tmp_path / "tracks" / "Kick.wav")
    with (tmp_path / "tracks" / "Huge.wav").open("wb") as file:  # sparse: takes no room, but hours to hash
        file.truncate(1 << 42)
    huge, kick = start(tmp_path / "tracks", tmp_path / "song").tracks
    assert (kick.use, [fault.kind for fault in huge.faults]) == (True, ["over_limit"])
    assert "4096.0 GiB large, more than the limit of 16 GiB" in huge.faults[0].detail


@given(
    st.sampled_from(sorted(VARIABLES)), st.one_of(st.text(max_size=12), st.floats().map(str), st.integers().map(str))
)
def test_any_text_is_a_limit_or_refused(name: str, text: str) -> None:
    variable = VARIABLES[name]
    try:
        limits = limits_from({variable.name: text})
    except NoLimit:
        return
    assert 0 < getattr(limits, name) <= variable.highest


def test_a_decimal_comma_is_not_taken_for_a_number() -> None:
    assert limits_from({"MIXWRIGHT_MAX_HOURS": " 1.5 "}) == Limits(hours=1.5)
    assert limits_from({}) == limits_from({"MIXWRIGHT_MAX_HOURS": " "}) == Limits()
    with pytest.raises(NoLimit):
        limits_from({"MIXWRIGHT_MAX_HOURS": "1,5"})
