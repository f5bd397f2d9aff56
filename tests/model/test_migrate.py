# SPDX-License-Identifier: Apache-2.0
"""Songs of older schemas are brought to today's; newer ones are refused."""

from __future__ import annotations

from functools import partial
from typing import Any

import pytest

from mixwright.errors import SettingError
from mixwright.io import song_text
from mixwright.io.song_file import edit_song, load_song, undo
from mixwright.model import song as song_module
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.migrate import MIGRATIONS, migrated
from mixwright.model.song import SCHEMA, changed


def _renamed(data: dict[str, Any]) -> dict[str, Any]:
    return {("title" if key == "called" else key): value for key, value in data.items()}


def _halved(data: dict[str, Any]) -> dict[str, Any]:
    return {**data, "beats_per_bar": data.get("beats_per_bar", 8) // 2}


def test_every_older_schema_has_a_way_up():
    assert set(MIGRATIONS) == set(range(1, SCHEMA))


def test_steps_run_in_order_and_leave_the_data_alone():
    old = {"called": "x", "beats_per_bar": 6}
    new = migrated(old, schema=3, migrations={1: _renamed, 2: _halved})
    assert new == {"title": "x", "beats_per_bar": 3, "schema": 3}
    assert old == {"called": "x", "beats_per_bar": 6}
    assert migrated({"schema": 2, "title": "x"}, schema=3, migrations={2: _halved})["beats_per_bar"] == 4
    assert migrated({"schema": 3}, schema=3) == {"schema": 3}


@pytest.mark.parametrize("schema", [4, 10**9])
def test_a_newer_schema_is_refused(schema):
    with pytest.raises(SettingError, match=r"newer version .schema \d+, this program knows up to 3.; update"):
        migrated({"schema": schema}, schema=3)


@pytest.mark.parametrize("schema", [0, -1, 1.0, "1", True, [1]])
def test_what_is_no_schema_is_refused(schema):
    with pytest.raises(SettingError, match="is not a schema"):
        migrated({"schema": schema})


def test_an_older_file_is_read_and_brought_up_by_the_next_edit(tmp_path, monkeypatch):
    monkeypatch.setattr(song_module, "SCHEMA", 2)
    monkeypatch.setattr(song_text, "migrated", partial(migrated, schema=2, migrations={1: _renamed}))
    text = '# mine\ncalled = "x"  # a name\nrate_hz = 48_000 # kept\n'
    (tmp_path / "song.toml").write_text(text)
    assert load_song(tmp_path).title == "x"
    edit_song(tmp_path, "artist", lambda song: changed(song, artist="Q"))
    after = (tmp_path / "song.toml").read_text()
    assert "called" not in after
    assert "rate_hz = 48_000 # kept\n" in after
    assert "schema = 2\n" in after
    assert (load_song(tmp_path).title, load_song(tmp_path).artist) == ("x", "Q")
    undo(tmp_path)
    assert (tmp_path / "song.toml").read_text() == text


def test_who_printed_last_is_no_part_of_the_song_since_schema_2(tmp_path):
    (tmp_path / "song.toml").write_text('title = "x"\nrate_hz = 48000\nprinted_with = "0.1.0"  # then\n')
    assert edit_song(tmp_path, "artist", lambda song: changed(song, artist="Q")).schema == SCHEMA
    assert "printed_with" not in (tmp_path / "song.toml").read_text()
    assert load_song(tmp_path).artist == "Q"


OLD = """\
schema = 2
title = "x"
rate_hz = 48000
[[groups]]
id = "low"
name = "Low"
[groups.strip]
fader_db = -2.0  # mine
[groups.compressor]
threshold_db = -20.0
ratio = 3.0
gain_db = 2.0
[master]
compressor = { threshold_db = -18.0, ratio = 2.0 }
"""


def test_the_compressor_of_a_bus_is_an_insert_since_schema_3(tmp_path):
    (tmp_path / "song.toml").write_text(OLD)
    song = load_song(tmp_path)
    assert song.groups[0].strip.inserts == (Compressor(threshold_db=-20.0, ratio=3.0, gain_db=2.0),)
    assert song.groups[0].strip.fader_db == -2.0
    assert song.master.inserts == (Compressor(threshold_db=-18.0, ratio=2.0),)
    edit_song(tmp_path, "artist", lambda song: changed(song, artist="Q"))
    after = (tmp_path / "song.toml").read_text()
    assert "groups.compressor" not in after
    assert "# mine" in after
    assert load_song(tmp_path) == changed(song, artist="Q")
    undo(tmp_path)
    assert (tmp_path / "song.toml").read_text() == OLD


@pytest.mark.parametrize("broken", ["groups = 3", "groups = [3]", 'groups = [{ compressor = 1, strip = "x" }]'])
def test_what_is_broken_in_an_older_song_is_told_all_the_same(tmp_path, broken):
    (tmp_path / "song.toml").write_text(f'schema = 2\ntitle = "x"\nrate_hz = 48000\n{broken}\n')
    with pytest.raises(SettingError, match="groups"):
        load_song(tmp_path)
