# SPDX-License-Identifier: Apache-2.0
"""What receiving the demo finds out by itself, beside the truth."""

import json
from pathlib import Path

import pytest

from mixwright.app.start import start
from mixwright.demo.record import DemoPaths
from mixwright.io.song_file import load_song
from mixwright.model.results import StartResult

#: What the artist says in the brief and nobody can hear.
TOLD = {"Arp Synth 128bpm.wav": "bed"}


@pytest.fixture(scope="module")
def received(demo: DemoPaths, tmp_path_factory) -> StartResult:
    into = tmp_path_factory.mktemp("received") / "song"
    return start(demo.tracks, into, references=demo.references, rough=demo.rough)


@pytest.fixture(scope="module")
def truth(demo) -> dict:
    return json.loads(demo.truth.read_text(encoding="utf-8"))


def sets(pairs: list[tuple[str, str]]) -> set[frozenset[str]]:
    """Files by what they share, whatever it is called."""
    return {frozenset(file for file, other in pairs if other == key) for _, key in pairs}


def test_every_layer_is_recognised(received, truth):
    found = {track.file: track for track in received.tracks}
    true = {track["file"]: track for track in truth["tracks"]}
    assert {file: found[file].role for file in true} == {file: track["role"] for file, track in true.items()}
    places = {file: TOLD.get(file, found[file].place) for file in true}
    assert places == {file: track["place"] for file, track in true.items()}
    for what in ("source", "group"):
        ours = sets([(file, getattr(found[file], what)) for file in true])
        assert ours == sets([(file, track[what]) for file, track in true.items()]), what
    assert received.lead_guess == found[truth["lead"]].source


def test_faults_are_those_that_were_planted_and_no_others(received, truth):
    told = {(track.file, fault.kind) for track in received.tracks for fault in track.faults}
    planted = {(fault["file"], fault["reported_as"]) for fault in truth["faults"]}
    late = next(track["file"] for track in truth["tracks"] if track["start_frame"])
    assert told == planted | {(late, "length_differs")}
    # The time stamp says where it begins; that it is short is not told as a second late start.
    (fault,) = (f for track in received.tracks for f in track.faults if f.kind == "starts_late")
    assert "22.500 s" in fault.detail
    assert [track.file for track in received.tracks if not track.use] == [truth["duplicate"][0]]
    asked = " ".join(received.questions)
    assert late in asked
    assert truth["duplicate"][0] in asked
    assert len(received.questions) == 2


def test_tempo_and_sections_are_found(received, truth):
    assert received.tempo_bpm == pytest.approx(truth["tempo_bpm"], abs=0.05)
    starts = [section.start_s for section in received.sections]
    assert starts == pytest.approx([section["start_s"] for section in truth["sections"]], abs=0.05)
    names = [section.name.rsplit("-", 1)[0] for section in received.sections]
    assert names == ["intro", "verse", "chorus", "verse", "verse", "chorus", "outro"]


def test_nothing_is_moved_before_somebody_says_so(received):
    song = load_song(Path(received.folder))
    assert all(track.start_frame == 0 and track.strip.polarity == "normal" for track in song.tracks)
