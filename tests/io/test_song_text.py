# SPDX-License-Identifier: Apache-2.0
"""The text of a song: made, read, and changed in place, whatever the style it was written in."""

from __future__ import annotations

import random
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mixwright.errors import SettingError
from mixwright.io.song_text import changed_text, check_values, new_text, read_song
from mixwright.io.toml_text import Node, scan
from mixwright.io.toml_write import set_fields
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import EqBand
from mixwright.model.record import Record
from mixwright.model.song import Move, Section, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Strip
from strategies import Restyled, comments_in, mutated, songs

seeds = st.integers(0, 2**32 - 1)
quick = settings(deadline=None, suppress_health_check=list(HealthCheck))


def _plain(value: Any) -> Any:
    if isinstance(value, (Record, dict)):
        pairs = set_fields(value) if isinstance(value, Record) else value.items()
        return {key: _plain(item) for key, item in pairs}
    return [_plain(item) for item in value] if isinstance(value, tuple) else value


def _turned(song: Song) -> Song:
    """Return the song with values changed and nothing added or removed."""
    tracks = []
    for track in song.tracks:
        eq = tuple(changed(band, gain_db=1.25) for band in track.strip.eq)
        tracks.append(changed(track, name="z", strip=changed(track.strip, fader_db=-1.5, eq=eq)))
    moves = tuple(changed(move, strength=0.5, state="accepted") for move in song.moves)
    return changed(song, title="other", tracks=tuple(tracks), moves=moves)


def _assert_placed(node: Node, value: Any, text: str) -> None:
    """Every place that the scan found holds what tomllib (of Python itself) reads there."""
    if node.inline:
        assert tomllib.loads(f"it = {text[node.start : node.end]}")["it"] == value
    elif isinstance(value, dict):
        assert set(node.keys) == set(value)
    for key, child in node.keys.items():
        _assert_placed(child, value[key], text)
    for index, child in enumerate(node.items):
        _assert_placed(child, value[index], text)


@settings(quick, max_examples=200)
@given(songs(most=2), seeds)
def test_songs_in_any_style_survive_edits_with_their_comments(song, seed):
    rng = random.Random(seed)
    text = Restyled(_plain(song), rng).text
    raw, read = read_song(text)
    assert read == song
    assert changed_text(text, raw, song).removesuffix("\n").removesuffix("\r") == text.removesuffix("\n").removesuffix(
        "\r"
    )
    turned = changed_text(text, raw, _turned(song))
    assert comments_in(turned) == comments_in(text)
    assert read_song(turned)[1] == _turned(song)
    again = changed_text(turned, tomllib.loads(turned), song)
    assert comments_in(again) == comments_in(text)
    assert read_song(again)[1] == song


@settings(quick, max_examples=30)
@given(songs(most=2), seeds)
def test_everything_is_where_the_scan_says(song, seed):
    text = Restyled(_plain(song), random.Random(seed)).text
    _assert_placed(scan(text), tomllib.loads(text), text)


@settings(quick, max_examples=50)
@given(songs(), seeds)
def test_records_come_go_and_move_in_any_style(song, seed):
    rng = random.Random(seed)
    text = Restyled(_plain(song), rng).text
    new = mutated(song, rng)
    after = changed_text(text, tomllib.loads(text), new)
    assert read_song(after)[1] == new
    left = comments_in(after)
    assert left == [mark for mark in comments_in(text) if mark in set(left)]


@settings(quick, max_examples=20)
@given(songs(most=2))
def test_a_fresh_text_is_short_and_says_the_song(song):
    text = new_text(song)
    assert read_song(text)[1] == song
    assert text.replace("\n", "").isprintable()
    assert changed_text(text, tomllib.loads(text), song) == text


BASE = """\
schema = 3
title = "x"  # the working title
rate_hz = 48_000

# the voice
[[tracks]]
id = "vox"
name = "Vox"
file = "v.wav"
strip.fader_db = -3 # by ear

# the rest
[[tracks]]
id = "pad"
name = "Pad"
file = "p.wav"
[tracks.strip]
eq = [
  { hz = 200, gain_db = -2 },  # mud
  { hz = 4000, gain_db = 1 },  # air
]

# what the plan said
[[moves]]
id = "m"
kind = "level"
target = "pad"
settings = { gain_db = 1.0 }
"""


def _edit(text: str, **fields: object) -> str:
    raw, song = read_song(text)
    return changed_text(text, raw, changed(song, **fields))


def _lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


def _tracks(text: str) -> tuple[Track, ...]:
    return read_song(text)[1].tracks


def test_one_value_changes_one_line():
    vox, pad = _tracks(BASE)
    after = _edit(BASE, tracks=(changed(vox, strip=changed(vox.strip, fader_db=-4.5)), pad))
    assert _lines_changed(BASE, after) == (["strip.fader_db = -3 # by ear"], ["strip.fader_db = -4.5 # by ear"])


def test_a_value_back_at_its_default_is_written_where_its_key_stands():
    vox, pad = _tracks(BASE)
    after = _edit(BASE, tracks=(changed(vox, strip=Strip()), pad))
    assert _lines_changed(BASE, after)[1] == ["strip.fader_db = 0.0 # by ear"]


