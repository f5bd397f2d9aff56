# SPDX-License-Identifier: Apache-2.0
"""Checks of finished files: each fault is made here and must be found; nothing else may be."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixwright.app.check import check
from mixwright.errors import Cancelled, SettingError
from mixwright.jobs.progress import Cancel

RATE_HZ = 48000


def sound(seconds: float = 2.0, level: float = 0.3, channels: int = 2) -> np.ndarray:
    """An invented chord with quiet ends."""
    n = np.arange(int(seconds * RATE_HZ))
    wave = sum(np.sin(2 * np.pi * hz * n / RATE_HZ + hz) for hz in (221.3, 331.7, 447.1)) / 3.0
    wave *= level * np.sin(np.pi * n / len(n)) ** 2
    return np.stack([wave * (0.9**c) + 0.01 * np.roll(wave, 91 * c) for c in range(channels)], axis=1)


def write(path: Path, audio: np.ndarray, subtype: str = "PCM_24", rate_hz: int = RATE_HZ) -> Path:
    """Write a file; 16 bits with dither of triangular density."""
    if subtype == "PCM_16":
        audio = audio + np.random.default_rng(0).triangular(-1.0, 0.0, 1.0, audio.shape) / 2**15
    soundfile.write(path, audio, rate_hz, subtype=subtype)
    return path


def failed(path: Path) -> set[str]:
    (one,) = check([path]).files
    return {line.name for line in one.checks if not line.passed}


def test_sound_files_pass(tmp_path):
    kinds = (("a.wav", "PCM_16"), ("b.wav", "PCM_24"), ("c.flac", "PCM_24"), ("d.wav", "FLOAT"))
    paths = [write(tmp_path / name, sound(), subtype) for name, subtype in kinds]
    for path, one in zip(paths, check(paths).files, strict=True):
        assert all(line.passed for line in one.checks)
        assert (one.file, one.sample_rate_hz, one.channels, one.duration_s) == (str(path), RATE_HZ, 2, 2.0)
        assert one.levels is not None
        assert one.levels.true_peak_dbtp is not None
        assert {"can be read", "complete", "true peak at most 0 dBTP", "ends in quiet"} <= {c.name for c in one.checks}


def test_order_and_an_unreadable_file_among_others(tmp_path):
    good = write(tmp_path / "good.wav", sound())
    text = tmp_path / "text.wav"
    text.write_text("no audio at all")
    result = check([text, good, tmp_path / "missing.wav"])
    assert [Path(one.file).name for one in result.files] == ["text.wav", "good.wav", "missing.wav"]
    for bad in (result.files[0], result.files[2]):
        assert bad.levels is None
        assert [fault.kind for fault in bad.faults] == ["unreadable"]
        assert [(line.name, line.passed) for line in bad.checks] == [("can be read", False)]
    assert all(line.passed for line in result.files[1].checks)


def clipped() -> np.ndarray:
    return np.clip(sound(level=1.6), -0.7, 0.7)


def one_side() -> np.ndarray:
    audio = sound()
    audio[:, 1] = 0.0
    return audio


def not_numbers() -> np.ndarray:
    audio = sound()
    audio[777, 1] = np.nan
    return audio


def one_of_six() -> np.ndarray:
    audio = sound(channels=6)
    audio[777, 3] = np.inf
    audio[:, 4] = 0.0  # a channel may rest
    return audio


def late_peak() -> np.ndarray:
    """A quarter-rate sine whose samples stay below full scale while the wave does not."""
    n = np.arange(RATE_HZ)
    wave = 1.3 * np.sin(2 * np.pi * n / 4 + np.pi / 4) * np.sin(np.pi * n / len(n)) ** 2
    return np.stack((wave, 0.9 * wave), axis=1)


FAULTY = [
    (clipped(), "PCM_24", {"no flat peaks"}),
    (sound() + 0.02, "PCM_24", {"no constant offset", "starts in quiet", "ends in quiet"}),
    (one_side(), "PCM_24", {"both sides sound"}),
    (np.zeros((RATE_HZ, 2)), "PCM_24", {"not silent"}),
    (np.zeros((0, 2)), "PCM_24", {"not silent"}),
    (not_numbers(), "FLOAT", {"every sample has a value"}),
    (sound(level=1.9), "FLOAT", {"samples within full scale", "true peak at most 0 dBTP"}),
    (late_peak(), "PCM_24", {"true peak at most 0 dBTP"}),
    (sound()[: RATE_HZ + 40], "PCM_24", {"ends in quiet"}),
    (sound()[RATE_HZ + 40 :], "PCM_24", {"starts in quiet"}),
    (sound(level=1e32), "FLOAT", {"can be measured", "no damaged samples"}),
    (sound(channels=1), "PCM_24", set()),
    (sound(channels=6), "PCM_24", set()),
    (one_of_six(), "FLOAT", {"every sample has a value"}),
    (np.zeros((RATE_HZ, 6)), "PCM_24", {"not silent"}),
    (sound(channels=8), "PCM_24", {"can be measured"}),
]


def test_each_fault_is_found_alone(tmp_path):
    paths = [write(tmp_path / f"{i}.wav", audio, subtype) for i, (audio, subtype, _) in enumerate(FAULTY)]
    found = [{line.name for line in one.checks if not line.passed} for one in check(paths).files]
    assert found == [expected for _, _, expected in FAULTY]


def test_the_advice_is_enough(tmp_path):
    audio = sound(level=1.9)
    (one,) = check([write(tmp_path / "x.wav", audio, "FLOAT")]).files
    (line,) = [c for c in one.checks if c.name.startswith("true peak")]
    down_db = float(line.detail.split("lower it by ")[1].split(" dB")[0])
    assert not failed(write(tmp_path / "y.wav", audio * 10 ** (-down_db / 20), "FLOAT"))


def test_a_truncated_file_is_told(tmp_path):
    path = write(tmp_path / "x.wav", sound(), "PCM_16")
    path.write_bytes(path.read_bytes()[:-50_001])
    assert "complete" in failed(path)


def test_no_files_and_cancelling(tmp_path):
    with pytest.raises(SettingError, match="no file"):
        check([])
    cancel = Cancel()
    cancel.cancel()
    with pytest.raises(Cancelled):
        check([write(tmp_path / "x.wav", sound())], cancel=cancel)
