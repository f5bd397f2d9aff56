# SPDX-License-Identifier: Apache-2.0
"""What a file says of a song: title, print, ISRC of its kind, marks at sections, loudness."""

from __future__ import annotations

from typing import get_args

import pytest

from mixwright.delivery.tagging import print_words, song_tags, told_loudness
from mixwright.model.levels import Levels
from mixwright.model.song import Section, Song
from mixwright.model.tags import Credit, Marker, TagLoudness, Tags
from mixwright.model.words import PrintKind
from mixwright.version import __version__

SONG = Song(
    title="Harbour Lights",
    artist="Ada Example",
    album="Night Ferry",
    date="2026-07",
    isrc={"main": "qz-abc-26-00001", "instrumental": "QZABC2600002"},
    rate_hz=48000,
    tempo_bpm=120.0,
    key="F# minor",
    credits=(Credit(role="mixing engineer", name="Cy Sample"),),
    sections=(
        Section(name="verse", start_s=0.25, end_s=1.0),
        Section(name="chorus", start_s=1.0, end_s=2.0),
        Section(name="out", start_s=3.0, end_s=4.0),
    ),
)


def test_all_that_the_song_knows() -> None:
    found = song_tags(SONG, rate_hz=44100, frames=3 * 44100, kind="main", comment="a\nb")
    assert found == Tags(
        title="Harbour Lights",
        artist="Ada Example",
        album="Night Ferry",
        kind="main",
        isrc="QZABC2600001",
        date="2026-07",
        bpm=120.0,
        key="F#m",
        comment="a b",
        software=f"Mixwright {__version__}",
        credits=SONG.credits,
        markers=(Marker(name="verse", frame=11025), Marker(name="chorus", frame=44100)),
    )


def test_each_kind_is_a_recording_of_its_own() -> None:
    def of(kind: str, part: str = "") -> tuple[str, str]:
        found = song_tags(SONG, rate_hz=48000, frames=1, kind=kind, part=part)
        return found.print, found.isrc

    assert of("main") == ("", "QZABC2600001")
    assert of("instrumental") == ("Instrumental", "QZABC2600002")
    assert of("a_cappella") == ("A cappella", "")
    assert of("stem", "Drums") == ("Drums stem", "")
    assert of("", "Mix") == ("Mix", "")


@pytest.mark.parametrize("kind", get_args(PrintKind))
def test_every_kind_has_words(kind: str) -> None:
    words = print_words(kind)
    assert words.isprintable()
    assert "_" not in words
    assert bool(words) == (kind != "main")


def test_loudness_follows_the_gain_but_its_range_does_not() -> None:
    fields = dict.fromkeys(Levels.__struct_fields__[:14])
    levels = Levels(**{**fields, "integrated_lufs": -14.0, "loudness_range_lu": 5.0, "true_peak_dbtp": 1.0})  # type: ignore[arg-type]
    assert told_loudness(levels, -1.5) == TagLoudness(integrated_lufs=-15.5, range_lu=5.0, true_peak_dbtp=-0.5)
