# SPDX-License-Identifier: Apache-2.0
"""Numbers with units, harmless names, rows, marks."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

import invented
from mixwright.model.results import Spread
from mixwright.report.figures import (
    clean,
    clean_record,
    clock,
    count,
    hertz,
    number,
    position,
    rate,
    settings,
    with_unit,
)
from mixwright.report.markup import Markup, element
from mixwright.report.rows import rows
from mixwright.report.sentences import distance, reason_alone
from mixwright.report.spectrum import bands_of, nominal
from mixwright.report.strips import Scale


@given(st.text(st.characters(exclude_categories=())))
def test_clean_text_is_one_printable_line(text):
    cleaned = clean(text)
    assert not {unicodedata.category(c) for c in cleaned} & {"Cc", "Cf", "Cs", "Zl", "Zp"}
    assert not set(cleaned) & set("\x1b\n\r\t\x9b\u202e\u2066\u2028")
    assert clean(cleaned) == cleaned


@given(st.text(st.characters(categories=("L", "N", "P", "S"))))
def test_clean_keeps_what_is_written(text):
    assert clean(text) == text


@pytest.mark.parametrize(
    ("text", "cleaned"),
    [
        ("a\x1b[1;31mb\x1b[0m", "ab"),
        ("a\x1b]8;;http://x\x07b\x1b]8;;\x1b\\c", "abc"),
        ("a\x9b2Jb", "ab"),
        ("a\nb\r\nc", "a b c"),
        ("\x1bPq#0\x1b\\x", "x"),
        ("open\x1b]0;title", "open"),
    ],
)
def test_escape_sequences_go_whole(text, cleaned):
    assert clean(text) == cleaned


def test_a_record_is_cleaned_everywhere():
    record = invented.start_result(title="a\x1b[2J")
    assert clean_record(record).title == "a"
    assert clean_record(invented.measure_result()) == invented.measure_result()


def test_numbers():
    assert number(-0.04) == "0.0"
    assert number(0.0, sign=True) == "0.0"
    assert number(2.25, sign=True) == "+2.2"
    assert number(None) == number(float("nan")) == number(float("inf")) == "-"
    assert with_unit(-16.24, "LUFS") == "-16.2 LUFS"
    assert with_unit(None, "LUFS") == "-"
    assert [clock(s) for s in (0, 59.6, 61, 3599.9)] == ["0:00", "1:00", "1:01", "60:00"]
    assert [clock(s, tenths=True) for s in (0.04, 59.96, 61.25)] == ["0:00.0", "1:00.0", "1:01.2"]
    assert [rate(48000), rate(44100)] == ["48 kHz", "44.1 kHz"]
    assert [hertz(31.5), hertz(1250)] == ["31.5 Hz", "1.25 kHz"]
    assert [position(p) for p in (-1, -0.4, 0.001, 0.7, 1)] == [
        "hard left", "40 % left", "centre", "70 % right", "hard right"]  # fmt: skip
    assert [count(0, "layer"), count(1, "layer"), count(2, "stretch", "stretches")] == [
        "no layers", "1 layer", "2 stretches"]  # fmt: skip
    assert settings({"gain_db": 1.5, "pan": -0.2, "cutoff_hz": 80.0}) == (
        "gain +1.5 dB, position 20 % left, cutoff 80 Hz"
    )


def test_nominal_bands_are_those_of_the_standard():
    # IEC 61260-1:2014, annex E: nominal mid-band frequencies of one-third octaves.
    exact = [1000.0 * 10 ** (n / 10) for n in range(-16, 14)]
    told = [25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500,
            3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000]  # fmt: skip
    assert [nominal(hz) for hz in exact] == told


def test_bands_are_told_beside_the_loudness():
    bands = {band.hz: band for band in bands_of(invented.measure_result())}
    assert bands[1000].level_db == pytest.approx(-28.0 + 16.24)
    assert bands[1000].off_db == 0
    assert bands[250].off_db > 0
    assert bands[4000].off_db < 0


@pytest.mark.parametrize(("value", "off"), [(-5, 0), (-3, 0), (-8, -2), (-1, 2), (-2.97, 0)])
def test_distance_from_an_interval(value, off):
    spread = Spread(low=-6.0, high=-3.0, unit="lu_re_mix", source="invented")
    assert distance(value, spread) == pytest.approx(off)


def test_a_scale_holds_what_lies_beyond_at_its_ends():
    scale = Scale(-42.0, 0.5, 10.0)
    assert scale.ticks == (-40.0, -30.0, -20.0, -10.0, 0.0)
    assert scale.across(-42) == 0
    assert scale.across(99) == 100
    assert scale.across(-20.75) == pytest.approx(50)


def test_markup_escapes_all_but_its_own():
    assert element("p", "<b>&", Markup("<i>"), None, ["x", None], title='"', hidden=True, lang=None) == (
        '<p title="&quot;" hidden>&lt;b&gt;&amp;<i>x</p>'
    )
    assert element("p", "from -3 to -1.5 LU, take-2") == "<p>from \u22123 to \u22121.5\u00a0LU, take-2</p>"
    assert element("code", "gain_db=-3 x -1") == "<code>gain_db=-3 x -1</code>"


def test_rows_line_up_whatever_is_in_them():
    lines = rows(("name", "level", ""), [("夜のバス", "-1", "x"), ("é" * 80, "-10.5", ""), ("a",)], right="1")
    assert lines[0].startswith("  name ")
    assert lines[1] == "  夜のバス" + " " * 54 + "   -1  x"
    assert "…" in lines[2]
    assert lines[3] == "  a"
    assert rows(("a",), []) == []


@pytest.mark.parametrize(
    ("reason", "alone"),
    [
        ("Raise Bass by 2 dB: it hides.", "It hides."),
        ("Pan Bass 0.60 left: two of a kind.", "Two of a kind."),
        ("Bass hides: raise it.", "Bass hides: raise it."),
        ("Raise Pad by 2 dB: Bass hides it.", "Raise Pad by 2 dB: Bass hides it."),
        ("", ""),
        (": Bass", ": Bass"),
    ],
)
def test_a_reason_does_not_repeat_what_to_do(reason, alone):
    assert reason_alone(reason, "Bass") == alone
