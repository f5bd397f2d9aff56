# SPDX-License-Identifier: Apache-2.0
"""Where the tour goes, and what it says when it is stopped; the job itself is tested by the parts it is made of."""

import importlib
from pathlib import Path

import pytest

from mixwright.errors import Cancelled, OutputError

module = importlib.import_module("mixwright.app.tour")


@pytest.fixture
def stopped(tmp_path, monkeypatch):
    """Stop the tour once it has begun to write; returns the folders it has chosen."""
    chosen = []

    def write_demo(folder, **_settings):
        chosen.append(folder.parent)
        folder.mkdir(parents=True)
        raise Cancelled("stopped", hint="run the command again to go on from what is done")

    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(module, "write_demo", write_demo)
    return chosen


def test_the_next_free_name_is_taken_if_none_is_given(stopped):
    Path("mixwright-tour-3").write_text("a file")
    for _ in range(3):
        with pytest.raises(Cancelled):
            module.tour()
    assert [folder.name for folder in stopped] == ["mixwright-tour", "mixwright-tour-2", "mixwright-tour-4"]


def test_a_folder_that_is_named_is_never_written_into(stopped, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep")
    with pytest.raises(OutputError, match="not an empty folder"):
        module.tour(tmp_path / "mine")
    assert stopped == []


def test_a_stopped_tour_says_what_may_be_deleted(stopped):
    with pytest.raises(Cancelled) as told:
        module.tour(Path("demo"))
    assert str(told.value) == "stopped; demo may be deleted"


def test_a_tour_that_fails_says_what_may_be_deleted(tmp_path, monkeypatch):
    def write_demo(folder, **_settings):
        folder.mkdir(parents=True)
        raise OutputError("the disk is full", where="tracks", hint="free some space and run again")

    monkeypatch.setattr(module, "write_demo", write_demo)
    with pytest.raises(OutputError) as told:
        module.tour(tmp_path / "demo")
    assert told.value.hint == f"free some space and run again; {tmp_path / 'demo'} may be deleted"
