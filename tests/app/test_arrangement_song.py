# SPDX-License-Identifier: Apache-2.0
"""The arrangement of a song: layers that nobody misses are muted in a real render; names of sections follow."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from test_hearing_song import edit_track, heard, song_of, sound

from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.demo.layers import LAYERS, made
from mixwright.demo.pieces import SONG
from mixwright.io.song_file import edit_song
from mixwright.ledger.arrangement import COVERED
from mixwright.model.arrangement import Arrangement
from mixwright.model.hearing import HearingResult
from mixwright.model.levels import Levels
from mixwright.model.song import Section, Send, Song, changed

SECTIONS = tuple(Section(name=name, start_s=float(k), end_s=k + 1.0) for k, name in enumerate("abc"))


def files(under_db: float) -> dict[str, np.ndarray]:
    """Return a wall of noise, a tune above it, and a layer under it."""
    return {
        "pad": sound(1, 700.0, -18.0, 48000),
        "vox": sound(2, 3000.0, -20.0, 48000),
        "under": sound(3, 700.0, under_db, 48000),
    }


def levels(folder: Path) -> Levels:
    with open_song(folder, Making()) as session:
        return session.measured()[0]


def test_a_layer_that_is_never_heard_is_missed_by_no_meter(tmp_path: Path) -> None:
    folder = song_of(tmp_path, files(-38.0), sections=SECTIONS)
    (never,) = heard(folder).arrangement.never_heard
    assert never.layer == "under"
    before = levels(folder)
    edit_track(folder, "under", mute=True)
    after = levels(folder)
    # The bounds of the promise, by the meter (ITU-R BS.1770, IEC 61260 third-octaves), in a render without the layer.
    assert abs(before.integrated_lufs - after.integrated_lufs) < 0.2
    differences = np.abs(np.subtract(before.third_octave_db, after.third_octave_db))
    assert differences.max() < 0.5
    # It sounds all the time: what is told is what is measured.
    assert never.loudness_lu == pytest.approx(abs(before.integrated_lufs - after.integrated_lufs), abs=0.01)
    assert never.third_octave_db == pytest.approx(differences.max(), abs=0.02)
    assert never.third_octave_hz == before.third_octave_hz[int(differences.argmax())]


@pytest.mark.slow
def test_in_the_demo_song_nothing_that_is_never_heard_is_missed(tmp_path: Path) -> None:
    start_s, end_s = SONG.section_s(2)  # the first chorus, where most layers play
    cut = slice(round(start_s * 48000), round(end_s * 48000))
    made_of = {f"layer-{k}": made(layer, SONG)[cut] * 10.0 ** (layer.mix.rough_db / 20.0) for k, layer in
               enumerate(LAYERS)}  # fmt: skip
    sounding = {id_: audio.astype(np.float32) for id_, audio in made_of.items() if np.abs(audio).max() > 1e-3}
    rng = np.random.default_rng(1)
    # Far down: 40 dB under the mix, in all of the range.
    level = 0.01 * float(np.std(np.sum([audio.mean(axis=1) for audio in sounding.values()], axis=0)))
    planted = (level * rng.standard_normal((cut.stop - cut.start, 1))).astype(np.float32)
    part = Section(name="chorus", start_s=0.0, end_s=end_s - start_s)
    folder = song_of(tmp_path, {**sounding, "planted": planted}, sections=(part,))
    never = heard(folder).arrangement.never_heard
    assert "planted" in {one.layer for one in never}
    whole = levels(folder)
    for one in never:
        edit_track(folder, one.layer, mute=True)
        without = levels(folder)
        edit_track(folder, one.layer, mute=False)
        # By the meter (ITU-R BS.1770, IEC 61260 third-octaves), in a render without the layer.
        assert abs(whole.integrated_lufs - without.integrated_lufs) < 0.2, one
        assert np.abs(np.subtract(whole.third_octave_db, without.third_octave_db)).max() < 0.5, one


@pytest.mark.parametrize("under_db", [-18.0, -26.0])
def test_a_layer_that_is_missed_is_not_called_never_heard(tmp_path: Path, under_db: float) -> None:
    assert not heard(song_of(tmp_path, files(under_db), sections=SECTIONS)).arrangement.never_heard


def test_a_layer_that_one_third_octave_misses_is_not_called_never_heard(tmp_path: Path) -> None:
    # At the bottom the ear hears little beside other low sounds: what it does not hear may still be a tenth there.
    low = {"kick": sound(1, 32.0, -12.0, 48000), "vox": sound(2, 900.0, -12.0, 48000)}
    folder = song_of(tmp_path, {**low, "under": sound(3, 32.0, -22.0, 48000)}, sections=SECTIONS)
    result = heard(folder)
    under = next(layer for layer in result.layers if layer.id == "under")
    assert under.share.cued < COVERED
    assert not result.arrangement.never_heard
    before = levels(folder)
    edit_track(folder, "under", mute=True)
    after = levels(folder)
    assert abs(before.integrated_lufs - after.integrated_lufs) < 0.2
    assert np.abs(np.subtract(before.third_octave_db, after.third_octave_db)).max() > 0.5


def test_a_layer_that_cancels_others_is_missed_though_nobody_hears_it(tmp_path: Path) -> None:
    pad = sound(1, 700.0, -18.0, 48000)
    # What is 20 dB down and the same adds 0.8 dB.
    same = {"pad": pad, "vox": sound(2, 3000.0, -20.0, 48000), "same": 0.1 * pad}
    assert not heard(song_of(tmp_path, same, sections=SECTIONS)).arrangement.never_heard


def test_sections_are_told_by_the_names_that_they_have_now(tmp_path: Path) -> None:
    folder = song_of(tmp_path, files(-38.0), sections=SECTIONS)
    first = heard(folder).arrangement

    def edit(song: Song) -> Song:
        return changed(song, sections=tuple(changed(part, name=f"new {part.name}") for part in song.sections))

    edit_song(folder, "test", edit)
    second = heard(folder).arrangement
    assert second.sections == ("new a", "new b", "new c")
    assert [one.section for one in second.motion] == [f"new {one.section}" for one in first.motion]
    assert [one.motion for one in second.motion] == [one.motion for one in first.motion]


def test_every_layer_has_a_motion_in_every_section_returns_too(tmp_path: Path) -> None:
    sends = (Send(id="hall", name="Hall"),)
    folder = song_of(tmp_path, files(-38.0), sections=SECTIONS, sends=sends)
    edit_track(folder, "vox", sends={"hall": -10.0})
    result = heard(folder)
    expected = {(layer.id, part.name) for layer in result.layers for part in SECTIONS}
    assert {(one.layer, one.section) for one in result.arrangement.motion} == expected


def test_a_song_without_sections_or_sound_has_no_arrangement(tmp_path: Path) -> None:
    silence = {"pad": np.zeros((48000, 1), dtype=np.float32)}
    assert heard(song_of(tmp_path / "a", silence, sections=SECTIONS)).arrangement == Arrangement()
    result: HearingResult = heard(song_of(tmp_path / "b", {"pad": sound(1, 700.0, -18.0, 48000)}))
    assert result.arrangement == Arrangement()
