# SPDX-License-Identifier: Apache-2.0
"""What a person gets to read after a slip in `song.toml`: the line, the key, what is wrong, what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from mixwright.errors import MixwrightError, SettingError, StateError
from mixwright.io.song_file import load_song
from mixwright.io.song_text import read_song

SONG = """\
# An invented song.
title = "Night Bus"
rate_hz = 48000
tracks_are = "raw"
lead = ["lead-vox"]
sections = [
  { name = "verse", start_s = 0.0, end_s = 20.5 },
  { name = "chorus", start_s = 20.5, end_s = 40.0 },
]

[[tracks]]
id = "lead-vox"
name = "Lead Vox"
file = "../tracks/Lead Vox.wav"
role = "lead vocal"
place = "lead"
[tracks.strip]
high_pass = { hz = 80.0, slope_db_oct = 12 }
eq = [
  { hz = 300.0, gain_db = -2.0 },
  { kind = "high_shelf", hz = 9000.0, gain_db = 1.5, q = 0.7 },
]
fader_db = -3.0

[[tracks]]
id = "bass-di"
name = "Bass DI"
file = "../tracks/Bass DI.wav"
role = "bass"
group = "low"
place_in = { chorus = "support" }
sends.hall = -12.0
strip.pan = 0.0

[[groups]]
id = "low"
name = "Low"

[[sends]]
id = "hall"
name = "Hall"

