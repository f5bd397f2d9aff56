# SPDX-License-Identifier: Apache-2.0
"""Files held to the mix, the voice and what was agreed, through the whole of `check`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from finished_sounds import RATE_HZ, mix, parts, write
from mixwright.app.check import check
from mixwright.errors import InputError, SettingError
from mixwright.io.write import write_wav
from mixwright.model.expected import Expected, expected_from
from mixwright.model.results import CheckResult
from mixwright.model.tags import Tags


def failed(result: CheckResult) -> dict[str, set[str]]:
    return {Path(one.file).name: {c.name for c in one.checks if not c.passed} for one in result.files}


def test_a_folder_of_parts_beside_its_mix(tmp_path):
    whole = write(tmp_path / "A_Mix.wav", mix())
    for name, part in zip(("Voice", "Chords", "Bass"), parts(), strict=True):
        write(tmp_path / f"A_{name}.wav", part)
    (tmp_path / "notes.txt").write_text("not a file to check")
    wanted = Expected(parts=True, rate_hz=RATE_HZ, depth="24")
    result = check([tmp_path], against=whole, expected=wanted)
    assert failed(result) == {"A_Bass.wav": set(), "A_Chords.wav": set(), "A_Voice.wav": set()}
    assert [(line.name, line.passed) for line in result.checks] == [
        ("every name once", True),
        ("no file twice", True),
        ("parts add up to the mix", True),
    ]
    write(tmp_path / "A_Chords.wav", np.roll(parts()[1], 1, axis=0))
    result = check([tmp_path], against=whole, expected=wanted)
    assert failed(result) == {"A_Bass.wav": set(), "A_Chords.wav": {"starts with the mix"}, "A_Voice.wav": set()}
    assert result.checks[2].detail.endswith("A_Chords.wav is 1 frame late")


def test_stems_by_their_tags_must_add_up_and_a_word_is_left(tmp_path):
    whole = write(tmp_path / "Mix.wav", mix())
    paths = []
    for name, part in zip(("Voice", "Chords"), parts(), strict=False):
        paths.append(tmp_path / f"A_{name}.wav")
        tags = Tags(title="Invented", kind="stem", print=name)
        layout = {"rate_hz": RATE_HZ, "channels": 2, "frames": len(part), "sample_format": "pcm24"}
        write_wav(paths[-1], [part], tags=tags, **layout)
    result = check(paths, against=whole, expected=Expected(title="Invented"), voice=paths[0], muted_s=[(1.0, 1.6)])
    assert [one.kind for one in result.files] == ["stem", "stem"]
    assert failed(result) == {"A_Voice.wav": {"no muted word is left"}, "A_Chords.wav": set()}
    assert "a part is missing" in result.checks[2].detail
    assert len(result.files[0].played) == 5


def test_names_and_sounds_that_are_there_twice(tmp_path):
    for folder, name in (("1", "A_Main.wav"), ("2", "a_main.wav"), ("2", "A_TV.wav")):
        (tmp_path / folder).mkdir(exist_ok=True)
        write(tmp_path / folder / name, mix() if name != "a_main.wav" else 0.5 * mix())
    result = check([tmp_path / "1", tmp_path / "2"])
    details = {line.name: line.detail for line in result.checks if not line.passed}
    assert details["every name once"].startswith("a_main.wav is A_Main.wav to some systems")
    assert "A_TV.wav holds the same as" in details["no file twice"]


def test_prints_that_may_hold_one_sound(tmp_path):
    """A song without backing voices has one sound as instrumental and TV; its dry prints may be mono, as parts may."""
    mono = np.repeat(mix()[:, :1], 2, axis=1)
    layout = {"rate_hz": RATE_HZ, "channels": 2, "frames": len(mono), "sample_format": "pcm24"}
    for name, kind in (("A_BassDry.wav", "dry"), ("A_Bass.wav", "stem")):
        write_wav(tmp_path / name, [mono], tags=Tags(title="A", kind=kind), **layout)
    for name in ("A_Instrumental.wav", "A_TV.wav"):
        write_wav(tmp_path / name, [mix()], tags=Tags(title="A"), **layout)
    result = check([tmp_path])
    assert all(not lines for lines in failed(result).values())
    assert all(line.passed for line in result.checks)
    assert result.checks[1].detail.count("holds the same as") == 2


@pytest.mark.parametrize("kind", ["stem", "dry"])
def test_a_part_that_is_the_whole_mix_is_the_wrong_file(tmp_path, kind):
    layout = {"rate_hz": RATE_HZ, "channels": 2, "frames": len(mix()), "sample_format": "pcm24"}
    for name, its in (("A_Main.wav", "main"), ("A_Part.wav", kind)):
        write_wav(tmp_path / name, [mix()], tags=Tags(title="A", kind=its), **layout)
    assert [line.passed for line in check([tmp_path]).checks if line.name == "no file twice"] == [False]


def test_what_was_agreed(tmp_path):
    path = write(tmp_path / "A_Main_24k24.wav", mix())
    wanted = expected_from(["rate=48000", "depth=16", "channels=1", "length=0:04.1", "loudness=-9", "title=X"])
    assert failed(check([path], expected=wanted))["A_Main_24k24.wav"] == {
        "the agreed rate",
        "the agreed depth and channels",
        "the agreed length",
        "the agreed loudness",
        "tags",
    }
    good = expected_from(["rate=24000", "depth=24", "length=4", "template={title}_{print}_{rate}{depth}"])
    assert failed(check([path], expected=good))["A_Main_24k24.wav"] == set()


@pytest.mark.parametrize("agreed", ["rate", "rate=x", "depth=20", "length=3:99", "loudness=nan", "title=", "speed=2"])
def test_what_cannot_be_agreed(agreed):
    with pytest.raises(SettingError) as told:
        expected_from([agreed])
    assert told.value.where == "--expect"
    assert told.value.hint


def test_what_cannot_be_asked(tmp_path):
    path = write(tmp_path / "A.wav", mix())
    (tmp_path / "empty").mkdir()
    with pytest.raises(SettingError, match="voice alone"):
        check([path], muted_s=[(1.0, 2.0)])
    with pytest.raises(SettingError, match="is no range"):
        check([path], voice=path, muted_s=[(2.0, 1.0)])
    with pytest.raises(SettingError, match="no audio file"):
        check([tmp_path / "empty"])
    with pytest.raises(InputError):
        check([path], against=tmp_path / "none.wav")
    with pytest.raises(SettingError, match="no file to check"):
        check([path], against=path)
