# SPDX-License-Identifier: Apache-2.0
"""Pictures are written as files that stand alone."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

import invented
from mixwright.app.pictures import pictures
from mixwright.errors import OutputError
from mixwright.model.song import changed


def test_every_picture_is_a_file(tmp_path: Path) -> None:
    files = pictures(invented.measure_result(), tmp_path / "a" / "b")
    assert {"voice-line.svg", "song-map.svg", "who-covers-whom.svg"} < {file.name for file in files}
    assert sorted(files) == sorted((tmp_path / "a" / "b").iterdir())
    assert {ElementTree.parse(file).getroot().tag for file in files} == {"{http://www.w3.org/2000/svg}svg"}
    assert pictures(invented.measure_result(), tmp_path / "a" / "b") == files


def test_where_nothing_was_heard_nothing_is_made(tmp_path: Path) -> None:
    assert pictures(changed(invented.measure_result(), hearing=None), tmp_path / "none") == ()
    assert not (tmp_path / "none").exists()


def test_a_file_in_the_way_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("")
    with pytest.raises(OutputError, match="a file is in the way"):
        pictures(invented.measure_result(), tmp_path / "taken")
