# SPDX-License-Identifier: Apache-2.0
"""A song beside its references: result, page, picture, excerpts, and what is said of unusable input."""

import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
import soundfile

from made_songs import RATE_HZ, make_song, write_audio
from mixwright.app.compare import compare
from mixwright.app.pictures import compare_picture
from mixwright.app.tick import tick
from mixwright.errors import SettingError, StateError
from mixwright.io.song_file import edit_song, load_song
from mixwright.meter.measure import measure as levels_of
from mixwright.model.comparison import CompareResult
from mixwright.model.song import Reference, changed
from mixwright.report.compared import compare_text, references_text


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A song with a record that is much wider than it."""
    rng = np.random.default_rng(5)
    mid, side = rng.standard_normal((2, 12 * RATE_HZ)) * 0.1
    wide = np.stack([mid + 0.8 * side, mid - 0.8 * side], axis=1)
    wide[: 6 * RATE_HZ] *= 0.6
    return make_song(tmp_path_factory.mktemp("compare"), reference=wide.astype(np.float32))


@pytest.fixture(scope="module")
def result(folder: Path) -> CompareResult:
    return compare(folder)


def test_sentence_first_then_figures_then_sections(folder, result):
    lines = compare_text(result)
    assert lines[0].startswith("Beside 1 reference at equal loudness, ")
    told = "\n".join(lines)
    assert "Whole:" in told
    assert "references span" in told
    assert "record for everything, turned by " in told
    assert "The mix: only 12 s long: not compared for contrast and density." in told
    # Everything was turned to the loudness of the mix.
    (reference,) = result.references
    assert reference.gain_db == pytest.approx(result.integrated_lufs - reference.integrated_lufs, abs=0.001)
    assert set(reference.beside) == set(result.sections) == {"verse", "chorus"}


def test_only_some_attributes_and_sections(folder, result):
    found = compare(folder, only=["width"], sections=["chorus"])
    assert {row.attribute for row in found.rows} <= {"width"}
    assert {row.section for row in found.rows} <= {"chorus"}
    assert set(found.rows) == {row for row in result.rows if row.attribute == "width" and row.section == "chorus"}
    with pytest.raises(SettingError, match="no attribute is called 'loudness'"):
        compare(folder, only=["loudness"])
    with pytest.raises(SettingError, match="no section is called 'bridge'"):
        compare(folder, sections=["bridge"])


def test_page_and_picture_show_rows_of_a_dot_on_an_interval(folder, result, tmp_path):
    page = (folder / "page.html").read_text()
    assert "Beside the references" in page
    assert page.count("diamond") > 1
    path = compare_picture(result, tmp_path)
    drawn = ET.fromstring(path.read_text())
    names = {"{http://www.w3.org/2000/svg}" + tag for tag in ("polyline", "polygon")}
    assert not [one for one in drawn.iter() if one.tag in names]
    assert len([one for one in drawn.iter() if one.get("class") in ("dot", "diamond")]) >= 10


def test_excerpts_are_equally_loud_and_bands_add_up(folder, tmp_path):
    found = compare(folder, sections=["chorus"], listen=tmp_path / "listen")
    assert [(one.of, one.band) for one in found.excerpts] == [
        (of, band) for of in ("mix", "record") for band in ("whole", "low", "middle", "top")
    ]
    audio = {(one.of, one.band): soundfile.read(one.file, always_2d=True)[0] for one in found.excerpts}
    loudness = [levels_of(audio[of, "whole"], RATE_HZ, spectrum=False).integrated_lufs for of in ("mix", "record")]
    assert loudness[0] == pytest.approx(loudness[1], abs=0.05)
    assert loudness[0] < -25.9
    for of in ("mix", "record"):
        total = audio[of, "low"] + audio[of, "middle"] + audio[of, "top"]
        assert np.abs(total - audio[of, "whole"]).max() < 1e-6


def test_a_bounce_made_elsewhere_stands_in_place_of_the_mix(folder, result, tmp_path):
    record = soundfile.read(folder.parent / "records" / "record.wav", dtype="float32")[0]
    write_audio(tmp_path / "bounce.wav", (0.5 * record).astype(np.float32))
    found = compare(folder, mix=tmp_path / "bounce.wav")
    # It is the record itself, softer: nothing lies outside.
    assert not [row for row in found.rows if row.outside]
    assert found.sounding == ""
    assert "lie inside what they span" in compare_text(found)[0]


def test_ticks_go_through_the_one_writer(tmp_path, folder):
    song = make_song(tmp_path, reference=np.full((RATE_HZ, 2), 0.1, dtype=np.float32))
    shown = tick(song, use_for=["width", "low_end"], beside={"chorus": "part-b-1"})
    assert load_song(song).references == shown.references
    assert shown.references[0].use_for == ("width", "low_end")
    assert shown.references[0].beside == {"chorus": "part-b-1"}
    assert "record: for width and low end; part-b-1 beside chorus" in "\n".join(references_text(shown, "song"))
    assert tick(song, "record", use_for=["everything"], beside={"chorus": ""}).references[0].use_for == ()
    assert load_song(song).references[0].beside == {}
    added = tick(song, add=folder.parent / "records" / "record.wav", use_for=["contrast"]).references[1]
    assert (added.id, added.use_for) == ("record-2", ("contrast",))
    with pytest.raises(SettingError, match="no attribute is called 'punch'"):
        tick(song, "record", use_for=["punch"])
    with pytest.raises(SettingError, match="no reference is called"):
        tick(song, "other", use_for=["width"])


def test_unusable_references_are_left_out_with_a_word(tmp_path):
    song = make_song(tmp_path, reference=np.zeros((RATE_HZ, 2), dtype=np.float32))
    told = "\n".join(compare_text(compare(song)))
    assert told.startswith("No reference can be used")
    assert "silent: not used" in told
    edit_song(song, "none", lambda before: changed(before, references=()))
    with pytest.raises(StateError, match="the song has no reference"):
        compare(song)


def test_an_hour_is_no_song(tmp_path):
    song = make_song(tmp_path)
    soundfile.write(tmp_path / "set.flac", np.zeros((8000 * 3600, 1), dtype=np.int16), 8000)
    edit_song(song, "add", lambda before: changed(before, references=(Reference(id="set", file="../set.flac"),)))
    told = "\n".join(compare_text(compare(song)))
    assert "60 minutes long: no single song" in told
