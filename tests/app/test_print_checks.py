# SPDX-License-Identifier: Apache-2.0
"""What levels and headers show of a set of prints: each fault planted once, in invented noise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from mixwright.app.print_checks import print_checks
from mixwright.app.print_files import print_tags
from mixwright.delivery.file_plan import PrintFile
from mixwright.delivery.owed import owed_tags
from mixwright.delivery.print_set import Print
from mixwright.io.coded import write_coded
from mixwright.io.write import write_wav
from mixwright.meter.measure import measure
from mixwright.model.agreement import Agreement
from mixwright.model.song import Song, changed
from mixwright.model.tags import Credit, TagLoudness

RATE_HZ, FRAMES = 16000, 16000
SONG = Song(
    title="Invented", artist="Ada Example", rate_hz=RATE_HZ, credits=(Credit(role="Producer", name="Cy Sample"),)
)
MAIN = PrintFile(Print("main", "Main"), RATE_HZ, "pcm24", name="Invented_Main.wav")
STEM = PrintFile(Print("stem", "Drums"), RATE_HZ, "pcm16", name="Invented_Drums.wav")


def noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-0.3, 0.3, (FRAMES, 2))


def failed(
    folder: Path, main: np.ndarray, stem: np.ndarray, *, as_said: PrintFile = STEM, song: Song = SONG
) -> dict[str, str]:
    """Write both with the tags of a song, `as_said` by its header, and return all that is told and is not good."""
    for file, audio in ((MAIN, main), (as_said, stem)):
        write_wav(
            folder / file.name,
            [audio],
            rate_hz=file.rate_hz,
            channels=2,
            frames=FRAMES,
            sample_format=file.sample_format,
            tags=print_tags(song, file, FRAMES, TagLoudness()),
        )
    levels = {(MAIN.entry, RATE_HZ): measure(main, RATE_HZ), (STEM.entry, RATE_HZ): measure(stem, RATE_HZ)}
    return {line.name: line.detail for line in print_checks(folder, SONG, (MAIN, STEM), levels) if not line.passed}


def test_a_clean_set(tmp_path: Path) -> None:
    assert not failed(tmp_path, noise(1), noise(2))
    levels = {(MAIN.entry, RATE_HZ): measure(noise(1), RATE_HZ), (STEM.entry, RATE_HZ): measure(noise(1), RATE_HZ)}
    told = {line.name: line for line in print_checks(tmp_path, SONG, (MAIN, STEM), levels)}
    assert told["no print twice"].passed  # all voices may be one group
    assert told["no print twice"].detail == "Drums is the same as Main"


def test_credits_as_flac_tells_them(tmp_path: Path) -> None:
    """A role with a key of its own is told in that key's letters, parentheses in a role as brackets."""
    song = changed(SONG, credits=(*SONG.credits, Credit(role="engineer (assistant)", name="Di Other")))
    file = replace(MAIN, ending=".flac", name="Invented_Main.flac")
    tags = print_tags(song, file, FRAMES, TagLoudness())
    write_coded(tmp_path / file.name, [noise(1)], "flac", rate_hz=RATE_HZ, tags=tags)
    levels = {(MAIN.entry, RATE_HZ): measure(noise(1), RATE_HZ)}

    def told(said: Song) -> list[str]:
        return [line.detail for line in print_checks(tmp_path, said, (file,), levels) if not line.passed]

    assert not told(song)
    assert told(SONG) == ["Invented_Main.flac: credits"]


AGAINST = noise(1)[:, :1] * [1.0, -1.0]


@pytest.mark.parametrize(
    ("main", "stem", "name"),
    [
        (noise(1), 0.0 * noise(2), "every file sounds"),
        (3e-4 * noise(1), noise(2), "every file sounds"),
        (noise(1), noise(2) + 0.05, "no constant offset"),
        (AGAINST, noise(2), "mono keeps every mix"),
    ],
)
def test_levels_show_it(tmp_path: Path, main: np.ndarray, stem: np.ndarray, name: str) -> None:
    assert list(failed(tmp_path, main, stem)) == [name]


def test_a_part_may_be_quiet_and_stand_on_the_sides(tmp_path: Path) -> None:
    assert not failed(tmp_path, noise(2), 3e-3 * AGAINST)


def test_headers_and_tags_show_it(tmp_path: Path) -> None:
    other = replace(STEM, rate_hz=2 * RATE_HZ, sample_format="pcm24")
    wrong = failed(tmp_path, noise(1), noise(2), as_said=other)
    assert wrong == {"rates and depths": "Invented_Drums.wav says 32000 Hz, pcm24"}
    wrong = failed(tmp_path, noise(1), noise(2), song=changed(SONG, artist="", credits=()))
    assert wrong == {"tags": "Invented_Main.wav: artist, credits; Invented_Drums.wav: artist, credits"}


def test_credits_and_codes_that_are_owed() -> None:
    agreement = Agreement(credits=("producer", "mixing engineer"), isrc=("main", "instrumental"))
    assert owed_tags(changed(SONG, isrc={"main": "QZ-ABC-26-00001"}), agreement) == (
        "credit: song.toml names nobody as mixing engineer",
        "isrc: song.toml has none for instrumental",
    )
    assert owed_tags(SONG, Agreement()) == ()
