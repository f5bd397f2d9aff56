# SPDX-License-Identifier: Apache-2.0
"""The voice line of an invented lead: phrase by phrase, what it is short of, and who takes it."""

from __future__ import annotations

import numpy as np
import pytest
from clashes import FRAMES, OFFSET_DB, RATE_HZ, SECONDS, SECTIONS, band

from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.lyric import phrases_of
from mixwright.ledger.voice_line import taken_in, voice_line

VOICE_HZ = (300.0, 3400.0)
#: Sung twice in the verse, once in the chorus; a pad covers the second phrase, another layer the third.
SUNG_S = ((0.2, 0.8), (1.4, 1.9), (2.4, 3.6))


def layers():
    voice = sum(band(1, *VOICE_HZ, -30.0, *when_s) for when_s in SUNG_S)
    return {
        "voice": voice,
        "pad": band(2, *VOICE_HZ, -34.0, 1.2, SECONDS),
        "keys": band(3, *VOICE_HZ, -24.0, SECONDS),
        "bass": band(4, 50.0, 110.0, -40.0),
    }


@pytest.fixture(scope="module")
def sung():
    return _heard(voices=["voice"])


@pytest.fixture(scope="module")
def line(sung):
    return voice_line(sung, ["voice"], SECTIONS, workers=1)


def _heard(**settings):
    made = layers()
    return hear(
        {id_: held(audio) for id_, audio in made.items()}, held(np.sum(list(made.values()), axis=0)), rate_hz=RATE_HZ,
        frames=FRAMES, offset_db=OFFSET_DB, edges_s=[SECONDS], leads=["voice"], workers=1, **settings,
    )  # fmt: skip


def test_phrases_of_a_voice_are_those_of_its_words(sung, line):
    phrases = phrases_of(sung.layers["voice"].lyric, "voice", 0.016)
    assert [(one.start_s, one.end_s) for one in line] == [(one.start_s, one.end_s) for one in phrases]
    assert [one.glimpse_share for one in line] == [one.glimpse_share for one in phrases]
    assert len(line) == len(SUNG_S)
    for one, (start_s, end_s) in zip(line, SUNG_S, strict=True):
        assert (one.start_s, one.end_s) == pytest.approx((start_s, end_s), abs=0.06)
    assert [one.section for one in line] == ["verse", "verse", "chorus"]


def test_more_in_its_way_leaves_less(line):
    alone, pad, keys = line
    assert alone.rise_db.cued < 0.7
    assert alone.rise_db.cued < pad.rise_db.cued < keys.rise_db.cued
    assert alone.margin_db.cued > pad.margin_db.cued > keys.margin_db.cued
    assert all(one.rise_db.strict > one.rise_db.cued for one in (pad, keys))
    assert all(one.margin_db.strict < one.margin_db.cued for one in (pad, keys))


def test_who_takes_it_is_told_by_phrase(line):
    _, pad, keys = line
    # In the first verse the pad plays in the second phrase alone.
    assert (pad.taken_by[0].track, keys.taken_by[0].track) == ("pad", "keys")
    assert pad.taken_by[0].fraction > 0.9


def test_what_plays_at_another_time_takes_nothing(sung):
    takers = {one.track: one.fraction for one in taken_in(sung, "voice", 0.2, 0.8)}
    assert takers.get("pad", 0.0) < 0.05


def test_a_lead_that_is_no_voice_is_cut_where_it_pauses():
    plain = _heard()
    found = voice_line(plain, ["voice"], SECTIONS, workers=1)
    assert [(one.start_s, one.end_s) for one in found] == [pytest.approx(part, abs=0.12) for part in SUNG_S]
    assert all(one.glimpse_share is None and one.flags == () for one in found)


def test_a_lead_that_plays_on_is_cut_where_the_section_ends():
    plain = _heard()
    found = voice_line(plain, ["bass"], SECTIONS, workers=1)
    assert [one.section for one in found] == ["verse", "chorus"]
    assert found[0].end_s == pytest.approx(SECONDS, abs=0.02)


def test_no_lead_no_line(sung):
    assert voice_line(sung, [], SECTIONS) == ()
    assert voice_line(sung, ["muted"], SECTIONS) == ()
