# SPDX-License-Identifier: Apache-2.0
"""The page as a file of a song folder."""

import msgspec
import pytest

import invented
from mixwright.app.beside import Beside
from mixwright.app.page import write_page
from mixwright.app.scene import sounding_hash
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "bus"
    folder.mkdir()
    create_song(folder, invented.song(moves=()))
    return folder


def test_the_page_follows_what_is_kept(folder):
    path = write_page(folder)
    assert path == folder / "page.html"
    assert "<h1>Night Bus to Harrow Hill</h1>" in path.read_text(encoding="utf-8")
    assert "Levels of the layers" not in path.read_text(encoding="utf-8")
    write_kept(folder, "measure", invented.measure_result())
    write_kept(folder, "deliver", invented.deliver_result())
    page = write_page(folder).read_text(encoding="utf-8")
    assert "Levels of the layers" in page
    assert "prints/001" in page
    assert [name.name for name in folder.iterdir() if "page" in name.name] == ["page.html"]


def test_the_page_knows_what_is_out_of_date(folder):
    now = sounding_hash(invented.song(moves=()), ())
    write_kept(folder, "measure", msgspec.structs.replace(invented.measure_result(), sounding=now))
    assert "measure again" not in write_page(folder).read_text(encoding="utf-8")
    write_kept(folder, "measure", msgspec.structs.replace(invented.measure_result(), sounding="other"))
    assert "measure again" in write_page(folder).read_text(encoding="utf-8")


def test_a_damaged_result_leaves_its_part_out_and_says_so(folder):
    write_kept(folder, "mix", invented.mix_result())
    (folder / "kept" / "mix.json").write_text('{"file": 3')
    page = write_page(folder).read_text(encoding="utf-8")
    assert "mix.json: cannot be read" in page
    assert "run mix again" in page


def test_no_song_no_page(tmp_path):
    with pytest.warns(Beside, match="there is no song"):
        write_page(tmp_path)
    assert not any(tmp_path.iterdir())
