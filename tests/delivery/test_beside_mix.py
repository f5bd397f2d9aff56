# SPDX-License-Identifier: Apache-2.0
"""How files stand beside the mix, parts that add up, names and tags, and levels of playback."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from finished_sounds import RATE_HZ, dithered, mix, parts
from mixwright.delivery.file_checks import beside_faults
from mixwright.delivery.finished.beside_mix import beside_mix
from mixwright.delivery.finished.parts import sum_of_parts
from mixwright.delivery.name_checks import kind_of_name, name_faults, tag_faults
from mixwright.delivery.normalising import Normaliser, normalisers_of, played_levels
from mixwright.delivery.parts_check import Part, parts_check
from mixwright.errors import SettingError
from mixwright.meter.measure import measure
from mixwright.model.audio import AudioInfo
from mixwright.model.expected import Expected
from mixwright.model.tags import Tags


def written(audio: np.ndarray, seed: int = 1) -> np.ndarray:
    return np.ascontiguousarray(dithered(audio, 24, seed), dtype=np.float32)


def late(audio: np.ndarray, frames: int) -> np.ndarray:
    return np.roll(audio, frames, axis=0)


def beside(file: np.ndarray) -> set[str]:
    whole = written(mix())
    found = beside_mix(whole, written(file, 2), RATE_HZ)
    return {fault.kind for fault in beside_faults(found, len(file), len(whole), RATE_HZ)}


CHORDS = parts()[1]


@pytest.mark.parametrize(
    ("file", "expected"),
    [
        (mix(), set()),
        (CHORDS, set()),
        (late(mix(), 1), {"start_differs"}),
        (late(CHORDS, -700), {"start_differs"}),
        (-mix(), {"polarity"}),
        (-CHORDS, {"polarity"}),
        (mix()[:, ::-1], {"sides_changed"}),
        (CHORDS[:, ::-1], {"sides_changed"}),
        (0.98 * mix(), {"gain_differs"}),
        (0.5 * CHORDS, set()),
        (mix()[:-1], {"length_differs"}),
        (np.zeros_like(mix()), set()),
    ],
)
def test_what_stands_otherwise_than_the_mix(file, expected):
    assert beside(file) == expected


def told(changed: dict[int, np.ndarray], left_out: int | None = None) -> tuple[bool, list[str]]:
    own = [written(changed.get(i, part), i) for i, part in enumerate(parts()) if i != left_out]
    found = sum_of_parts(written(mix()), own, RATE_HZ)
    return found.adds_up, [f"{one.part}: {one.words}" for one in found.off]


def test_parts_add_up():
    assert told({}) == (True, [])


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({1: late(CHORDS, 1)}, ["1: 1 frame late"]),
        ({0: late(parts()[0], -345)}, ["0: 345 frames early"]),
        ({2: -parts()[2]}, ["2: turned over"]),
        ({1: CHORDS[:, ::-1]}, ["1: left and right changed over"]),
        ({0: 10 ** (-1 / 20) * parts()[0], 1: -CHORDS}, ["0: 1.00 dB too quiet", "1: turned over"]),
    ],
)
def test_which_part_is_off(changed, words):
    assert told(changed) == (False, words)


def test_a_silent_part_is_never_the_culprit():
    silence = written(np.zeros_like(CHORDS), 9)
    found = sum_of_parts(written(mix()), [written(-CHORDS), written(mix() - CHORDS, 2), silence], RATE_HZ)
    assert [f"{one.part}: {one.words}" for one in found.off] == ["0: turned over"]


def test_a_missing_part_is_told_without_a_culprit():
    assert told({}, left_out=0) == (False, [])
    files = [Part("Chords.wav", RATE_HZ, written(CHORDS))]
    line, _ = parts_check(Part("Mix.wav", RATE_HZ, written(mix())), files)
    assert not line.passed
    assert "a part is missing" in line.detail


def test_one_part_that_is_the_mix_is_exact():
    whole = written(mix())
    assert sum_of_parts(whole, [whole], RATE_HZ).residual_db is None


@settings(max_examples=15, deadline=None)
@given(part=st.integers(0, 2), gain_db=st.floats(-12.0, 12.0).filter(lambda db: abs(db) > 0.1), over=st.booleans())
def test_levels_of_parts_are_found(part, gain_db, over):
    gain = 10 ** (gain_db / 20) * (-1.0 if over else 1.0)
    own = [gain * one if i == part else one for i, one in enumerate(parts())]
    found = sum_of_parts(mix().astype(np.float32), [one.astype(np.float32) for one in own], RATE_HZ)
    (off,) = found.off
    assert off.part == part
    assert off.gain == pytest.approx(gain, rel=1e-3)


INFO = AudioInfo(container="WAV", encoding="PCM_24", sample_rate_hz=48000, channels=2, frames=9, bits=24)


@pytest.mark.parametrize(
    ("name", "kinds"),
    [
        ("NightBus_Main_48k24.wav", set()),
        ("NightBus.wav", set()),
        ("Night Bus.wav", {"name_unsafe"}),
        ("Nächte.wav", {"name_unsafe"}),
        ("con.wav", {"name_unsafe"}),
        ("a" * 70 + ".wav", {"name_unsafe"}),
        (".wav", {"name_unsafe"}),
        ("A_Main_96k24.wav", {"name_differs"}),
        ("A_Main_48k16.wav", {"name_differs"}),
        ("A_Main.flac", {"name_differs"}),
    ],
)
def test_names(name, kinds):
    assert {fault.kind for fault in name_faults(name, INFO, Expected())} == kinds


@given(name=st.text(max_size=90).map(lambda text: f"{text}.wav"))
def test_the_name_that_is_advised_is_safe(name):
    for fault in name_faults(name, None, Expected()):
        advised = fault.detail.rpartition("call it '")[2].removesuffix("'")
        assert not name_faults(advised, None, Expected())


def test_templates():
    wanted = Expected(template="{initials}_{title}_{print}_{rate}{depth}", title="Night Bus")
    for name, good in (
        ("N_NightBus_Main_48k24.wav", True),
        ("NightBus_Main_48k24.wav", True),  # nothing is known of the artist
        ("N_DayBus_Main_48k24.wav", False),
        ("N_NightBus_48k24.wav", False),
    ):
        assert (not name_faults(name, INFO, wanted)) == good, name


def test_tags():
    tags = Tags(title="Night Bus", artist="Nobody", kind="main")
    assert tag_faults(tags, "NightBus_Main.wav", Expected(title="Night Bus", artist="Nobody")) == ()
    assert tag_faults(None, "x.ogg", Expected(title="Night Bus")) == ()
    assert tag_faults(Tags(), "x.wav", Expected()) == ()
    cases = [
        (Tags(), "x.wav", Expected(title="Night Bus"), "tags_missing"),
        (tags, "x.wav", Expected(title="Day Bus"), "tag_differs"),
        (tags, "x.wav", Expected(kind="tv"), "tag_differs"),
        (tags, "NightBus_Instrumental.wav", Expected(), "tag_differs"),
    ]
    for found, name, wanted, kind in cases:
        assert [fault.kind for fault in tag_faults(found, name, wanted)] == [kind]
    assert tag_faults(Tags(), "x.wav", Expected(), others_tagged=True)[0].kind == "tags_missing"
    assert kind_of_name("Main_Street_Instrumental_48k24.wav") == "instrumental"


def test_levels_of_playback():
    """g = target - loudness, upwards at most to -1 dBTP (AES TD1008): a file of -20 LUFS and -4 dBTP rises by 3 dB."""
    audio = mix().astype(np.float32)
    levels = measure(audio, RATE_HZ)
    assert levels.integrated_lufs is not None
    assert levels.true_peak_dbtp is not None
    room = -1.0 - levels.true_peak_dbtp
    up, down, low = played_levels(
        levels, [Normaliser(levels.integrated_lufs + room + 2.0, True, "up"), Normaliser(0.0, False, "down only"),
                 Normaliser(levels.integrated_lufs - 3.0, True, "low")]
    )  # fmt: skip
    assert (up.gain_db, up.short_of_target_lu) == (pytest.approx(room), pytest.approx(2.0))
    assert up.played_dbtp == pytest.approx(-1.0)
    assert down.gain_db == 0.0
    assert low.gain_db == pytest.approx(-3.0)
    assert played_levels(measure(np.zeros((RATE_HZ, 2), np.float32), RATE_HZ)) == ()
    with pytest.raises(SettingError, match="no level of playback"):
        normalisers_of([3.0])
