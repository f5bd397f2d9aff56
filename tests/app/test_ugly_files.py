# SPDX-License-Identifier: Apache-2.0
"""A delivery of files that are not as they should be: what `start` and `check` list of each."""

from __future__ import annotations

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
