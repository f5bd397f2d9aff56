# SPDX-License-Identifier: Apache-2.0
"""Findings that are left as they are: kept with the song, taken back by undo."""

from __future__ import annotations

from pathlib import Path

import pytest

import invented
from mixwright.app.leave import leave
from mixwright.errors import SettingError, StateError
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song, load_song, undo
from mixwright.ledger.findings import judged

RESULT = invented.measure_result()
FINDINGS = RESULT.hearing.findings


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_song(tmp_path / "song", invented.song())
    write_kept(tmp_path / "song", "measure", RESULT)
    return tmp_path / "song"


def test_what_is_left_is_kept_with_the_song_and_told_last(folder):
    first = FINDINGS[0]
    assert leave(folder, [first.id]) == (first.id,)
    song = load_song(folder)
    assert [(one.id, one.size_db, one.band_hz) for one in song.left_as_is] == [
        (first.id, first.size_db.cued, first.band_hz)
    ]
    told = judged(FINDINGS, song.left_as_is)
    assert [one.verdict for one in told] == ["outside"] * (len(FINDINGS) - 1) + ["left as is"]
    assert told[-1].id == first.id
    leave(folder, [first.id])
    assert len(load_song(folder).left_as_is) == 1


def test_it_can_be_taken_back(folder):
    leave(folder, [one.id for one in FINDINGS])
    undo(folder)
    assert load_song(folder).left_as_is == ()


def test_a_name_that_fits_none_or_several(folder):
    with pytest.raises(SettingError, match="no finding"):
        leave(folder, ["nothing"])
    with pytest.raises(SettingError, match="fits several"):
        leave(folder, [""])


def test_nothing_was_measured(tmp_path):
    create_song(tmp_path / "song", invented.song())
    with pytest.raises(StateError, match="nothing was measured"):
        leave(tmp_path / "song", ["any"])
