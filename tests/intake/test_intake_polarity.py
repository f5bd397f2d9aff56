# SPDX-License-Identifier: Apache-2.0
"""Microphones that move against one another, and all that looks like it and is not."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from intake_sounds import RATE_HZ, hits, mono, stereo, tone
from mixwright.intake.likeness import Trace
from mixwright.intake.listening import listen
from mixwright.intake.names import read_names
from mixwright.intake.polarity import polarity_faults
from mixwright.intake.sources import Layer
from mixwright.model.words import Role

SECONDS = 10.0
AT = np.abs(np.arange(0.3, SECONDS - 0.5, 0.5) + np.random.default_rng(3).uniform(-0.01, 0.01, 19))
SNARE = hits("snare", AT, SECONDS, 4)
NOTES = [(hz, 0.5) for hz in (41, 55, 62, 49, 41, 73, 82, 55, 46, 62) * 2]
DI = tone(NOTES, harmonics=20, decay=2)


def later(x: np.ndarray, ms: float) -> np.ndarray:
    frames = round(ms * RATE_HZ / 1000)
    return np.concatenate([np.zeros(frames), x[: len(x) - frames]])


def from_below(x: np.ndarray) -> np.ndarray:
    """Darker skin, brighter wires, and another noise."""
    low, high = (signal.sosfilt(signal.butter(1, 900, kind, fs=RATE_HZ, output="sos"), x) for kind in ("low", "high"))
    return 0.6 * low + 0.9 * high + 0.002 * np.random.default_rng(8).standard_normal(len(x))


def told(role: Role, **tracks: np.ndarray) -> dict[str, str]:
    """Names with underscores for blanks; details by name."""
    names = [name.replace("_", " ") for name in tracks]
    audio = [x if x.ndim == 2 else mono(x) for x in tracks.values()]
    layers = [
        Layer(name, reading, role, Trace(listen(x, RATE_HZ)), x)
        for name, reading, x in zip(names, read_names(names), audio, strict=True)
    ]
    faults = polarity_faults([layers], {name: f"{name}.wav" for name in names})
    assert all(fault.kind == "polarity" and fault.severity == "look" for fault in faults.values())
    return {name: fault.detail for name, fault in faults.items()}


def test_a_snare_from_below_is_told_whichever_comes_first():
    below = -later(from_below(SNARE), 0.3)
    for tracks in ({"Sn_Top": SNARE, "Sn_Bottom": below}, {"Sn_Bottom": below, "Sn_Top": SNARE}):
        found = told("snare", **tracks)
        assert list(found) == ["Sn Bottom"]
        assert found["Sn Bottom"].startswith("moves against Sn Top.wav, 0.3 ms apart")
    assert told("snare", Sn_Top=SNARE, Sn_Bottom=-below) == {}


@pytest.mark.parametrize("sides", [1, 2])
def test_of_two_alike_the_later_one_is_told(sides):
    def file(x):
        return x if sides == 1 else stereo(x, 0.8 * x)

    assert list(told("percussion", Clap_A=file(SNARE), Clap_B=file(-0.5 * SNARE))) == ["Clap B"]
    assert told("percussion", Clap_A=file(SNARE), Clap_B=mono(-SNARE) if sides == 2 else stereo(-SNARE, -SNARE)) == {}


def test_what_is_far_apart_or_other_playing_is_no_fault():
    # 2 ms: 69 cm apart, where no polarity is right at every frequency.
    assert told("snare", Sn_A=SNARE, Sn_B=-later(from_below(SNARE), 2.0)) == {}
    # Two takes of one part.
    assert told("snare", Sn_A=SNARE, Sn_B=-hits("snare", AT + 0.004, SECONDS, 77)) == {}
    # Voices are takes, whatever they correlate like.
    assert told("backing vocal", BV_1=SNARE, BV_2=-SNARE) == {}


def test_what_shares_little_is_no_fault_however_surely_it_is_found():
    # Two drums struck together, and a stick that both microphones hear, one turned over: most of each is its own.
    low, lower = (tone([(0, 0.3), *[(hz, 0.25), (0, 0.25)] * 19], harmonics=1, decay=4) for hz in (196, 110))
    low, lower = (np.pad(x, (0, len(SNARE)))[: len(SNARE)] for x in (low, lower))
    assert told("toms", Tom_1=0.2 * SNARE + low, Tom_2=lower - 0.2 * SNARE) == {}
    assert list(told("toms", Tom_1=SNARE + 0.1 * low, Tom_2=0.1 * lower - SNARE)) == ["Tom 2"]


@pytest.mark.parametrize("turn_hz", [150.0, 400.0, 1200.0])
@pytest.mark.parametrize("late_ms", [0.3, 0.9])
def test_an_amplifier_that_turns_the_phase_is_not_taken_for_inverted(turn_hz, late_ms):
    # A first-order all-pass turns lows by 0 and highs by 180 degrees, as the filters and the loudspeaker of an
    # amplifier turn them somewhere; overdriven, and band-limited like a cabinet (common practice, no source).
    pole = (np.tan(np.pi * turn_hz / RATE_HZ) - 1) / (np.tan(np.pi * turn_hz / RATE_HZ) + 1)
    turned = signal.lfilter([-pole, -1.0], [1.0, pole], np.tanh(3.0 * DI))
    cabinet = signal.sosfilt(signal.butter(2, (70, 4000), "bandpass", fs=RATE_HZ, output="sos"), turned)
    assert told("bass", Bass_DI=DI, Bass_Amp=later(cabinet, late_ms)) == {}
