# SPDX-License-Identifier: Apache-2.0
"""What the tour sets by hand is what the truth says, and only that."""

import json

from mixwright.demo.answers import answered
from mixwright.demo.layers import LAYERS
from mixwright.demo.record import DemoPaths
from mixwright.model.checks import check_song
from mixwright.model.profile import ATTRIBUTES
from mixwright.model.song import Reference, Song, Track


def test_answers_are_the_truth(demo: DemoPaths):
    truth = json.loads(demo.truth.read_text(encoding="utf-8"))
    names = [*(track["file"] for track in truth["tracks"]), truth["duplicate"][0]]
    tracks = tuple(Track(id=f"t{i}", name=name, file=f"../tracks/{name}") for i, name in enumerate(names))
    references = tuple(Reference(id=f"r{i}", file=path.name) for i, path in enumerate(demo.references))
    song = answered(Song(title="x", rate_hz=truth["rate_hz"], tracks=tracks, references=references))
    check_song(song)
    for track, true in zip(song.tracks, truth["tracks"], strict=False):
        assert (track.start_frame, track.strip.polarity, track.place) == (
            true["start_frame"],
            true["polarity"],
            true["place"],
        )
    offsets = {fault["file"] for fault in truth["faults"] if fault["reported_as"] == "dc_offset"}
    assert {track.name for track in song.tracks if track.strip.high_pass} == offsets
    assert song.tracks[-1] == tracks[-1]
    rough = {track["file"]: track["pan"] for track in truth["rough"]["tracks"]}
    locked = {lock.target: lock.parameter for lock in song.locks}
    kept = {track.name: track.strip.pan for track in song.tracks if track.id in locked}
    assert set(locked.values()) == {"pan"}
    assert kept == {name: rough[name] for name in kept}
    assert {abs(pan) for pan in kept.values()} == {0.9}
    # Of no record is the voice there alone.
    assert {word for reference in song.references for word in reference.use_for} == {
        "low_end",
        "top_end",
        "spectrum",
        "width",
        "dynamics",
    }
    assert {word for reference in song.references for word in reference.use_for} < set(ATTRIBUTES)


def test_every_layer_has_its_own_file():
    assert len({layer.file for layer in LAYERS}) == len(LAYERS)
