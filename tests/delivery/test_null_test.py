# SPDX-License-Identifier: Apache-2.0
"""The null test finds what is wrong with a delivery, and nothing where all is well."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from mixwright.delivery.null_test import Proof, prove
from mixwright.io.write import SampleFormat, write_wav
from mixwright.model.results import CheckLine
from mixwright.model.words import PrintKind

FRAMES = 100_000
PARTS = np.random.default_rng(2).uniform(-0.1, 0.1, (4, FRAMES, 2)).astype(np.float32)
MIX = PARTS.astype(np.float64).sum(axis=0).astype(np.float32)


def proof(path: Path, kind: PrintKind, form: SampleFormat, audio: np.ndarray, gain: float = 1.0) -> Proof:
    return Proof(path, kind, form, 48000, len(audio), lambda start, end: audio[start:end].astype(np.float64) * gain)


def whole(file: Proof) -> np.ndarray:
    return file.block(0, file.frames)


def proved(files: list[Proof], progress: Callable[[int], object] = lambda _: None) -> tuple[CheckLine, ...]:
    return prove(files, {48000: files[0].block}, progress)[0]  # type: ignore[arg-type]


def write(path: Path, audio: np.ndarray, form: SampleFormat, seed: int) -> None:
    write_wav(path, [audio], rate_hz=48000, channels=2, frames=len(audio), sample_format=form, seed=seed)


@pytest.fixture
def files(tmp_path: Path) -> list[Proof]:
    made = [proof(tmp_path / "main.wav", "main", "pcm24", MIX)]
    made.append(proof(tmp_path / "i.wav", "instrumental", "pcm24", PARTS[:3].sum(axis=0)))
    made.append(proof(tmp_path / "a.wav", "a_cappella", "pcm24", PARTS[3]))
    for form in ("pcm24", "float32"):
        made += [proof(tmp_path / f"{i}{form}.wav", "stem", form, PARTS[i]) for i in range(4)]
    for seed, file in enumerate(made):
        write(file.path, whole(file), file.sample_format, seed)
    return made


def failed(checks: tuple[CheckLine, ...]) -> list[str]:
    return [check.name for check in checks if not check.passed]


def test_a_sound_delivery(files: list[Proof]) -> None:
    counts: list[int] = []
    checks = proved(files, counts.append)
    assert failed(checks) == []
    assert sum(counts) == FRAMES * len(files)
    residuals = {c.name: float(c.detail.split()[1]) for c in checks if c.detail.startswith("residual")}
    assert len(residuals) == 4
    # 24-bit files, each with triangular dither: LSB^2/4 of noise a file; for 4 stems and the mix
    # -144.49 + 10 lg 5 = -137.5 dBFS rms (Lipshitz, Wannamaker, Vanderkooy 1992; value from memory).
    detail = next(c.detail for c in checks if c.name == "24-bit stems against the main mix")
    assert float(detail.split(", ")[1].split()[0]) == pytest.approx(-144.49 + 10 * np.log10(5), abs=0.15)
    assert residuals["float stems against the rendered mix"] < -140


def test_a_wrong_sample_in_a_stem_is_found(files: list[Proof]) -> None:
    wrong = PARTS[2].copy()
    wrong[77_777, 1] += 1e-4
    write(files[-2].path, wrong, "float32", 0)
    assert failed(proved(files)) == [
        "files hold what was rendered",
        "float stems against the rendered mix",
        "float stems against the main mix",
    ]


def test_one_step_too_much_is_no_longer_rounding(files: list[Proof]) -> None:
    write(files[0].path, MIX + np.float32(2.0**-22), "pcm24", 0)
    assert failed(proved(files)) == ["files hold what was rendered"]


def test_a_part_that_is_missing_from_all_files_is_found(files: list[Proof]) -> None:
    for gap in ([3], [6], [7], [10]):  # a stem of each depth
        left = [file for i, file in enumerate(files) if i not in gap]
        assert failed(proved(left))


@pytest.mark.parametrize("frames", [0, 1, FRAMES - 1, FRAMES + 70_000])
def test_a_wrong_length_is_found(files: list[Proof], frames: int) -> None:
    longer = np.concatenate([PARTS[0], np.zeros((70_000, 2), np.float32)])
    write(files[3].path, longer[:frames], "pcm24", 0)
    checks = proved(files)
    assert failed(checks)[0] == "equal length"
    assert f"0pcm24.wav has {frames}" in checks[0].detail


def test_gain_counts(files: list[Proof]) -> None:
    lowered = [proof(f.path, f.kind, f.sample_format, whole(f), 0.5) for f in files]
    assert "files hold what was rendered" in failed(proved(lowered))
    for seed, file in zip(itertools.count(50), lowered, strict=False):
        write(file.path, whole(file), file.sample_format, seed)
    assert failed(proved(lowered)) == []
