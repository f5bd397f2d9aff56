# SPDX-License-Identifier: Apache-2.0
"""Arrays written block by block: what is read back, what silence takes, how often the disk is waited for."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

from mixwright.jobs import paced_file
from mixwright.jobs.array_file import ArrayWriter, map_array, write_array


@pytest.mark.parametrize("sounding", [(0, 1, 2), (1,), (0,), (2,), ()])
def test_what_is_written_is_read_back(sounding: tuple[int, ...], tmp_path: Path) -> None:
    blocks = [np.full((5000, 2), 0.5 if k in sounding else 0.0, dtype=np.float32) for k in range(3)]
    with ArrayWriter(tmp_path / "a.npy", 2) as writer:
        for block in blocks:
            writer.push(block)
    found = np.load(tmp_path / "a.npy", mmap_mode="r")
    assert found.dtype == np.float32
    assert np.array_equal(found, np.concatenate(blocks))


def test_a_negative_zero_stays_one(tmp_path: Path) -> None:
    with ArrayWriter(tmp_path / "a.npy", 1) as writer:
        writer.push(np.full((100, 1), -0.0))
    assert np.signbit(np.load(tmp_path / "a.npy")).all()


def test_silence_takes_no_room(tmp_path: Path) -> None:
    with (tmp_path / "hole").open("wb") as file:
        file.truncate(1 << 20)
    if not hasattr(os, "statvfs") or (tmp_path / "hole").stat().st_blocks * 512 >= 1 << 20:
        pytest.skip("this file system knows no holes")
    with ArrayWriter(tmp_path / "a.npy", 1) as writer:
        for _ in range(16):
            writer.push(np.zeros((65536, 1), dtype=np.float32))
    status = (tmp_path / "a.npy").stat()
    assert status.st_size == 128 + 16 * 65536 * 4
    assert status.st_blocks * 512 < status.st_size / 8


def test_a_long_file_goes_to_the_disk_little_by_little(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sizes: list[int] = []
    monkeypatch.setattr(paced_file, "_PACE_BYTES", 1 << 16)
    monkeypatch.setattr(os, "fsync", lambda number: sizes.append(os.fstat(number).st_size))
    with ArrayWriter(tmp_path / "a.npy", 1) as writer:
        for _ in range(50):
            writer.push(np.ones((1 << 12, 1), dtype=np.float32))
    assert max(np.diff([0, *sizes])) < 3 << 15
    assert sizes[-1] == 128 + 50 * (1 << 14)


@pytest.mark.parametrize("kind", ["<f4", "<f8", "<f2", "<i4", "|u1", "|b1"])
@pytest.mark.parametrize("shape", [(3, 2), (5,), (2, 3, 4), ()])
def test_arrays_are_mapped_as_numpy_loads_them(tmp_path: Path, kind: str, shape: tuple[int, ...]) -> None:
    array = np.random.default_rng(1).integers(0, 2, shape).astype(kind)
    write_array(tmp_path / "a.npy", array)
    np.save(tmp_path / "b.npy", array)
    for path in (tmp_path / "a.npy", tmp_path / "b.npy"):
        found, wanted = map_array(path), np.load(path)
        np.testing.assert_array_equal(found, wanted)
        assert (found.dtype, found.shape) == (wanted.dtype, wanted.shape)


def _of(kind: str, shape: str) -> bytes:
    header = f"{{'descr': '{kind}', 'fortran_order': False, 'shape': ({shape}), }}".ljust(118)
    return b"\x93NUMPY\x01\x00\x76\x00" + header.encode() + bytes(9)


@pytest.mark.parametrize(
    "broken", [b"", _of("<f4", "1,")[:9], _of("|O", "1,"), _of("<f3", "1,"), _of("<f4", "9, 9"), _of("<f4", "9" * 30)]
)
def test_what_is_no_array_is_not_mapped(tmp_path: Path, broken: bytes) -> None:
    (tmp_path / "a.npy").write_bytes(broken)
    with pytest.raises(ValueError):  # noqa: PT011 - of any kind
        map_array(tmp_path / "a.npy")
    (tmp_path / "a.npy").write_bytes(_of("<f4", "2,"))
    assert map_array(tmp_path / "a.npy").tolist() == [0.0, 0.0]
