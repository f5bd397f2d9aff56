# SPDX-License-Identifier: Apache-2.0
"""Names of prints: the form of the Recording Academy's recommendations (naming part), safe everywhere."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.delivery.names import DEFAULT_TEMPLATE, NameFields, file_names, rate_tag, words
from mixwright.errors import SettingError
from mixwright.model.song import Song, Version
from mixwright.model.tags import Credit

MAIN = NameFields("Main", 48000, "pcm24")
SET = [MAIN, NameFields("Drums", 48000, "pcm24"), NameFields("Drums", 48000, "float32")]


def song(title: str = "Song", **fields: object) -> Song:
    return Song(title=title, rate_hz=48000, **fields)  # type: ignore[arg-type]


def one(title: str, template: str = DEFAULT_TEMPLATE, file: NameFields = MAIN, **fields: object) -> str:
    return file_names(template, song(title, **fields), [file])[0]


def test_default_names() -> None:
    assert file_names(DEFAULT_TEMPLATE, song("Harbour Lights"), SET) == (
        "HarbourLights_Main_48k24.wav",
        "HarbourLights_Drums_48k24.wav",
        "HarbourLights_Drums_48k32f.wav",
    )


@pytest.mark.parametrize(
    ("title", "expected"),
    [
        ("the night bus", "TheNightBus"),
        ("Café Zürich (live) [v2]", "CafeZurichLiveV2"),
        ("don't STOP", "DontSTOP"),
        ("../../etc/passwd", "EtcPasswd"),
        ("straße", "Strasse"),
        ("夜のバス", ""),
        ("  ", ""),
        ("a\nb\0c", "ABC"),
    ],
)
def test_words(title: str, expected: str) -> None:
    assert words(title) == expected
    assert one(title).startswith((expected or "Song") + "_Main")


def test_rates_as_names_tell_them() -> None:
    assert [rate_tag(hz) for hz in (44100, 48000, 96000, 192000)] == ["44k", "48k", "96k", "192k"]
    assert one("A", file=NameFields("VocalUp", 44100, "pcm16")) == "A_VocalUp_44k16.wav"


def test_own_template() -> None:
    template = "{artist}_{title}_{print}-{depth}"
    assert one("Song", template, artist="Ada Example") == "AdaExample_Song_Main-24.wav"
    assert one("Song", template) == "Song_Main-24.wav"  # no artist: no leading underscore


@pytest.mark.parametrize(
    "template",
    [
        "",
        "_",
        "{print",
        "{print}}",
        "{nothing}",
        "{0}",
        "{}",
        "{print!r}",
        "{print:>9}",
        "{print.__class__}",
        "{print[0]}",
        "mixes/{print}",
        "..\\{print}",
        "{print} {depth}",
        "{print}.{depth}",
        "Ü{print}",
        "{print}\n",
        "{title}",
        "{title}_{print}",
        "con",
        "{artist}",
        "x" * 70 + "{print}{depth}",
    ],
)
def test_templates_that_are_refused_name_the_allowed_fields(template: str) -> None:
    with pytest.raises(SettingError) as caught:
        file_names(template, song(), SET)
    assert "{title} {artist} {print} {rate} {depth}" in str(caught.value)
    assert str(caught.value).isprintable()


def test_names_differ_without_regard_to_case() -> None:
    files = [NameFields(name, 48000, "pcm24") for name in ("Drums", "DRUMS")]
    with pytest.raises(SettingError, match="twice"):
        file_names(DEFAULT_TEMPLATE, song(), files)


TEMPLATES = st.sampled_from([DEFAULT_TEMPLATE, "{artist}_{title}_{print}_{depth}", "x-{print}_{title}_{depth}"])


@settings(deadline=None)
@given(TEMPLATES, st.text(max_size=120), st.text(max_size=30), st.lists(st.text(min_size=1, max_size=40), max_size=6))
def test_any_title_gives_safe_names(template: str, title: str, artist: str, groups: list[str]) -> None:
    names = dict.fromkeys(words(group)[:20] or "Stem" for group in groups)
    prints = list({name.casefold(): name for name in names}.values()) or ["Main"]
    files = [NameFields(name, 44100, form) for name in prints for form in ("pcm24", "float32")]  # type: ignore[arg-type]
    made = file_names(template, song(title, artist=artist), files)
    assert len({name.casefold() for name in made}) == len(files)
    for name in made:
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]*\.wav", name)
        assert len(name) < 64


WHOLE = "{initials}_{title}_{mixer}{version}_{print}_{rate}{depth}"


def test_the_whole_pattern_of_the_recommendations() -> None:
    # The worked example of the Recording Academy's recommendations (naming part), second-hand: initials of the artist,
    # title, initials of the mixer with the number of the mix, print, rate and depth.
    made = one(
        "Horse Not Home",
        WHOLE,
        NameFields("VocalUp", 44100, "pcm16"),
        artist="Jane Sample",
        credits=(Credit(role="producer", name="Cy Other"), Credit(role="Mixing engineer", name="ann o\u2019Wren")),
        versions=(
            Version(id="v1", name="01", engine="1", sha256=""),
            Version(id="v3", name="03", engine="1", sha256=""),
        ),
    )
    assert made == "JS_HorseNotHome_AO03_VocalUp_44k16.wav"


def test_what_the_song_does_not_know_leaves_no_gap() -> None:
    template = "{initials}_{album}_{date}_{title}_{mixer}{version}_{bpm}_{print}"
    assert one("A", template) == "A_Main.wav"
    known = {"artist": "x", "album": "b side", "date": "2026-07-01", "tempo_bpm": 119.6}
    assert one("A", template, **known) == "X_BSide_2026-07-01_A_120bpm_Main.wav"


@pytest.mark.parametrize(
    ("key", "said"), [("E minor", "EMinor"), ("F# minor", "FSharpMinor"), ("B\u266d major", "BFlatMajor")]
)
def test_a_key_without_its_sign(key: str, said: str) -> None:
    assert one("A", "{title}_{key}_{print}", key=key) == f"A_{said}_Main.wav"


def test_a_key_that_the_song_does_not_state_is_asked_for() -> None:
    with pytest.raises(SettingError, match="states no key"):
        one("A", "{title}_{key}_{print}")


@pytest.mark.parametrize("ending", [".flac", ".mp3", ".opus"])
def test_other_endings_and_files_without_a_depth(ending: str) -> None:
    assert one("A", file=NameFields("Preview", 48000, None, ending)) == f"A_Preview_48k{ending}"
    assert len(one("x" * 9999, file=NameFields("Preview", 48000, None, ending))) == 63
    assert one("x", "{artist}_{print}", artist="y" * 10_000).endswith("_Main.wav")
