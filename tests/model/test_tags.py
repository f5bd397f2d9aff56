# SPDX-License-Identifier: Apache-2.0
"""Texts of tags, whatever they come from; ISRC and dates."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixwright.errors import SettingError
from mixwright.model.checks import check_song
from mixwright.model.song import Song
from mixwright.model.tags import (
    MOST_CREDITS,
    MOST_MARKERS,
    MOST_TEXT,
    Credit,
    Marker,
    Tags,
    checked_isrc,
    clean_tags,
    filled,
    is_date,
    shown_title,
    tag_text,
    whole_ms,
    with_bare_title,
)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Harbour  Lights ", "Harbour Lights"),
        ("a\nb\r\nc\td\0e\x1b[2Jf\x85g\u2028h", "a b c d e [2Jf g h"),
        ("turned \u202egnp\u2066.wav\u200f", "turned gnp.wav"),
        ("<b>&amp;\"'</b>", "<b>&amp;\"'</b>"),
        (
            "\U0001f468\u200d\U0001f3a4 \u97f3\u697d \u05e9\u05dc",
            "\U0001f468\u200d\U0001f3a4 \u97f3\u697d \u05e9\u05dc",
        ),
        ("half \udcff \ud83d.", "half \ufffd \ufffd."),
        ("no\ufffe \uffff \U0001ffff", "no\ufffd \ufffd \ufffd"),
        ("../../etc/passwd", "../../etc/passwd"),  # a text, not a path
        ("\0\x1b\u202e \n", ""),
        ("x" * 10_000, "x" * MOST_TEXT),
        ("\u202e" * 500 + "x", "x"),
    ],
)
def test_texts(text: str, expected: str) -> None:
    assert tag_text(text) == expected


@given(st.text(max_size=400), st.integers(1, 60))
def test_any_text_is_one_line_of_what_can_be_shown(text: str, most: int) -> None:
    found = tag_text(text, most)
    assert len(found) <= most
    assert tag_text(found, most) == found
    assert all(unicodedata.category(character) not in ("Cc", "Cs", "Zl", "Zp") for character in found)
    found.encode("utf-8")


def test_cleaned_tags_are_bounded_and_in_order() -> None:
    credits_ = tuple(Credit(role="r", name=f"n{i}") for i in range(999))
    markers = tuple(Marker(name="m" * 999, frame=5000 - i) for i in range(5000))
    found = clean_tags(Tags(comment="c" * 9999, credits=(Credit(role="r", name="\0"), *credits_), markers=markers))
    assert (len(found.comment), len(found.credits), len(found.markers)) == (2000, MOST_CREDITS - 1, MOST_MARKERS)
    assert [marker.frame for marker in found.markers] == sorted(marker.frame for marker in found.markers)
    assert clean_tags(found) == found


def test_the_shown_title_is_taken_apart_again() -> None:
    tags = Tags(title="Lights (Live)", print="TV")
    assert shown_title(tags) == "Lights (Live) (TV)"
    assert with_bare_title(Tags(title="Lights (Live) (TV)", print="TV")) == tags
    assert with_bare_title(Tags(title="Lights (Live)")) == Tags(title="Lights (Live)")
    assert (shown_title(Tags(title="a")), shown_title(Tags(print="TV"))) == ("a", "")


def test_missing_fields_are_filled() -> None:
    assert filled(Tags(title="a"), Tags(title="b", artist="c")) == Tags(title="a", artist="c")


@given(st.integers(0, 2**40), st.sampled_from([8000, 44100, 48000, 88200, 192000]))
def test_milliseconds_stay_as_they_are_once_told(frame: int, rate_hz: int) -> None:
    told = whole_ms(frame, rate_hz)
    assert abs(told / 1000 - frame / rate_hz) <= 0.0005 + 1e-9 * frame / rate_hz
    assert whole_ms(round(told * rate_hz / 1000), rate_hz) == told


@pytest.mark.parametrize(
    "text", ["QZ-ABC-26-00001", "qzabc2600001", "QZ ABC 26 00001", "QZABC2600001", "QZ-A12-26-00001"]
)
def test_isrc(text: str) -> None:
    # ISO 3901: country 2 letters, registrant 3 letters or digits, year 2 digits, designation 5 digits (from memory).
    assert checked_isrc(text, "isrc.main") in ("QZABC2600001", "QZA122600001")


@pytest.mark.parametrize(
    "text", ["", "QZABC260001", "QZABC26000011", "1ZABC2600001", "QZABC26OOOO1", "QZ\u00c9BC2600001", "\x1b"]
)
def test_what_is_no_isrc(text: str) -> None:
    with pytest.raises(SettingError, match="is no ISRC") as caught:
        checked_isrc(text, "isrc.main")
    assert str(caught.value).isprintable()
    assert caught.value.where == "isrc.main"


def test_dates() -> None:
    assert all(map(is_date, ["", "2026", "2026-07", "2024-02-29"]))
    assert not any(
        map(is_date, ["26", "2026-7-1", "2026-13", "2025-02-29", "2026-07-01T10:00", "20260701", "x", "0000"])
    )


@pytest.mark.parametrize(
    ("fields", "where"),
    [
        ({"date": "yesterday"}, "date"),
        ({"isrc": {"main": "x"}}, "isrc.main"),
        ({"isrc": {"mian": "QZABC2600001"}}, "isrc"),
        ({"credits": (Credit(role="mixer", name="\0"),)}, "credits[0].name"),
        ({"credits": (Credit(role="", name="Cy"),)}, "credits[0].role"),
    ],
)
def test_mistakes_in_a_song_name_the_place(fields: dict[str, object], where: str) -> None:
    with pytest.raises(SettingError) as caught:
        check_song(Song(title="a", rate_hz=48000, **fields))  # type: ignore[arg-type]
    assert caught.value.where == where
    assert caught.value.hint
