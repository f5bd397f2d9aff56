# SPDX-License-Identifier: Apache-2.0
"""The rough estimate of a change beside what is heard of it."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.rough import band_powers, expected_phon
from mixwright.hearing.statistics import loudness_of

RATE_HZ, SECONDS = 48000, 2


def noise(seed: int, hz: float, level_db: float) -> np.ndarray:
    frames = RATE_HZ * SECONDS
    spectrum = np.fft.rfft(np.random.default_rng(seed).standard_normal((frames, 2)), axis=0)
    at_hz = np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 1.0)
    audio = np.fft.irfft(spectrum * np.exp(-0.5 * np.log2(at_hz / hz) ** 2)[:, None], frames, axis=0)
    return (audio * 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(audio**2))).astype(np.float32)


LAYERS = {"voice": noise(1, 900.0, -26.0), "pad": noise(2, 800.0, -22.0), "bass": noise(3, 80.0, -24.0)}
CHANGES = {
    "pad 6 dB lower": {"pad": -6.0},
    "voice 3 dB higher": {"voice": 3.0},
    "bass 4 dB lower": {"bass": -4.0},
    "all 2 dB lower": dict.fromkeys(LAYERS, -2.0),
}


def powers(layers: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    return {id_: band_powers(audio, RATE_HZ) for id_, audio in layers.items()}


def phon(layers: dict[str, np.ndarray]) -> dict[str, float]:
    heard = hear(
        {id_: held(x) for id_, x in layers.items()}, rate_hz=RATE_HZ, frames=RATE_HZ * SECONDS, offset_db=100.0
    )
    return {id_: loudness_of(one).in_mix_phon.cued for id_, one in heard.layers.items()}


@pytest.mark.parametrize("change", CHANGES)
def test_it_tells_who_changes_which_way_and_roughly_by_how_much(change: str) -> None:
    after = {id_: x * np.float32(10.0 ** (CHANGES[change].get(id_, 0.0) / 20.0)) for id_, x in LAYERS.items()}
    was, now = powers(LAYERS), powers(after)
    mixes = [band_powers(np.sum(list(layers.values()), axis=0), RATE_HZ) for layers in (LAYERS, after)]
    heard = {
        id_: value - before for (id_, value), before in zip(phon(after).items(), phon(LAYERS).values(), strict=True)
    }
    for id_ in LAYERS:
        expected = expected_phon(was[id_], now[id_], *mixes, 0.0)
        assert expected == pytest.approx(heard[id_], abs=1.5 + 0.4 * abs(heard[id_]))
        assert abs(heard[id_]) < 0.3 or expected * heard[id_] > 0.0
    # Raised by as much as it was lowered, nothing is softer.
    if change.startswith("all"):
        assert expected_phon(was["voice"], now["voice"], *mixes, -2.0) == pytest.approx(0.0, abs=0.01)


def test_silence_is_expected_to_stay_silent() -> None:
    nothing = band_powers(np.zeros((RATE_HZ, 2), dtype=np.float32), RATE_HZ)
    assert expected_phon(nothing, nothing, nothing, nothing, 0.0) == 0.0
    assert band_powers(np.zeros((10, 2), dtype=np.float32), RATE_HZ).shape[0] == 0