[[moves]]
id = "level-bass-di-000000"
kind = "level"
target = "bass-di"
settings = { gain_db = 1.5 }
"""

# What stands there, what a person makes of it, where the message points, what it must say.
MISTAKES = [
    ("rate_hz = 48000", "rate_hz = 48000.0", "3 rate_hz", ["48000.0", "a whole number from 8000 to 384000"]),
    ("rate_hz = 48000", "rate_hz = 48", "3 rate_hz", ["48", "8000 to 384000"]),
    ("rate_hz = 48000\n", "", "1", ["rate_hz is missing", "a whole number"]),
    ('title = "Night Bus"', "title = 7", "2 title", ["7", "text in quotes"]),
    ('title = "Night Bus"', 'titel = "Night Bus"', "2 titel", ["unknown key", "did you mean title?"]),
    ('"raw"', '"mixed"', "4 tracks_are", ['"mixed"', "did you mean as mixed?", "allowed: as mixed, raw"]),
    ('["lead-vox"]', '"lead-vox"', "5 lead", ['"lead-vox"', "a list in brackets"]),
    ('["lead-vox"]', '["lead-box"]', "5 lead", ["'lead-box'", "known: bass-di, lead-vox, low"]),
    ('"verse", start_s = 0.0', '"verse", start_s = -1', "7 sections[0].start_s", ["-1", "a number from 0 to 86400"]),
    ("end_s = 20.5", "end = 20.5", "7 sections[0].end", ["unknown key", "did you mean end_s?"]),
    ("start_s = 20.5", "start_s = 20.0", "8 sections[1].start_s", ["starts before", "do not overlap"]),
    ('name = "chorus"', 'name = "verse"', "8 sections[1].name", ["two sections", "verse"]),
    ('id = "lead-vox"', 'id = "Lead Vox"', "12 tracks[0].id", ['"Lead Vox"', "lower-case letters"]),
    ('id = "lead-vox"', 'id = "bass-di"', "26 tracks[1].id", ["'bass-di'", "used twice"]),
    ('id = "lead-vox"', 'id = "master"', "12 tracks[0].id", ["'master'", "the whole mix"]),
    ('id = "lead-vox"', 'id = "others"', "12 tracks[0].id", ["'others'", "told together"]),
    (
        'role = "lead vocal"',
        'role = "vocals"',
        "15 tracks[0].role",
        ['"vocals"', "did you mean lead vocal?", "keys, kick, lead vocal, loop"],
    ),
    (
        'place = "lead"',
        'place = "Lead"',
        "16 tracks[0].place",
        ['"Lead"', "did you mean lead?", "allowed: bed, lead, support"],
    ),
    ("[tracks.strip]\nhigh", "[tracks.stripe]\nhigh", "17 tracks[0].stripe", ["unknown key", "did you mean strip?"]),
    ("oct = 12", "oct = 13", "18 tracks[0].strip.high_pass.slope_db_oct", ["13", "6, 12, 18, 24, 30, 36, 42, 48"]),
    ("hz = 300.0,", 'hz = "300",', "20 tracks[0].strip.eq[0].hz", ['"300"', "a number from 10 to 96000"]),
    ("hz = 300.0, ", "", "20 tracks[0].strip.eq[0]", ["hz is missing", "a number from 10 to 96000"]),
    ("gain_db = 1.5, q", "gain = 1.5, q", "21 tracks[0].strip.eq[1].gain", ["did you mean gain_db?"]),
    ("q = 0.7", "q = nan", "21 tracks[0].strip.eq[1].q", ["nan", "a finite number"]),
    ("fader_db = -3.0", "fader_db = 30", "23 tracks[0].strip.fader_db", ["30", "a number from -120 to 24"]),
    ("fader_db = -3.0", "fader = -3.0", "23 tracks[0].strip.fader", ["did you mean fader_db?"]),
    ('file = "../tracks/Bass DI.wav"\n', "", "25 tracks[1]", ["file is missing", "text in quotes"]),
    ('file = "../tracks/Bass DI.wav"', 'file = ""', "28 tracks[1].file", ["no file is named", "song folder"]),
    ('group = "low"', 'group = "lows"', "30 tracks[1].group", ["no group is called 'lows'", "known: low"]),
    (
        'chorus = "support"',
        'chorus = "back"',
        "31 tracks[1].place_in.chorus",
        ['"back"', "allowed: bed, lead, support"],
    ),
    ('chorus = "support"', 'bridge = "bed"', "31 tracks[1].place_in", ["no section is called 'bridge'", "verse"]),
    ("sends.hall = -12.0", "sends.room = -12.0", "32 tracks[1].sends", ["no send is called 'room'", "hall"]),
    ("sends.hall = -12.0", 'sends."hall" = "low"', "32 tracks[1].sends.hall", ['"low"', "-120 to 24"]),
    ("strip.pan = 0.0", "strip.pan = 40", "33 tracks[1].strip.pan", ["40", "a number from -1 to 1"]),
    ("strip.pan = 0.0", "strip.pan = true", "33 tracks[1].strip.pan", ["true", "a number from -1 to 1"]),
    ("strip.pan = 0.0", "strip = 0.0", "33 tracks[1].strip", ["0.0", "a table with as, changes, trim_db"]),
    ('kind = "level"', 'kind = "volume"', "45 moves[0].kind", ['"volume"', "level, pan"]),
    ('target = "bass-di"', 'target = "bas-di"', "46 moves[0].target", ["'bas-di'", "known: bass-di"]),
    ("gain_db = 1.5 }", "pan = 0.5 }", "47 moves[0].settings", ["no setting 'pan'", "gain_db"]),
    ("gain_db = 1.5 }", "gain_db = 40 }", "47 moves[0].settings.gain_db", ["40", "-24 to 24"]),
    (
        'name = "Low"\n',
        'name = "Low"\nstrip.inserts = [{ processor = "compressor", threshold_db = -20.0 }]\n',
        "38 groups[0].strip.inserts[0]",
        ["ratio is missing", "a number from 1 to 20"],
    ),
    (
        'name = "Hall"\n',
        'name = "Hall"\nreverb = { kind = "voice", decay_s = 1.0, low_hz = 9000.0 }\n',
        "42 sends[0].reverb.low_hz",
        ["from 9000 to 7000 Hz keeps nothing", "below high_hz"],
    ),
    (
        'name = "Hall"\n',
        'name = "Hall"\nreverb = {}\n',
        "42 sends[0].reverb",
        ["kind is missing", "instruments, voice"],
    ),
    (
        "[[moves]]",
        "[master.limiter]\nceiling_dbtp = 1.0\n[[moves]]",
        "44 master.limiter.ceiling_dbtp",
        ["1.0", "a number from -20 to 0"],
    ),
    (
        "[[moves]]",
        "[master.limiter]\nceiling_db = -1.0\n[[moves]]",
        "44 master.limiter.ceiling_db",
        ["did you mean ceiling_dbtp?"],
    ),
    *(
        ("fader_db = -3.0", insert, f"23 tracks[0].strip.inserts{place}", said)
        for insert, place, said in (
            ('inserts = [{ processor = "filter" }]', "[0].processor", ['"filter"', "did you mean filters?"]),
            ("inserts = [{ processor = 3 }]", "[0].processor", ["3", "filters"]),
            ('inserts = [{ mix = 2.0, processor = "filters" }]', "[0].mix", ["2.0", "a number from 0 to 1"]),
            ('inserts = [{ processor = "filters", sectoins = [] }]', "[0].sectoins", ["did you mean sections?"]),
            (
                'inserts = [{ processor = "filters", bands = [{ hz = 4.0, gain_db = 0.0 }] }]',
                "[0].bands[0].hz",
                ["4.0", "a number from 10 to 96000"],
            ),
            (
                'inserts = [{ processor = "filters" }, { processor = "filters", sections = ["chorsu"] }]',
                "[1].sections",
                ["no section is called 'chorsu'", "did you mean chorus?"],
            ),
            ('inserts = { processor = "filters" }', "", ["a table", "a list in brackets"]),
        )
    ),
    ("sends.hall = -12.0", "pre_sends.hal = -12.0", "32 tracks[1].pre_sends", ["'hal'", "did you mean hall?"]),
    ('name = "Low"\n', 'name = "Low"\ngroup = "lo"\n', "38 groups[0].group", ["'lo'", "did you mean low?"]),
    ('name = "Low"\n', 'name = "Low"\ngroup = "low"\n', "38 groups[0].group", ["in a circle: low > low", "itself"]),
    ("# An invented song.", "schema = 99", "1 schema", ["newer version", "update mixwright"]),
    ("# An invented song.", 'schema = "1"', "1 schema", ["is not a schema"]),
    ('id = "low"\n', 'id = "low\n', "36 column 10", ["not legal TOML"]),
    ("[[groups]]", "[groups]]", "35 column 9", ["not legal TOML"]),
    ('title = "Night Bus"', 'title = "Night\x1b[2J"', "2 column 15", ["not legal TOML"]),
    ('"../tracks/Lead Vox.wav"', "2026-01-01", "14 tracks[0].file", ["2026-01-01", "text in quotes"]),
]


def _load(folder: Path, text: str | bytes) -> MixwrightError:
    content = text if isinstance(text, bytes) else text.encode()
    (folder / "song.toml").write_bytes(content)
    with pytest.raises(MixwrightError) as caught:
        load_song(folder)
    return caught.value


def test_the_song_itself_is_right(tmp_path):
    (tmp_path / "song.toml").write_text(SONG)
    assert load_song(tmp_path).tracks[0].strip.eq[1].kind == "high_shelf"


@pytest.mark.parametrize(("right", "wrong", "place", "said"), MISTAKES, ids=[m[1][:24].strip() for m in MISTAKES])
@pytest.mark.parametrize("newline", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_a_mistake_is_told_with_line_and_key(tmp_path, newline, right, wrong, place, said):
    assert SONG.count(right) >= 1
    error = _load(tmp_path, SONG.replace(right, wrong, 1).replace("\n", newline))
    assert isinstance(error, SettingError)
    assert error.where == f"song.toml:{place}"
    for words in said:
        assert words in str(error)
    assert "\n" not in str(error)
    assert "\x1b" not in str(error)


def test_the_line_is_found_in_other_styles(tmp_path):
    head = 'title = "x"\nrate_hz = 48000\n'
    inline = 'tracks = [{id = "a", name = "A", file = "f"}, # one\n\n{id = "b",strip.pan = 3}]\n'
    assert _load(tmp_path, head + inline).where == "song.toml:5 tracks[1].strip.pan"
    apart = '[[tracks]]\nid="a"\nname="A"\nfile="f"\n[master]\n[tracks.strip]\n[[tracks.strip.eq]]\ngain_db=1'
    assert _load(tmp_path, head + apart).where == "song.toml:9 tracks[0].strip.eq[0]"


def test_text_that_is_not_utf8(tmp_path):
    error = _load(tmp_path, b'title = "x"\nartist = "Andr\xe9"\n')
    assert (error.where, error.message) == ("song.toml:2 column 15", "not UTF-8 text")


def test_text_that_ends_too_soon(tmp_path):
    assert _load(tmp_path, 'title = "x"\nlead = [').where.startswith("song.toml:2")


@pytest.mark.parametrize(
    "deep",
    [
        "x = " + "[" * 100_000,
        "x = " + "[" * 33 + "]" * 33,
        "x = " + "{ a = " * 330 + "1" + "}" * 330,
        "a." * 100_000 + "b = 1",
        "[" + "a . " * 100_000 + "b]",
        "x = {" + '"a".' * 33 + "b = 1}",
    ],
    ids=lambda deep: f"{deep[:9]} {len(deep)}",
)
def test_what_nests_without_end(tmp_path, deep):
    error = _load(tmp_path, f'title = "a"\n{deep}\n')
    assert (error.where, "32 deep" in str(error)) == ("song.toml:2", True)


def test_no_depth_is_too_deep_for_one_reader_alone(tmp_path):
    for depth in range(300, 520):
        assert "32 deep" in str(_load(tmp_path, f"title = {'[' * depth}{']' * depth}"))


def test_signs_within_text_do_not_nest():
    signs = "[{.#" * 50
    text = f"title = '''{signs}\"'''\nrate_hz = 48000 # {signs}\nartist = \"{signs}\\\"{signs}\"\nrough = '{signs}'"
    song = read_song(text)[1]
    assert (song.title, song.artist, song.rough) == (f'{signs}"', f'{signs}"{signs}', signs)


def test_no_song(tmp_path):
    with pytest.raises(StateError, match=r"there is no song here.*mixwright start"):
        load_song(tmp_path)
