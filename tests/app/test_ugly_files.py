# SPDX-License-Identifier: Apache-2.0
"""A delivery of files that are not as they should be: what `start` and `check` list of each."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from malformed import chunk, fmt, noise, riff, ugly_files
from mixwright.app.check import check
from mixwright.app.start import start

UGLY = ugly_files()
OWN = {
    "unreadable",
    "empty",
    "truncated",
    "header_differs",
    "silent",
    "non_finite",
    "too_many_channels",
    "out_of_range",
}


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ugly") / "tracks"
    folder.mkdir()
    for name, ugly in UGLY.items():
        (folder / f"{name}.wav").write_bytes(ugly.content)
    (folder / "sound.wav").write_bytes(riff(fmt(), chunk(b"data", noise(5000))))
    return folder


def test_start_lists_every_kind_of_damage(tracks: Path, tmp_path: Path) -> None:
    before = {path.name: path.read_bytes() for path in tracks.iterdir()}
    listed = {Path(track.file).stem: track for track in start(tracks, tmp_path / "song").tracks}
    assert listed.keys() == UGLY.keys() | {"sound"}
    assert not listed["sound"].faults
    for name, ugly in UGLY.items():
        found = [fault for fault in listed[name].faults if fault.kind in OWN]
        kinds = {fault.kind for fault in found}
        assert kinds - {"silent"} == set(ugly.faults) - {"silent"}, name
        assert ugly.says in "; ".join(fault.detail for fault in found), name
        assert listed[name].use == ugly.is_used, name
    assert before == {path.name: path.read_bytes() for path in tracks.iterdir()}


def test_check_tells_of_them_too(tracks: Path) -> None:
    paths = [tracks / f"{name}.wav" for name in UGLY]
    for (name, ugly), one in zip(UGLY.items(), check(paths).files, strict=True):
        failed = {line.name for line in one.checks if not line.passed}
        assert ("can be read" in failed) == (ugly.frames is None), name
        assert ("complete" in failed) == (ugly.header_frames is not None), name
        told = ugly.header_frames is None and "header_differs" in ugly.faults
        assert ("header agrees with the file" in failed) == told, name
        # A finished file may have more than two channels.
        assert {fault.kind for fault in one.faults} >= set(ugly.faults) - {"too_many_channels"}, name


def test_marks_name_the_sections_and_channels_have_the_names_that_a_recorder_gave(tmp_path: Path) -> None:
    tracks = tmp_path / "tracks"
    tracks.mkdir()
    frames = 10 * 48000
    sound = riff(fmt(channels=1), chunk(b"data", noise(1, frames)), *marks((0, b"Verse 1"), (4 * 48000, b"Chorus")))
    (tracks / "vox.wav").write_bytes(sound)
    names = b"".join(b"<TRACK><NAME>" + name + b"</NAME></TRACK>" for name in (b"kick", b"snare", b"bo\xc2\x9bom"))
    notes = chunk(b"iXML", b"<BWFXML><TRACK_LIST>" + names + b"</TRACK_LIST></BWFXML>")
    (tracks / "kit.wav").write_bytes(riff(fmt(channels=3), notes, chunk(b"data", noise(2, 300))))
    result = start(tracks, tmp_path / "song")
    sections = [(section.name, section.start_s, section.end_s) for section in result.sections]
    assert sections == [("verse-1", 0.0, 4.0), ("chorus", 4.0, 10.0)]
    assert result.notes == ("The sections are those that marks in vox.wav name.",)
    (fault,) = (fault for track in result.tracks for fault in track.faults if fault.kind == "too_many_channels")
    assert fault.detail.startswith("3 channels (kick, snare, bo\\x9bom)")


def marks(*points: tuple[int, bytes]) -> tuple[bytes, bytes]:
    """Cue points of RIFF (1991) with their labels."""
    cue = b"".join(struct.pack("<II4sIII", i, 0, b"data", 0, 0, frame) for i, (frame, _) in enumerate(points))
    labels = b"".join(chunk(b"labl", struct.pack("<I", i) + label + b"\0") for i, (_, label) in enumerate(points))
    return chunk(b"cue ", struct.pack("<I", len(points)) + cue), chunk(b"LIST", b"adtl" + labels)