def test_new_fields_follow_the_style_and_order_around_them():
    vox, pad = _tracks(BASE)
    strips = (changed(vox.strip, pan=0.5), changed(pad.strip, width=0.8))
    after = _edit(
        BASE, artist="Q", tracks=(changed(vox, role="lead vocal", strip=strips[0]), changed(pad, strip=strips[1]))
    )
    assert 'title = "x"  # the working title\nartist = "Q"\nrate_hz' in after
    assert 'file = "v.wav"\nrole = "lead vocal"\nstrip.fader_db = -3 # by ear\nstrip.pan = 0.5\n' in after
    assert "# air\n]\nwidth = 0.8\n" in after


def test_a_band_goes_with_its_own_line_only():
    vox, pad = _tracks(BASE)
    after = _edit(BASE, tracks=(vox, changed(pad, strip=changed(pad.strip, eq=pad.strip.eq[1:]))))
    assert "# air" in after
    assert "hz = 200" not in after
    assert "hz = 4000, gain_db = 1 }," in after


def test_a_band_more_stands_on_a_line_of_its_own():
    vox, pad = _tracks(BASE)
    eq = (pad.strip.eq[0], EqBand(hz=800, gain_db=3), pad.strip.eq[1], EqBand(hz=9000, gain_db=2))
    after = _edit(BASE, tracks=(vox, changed(pad, strip=changed(pad.strip, eq=eq))))
    assert "# mud\n  { hz = 800, gain_db = 3 },\n  { hz = 4000" in after
    assert "# air\n  { hz = 9000, gain_db = 2 },\n]" in after


def test_a_new_track_stands_after_the_last_and_before_what_follows():
    new = Track(id="new", name="New", file="n.wav", strip=Strip(pan=0.25))
    after = _edit(BASE, tracks=(*_tracks(BASE), new))
    block = '\n[[tracks]]\nid = "new"\nname = "New"\nfile = "n.wav"\n[tracks.strip]\npan = 0.25\n'
    assert f"]\n{block}\n# what the plan said\n[[moves]]" in after


def test_everything_new_at_one_place_stands_in_order():
    text = BASE.split("[tracks.strip]", maxsplit=1)[0]
    vox, pad = _tracks(text)
    pad = changed(pad, place="bed", mute=True, strip=Strip(pan=0.5))
    new = Track(id="new", name="New", file="n.wav")
    after = _edit(text, tracks=(vox, pad, new), master=Master(pan=0.25))
    end = after.split('file = "p.wav"\n')[1]
    order = [
        'place = "bed"',
        "mute = true",
        "[tracks.strip]",
        "pan = 0.5",
        "[[tracks]]",
        'id = "new"',
        "[master]",
        "pan = 0.25",
    ]
    assert [end.index(line) for line in order] == sorted(end.index(line) for line in order)


def test_the_example_of_a_fresh_text_works_once_its_signs_are_taken_away():
    text = new_text(Song(title="t", rate_hz=48000))
    head, example = text.split("from its lines.")
    song = read_song(head + example.replace("# [", "[").replace("\n# ", "\n"))[1]
    assert song.master == Master(inserts=(Compressor(threshold_db=-18.0, ratio=2.0),), limiter=Limiter())
    assert "take the # away" not in new_text(song)


def test_removed_records_leave_the_comments_around_them():
    after = _edit(BASE, moves=(), tracks=_tracks(BASE)[:1])
    assert after.endswith("# the rest\n\n# what the plan said\n")


def test_the_first_of_a_kind_goes_to_the_end_with_a_comment():
    after = _edit(BASE, master=Master(fader_db=-6.0), sections=(Section(name="a", start_s=0, end_s=1),))
    assert after.endswith("\n# The strip of the whole mix.\n[master]\nfader_db = -6.0\n")
    assert 'sections = [{ name = "a", start_s = 0, end_s = 1 }]\n' in after
    assert read_song(after)[1].master.fader_db == -6.0


def test_line_ends_of_the_text_are_kept():
    text = BASE.replace("\n", "\r\n")
    after = _edit(text, artist="Q", master=Master(pan=0.5))
    assert "\n" not in after.replace("\r\n", "")


def test_an_old_value_of_an_optional_field_goes():
    text = BASE.replace("rate_hz", "tempo_bpm = 120.0 # steady\nrate_hz")
    assert "tempo" not in _edit(text, tempo_bpm=None)


@pytest.mark.parametrize(
    "song",
    [
        Song(title="x", rate_hz=10),
        Song(title="x", rate_hz=48000, first_bar_s=float("nan")),
        Song(title="x", rate_hz=48000, tracks=(Track(id="A b", name="", file="f"),)),
        Song(title="x", rate_hz=48000, lead=("nobody",)),
        Song(title="x", rate_hz=48000, moves=(Move(id="m", kind="pan", target="t", settings={"pan": 2}),)),
    ],
)
def test_values_out_of_range_are_refused_before_they_are_written(song):
    with pytest.raises(SettingError):
        check_values(song)


def test_a_name_that_is_no_text_is_refused():
    song = Song(title="x", rate_hz=48000, tracks=(Track(id="a", name="a", file="Andr\udce9.wav"),))
    with pytest.raises(SettingError, match="rename the file"):
        new_text(song)


def test_the_example_of_the_documentation_is_right():
    page = Path(__file__).parents[2].joinpath("docs", "song-file.md").read_text(encoding="utf-8")
    example = page.split("```toml\n")[2].split("```")[0]
    song = read_song(example)[1]
    assert (song.title, len(song.tracks), song.moves[0].strength) == ("Night Bus", 2, 0.8)
