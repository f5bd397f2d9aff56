# SPDX-License-Identifier: Apache-2.0
"""Digests against the standard library and FIPS 180-4."""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

import pytest

from mixwright.errors import Cancelled, InputError
from mixwright.io import hashing
from mixwright.io.hashing import file_sha256
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel


def test_known_digest(tmp_path: Path) -> None:
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # FIPS 180-4, example "abc".
    assert file_sha256(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_digest_is_remembered_until_the_file_changes(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path, cache = tmp_path / "a", Cache(tmp_path / "cache")
    path.write_bytes(b"one")
    os.utime(path, (1e9, 1e9))
    calls = []
    digest = hashing.file_digest
    monkeypatch.setattr(hashing, "file_digest", lambda p, cancel: (calls.append(p), digest(p, cancel))[1])
    assert file_sha256(path, cache) == file_sha256(path, cache) == hashlib.sha256(b"one").hexdigest()
    assert len(calls) == 1
    now = time.time_ns()
    for content in (b"two", b"six"):  # within one tick of the clock: same size, same time
        path.write_bytes(content)
        os.utime(path, ns=(now, now))
        assert file_sha256(path, cache) == hashlib.sha256(content).hexdigest()


@pytest.mark.parametrize("name", ["missing", "folder", "nul\0name"])
def test_what_is_no_file_is_an_input_error(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder").mkdir()
    with pytest.raises(InputError) as caught:
        file_sha256(tmp_path / name, Cache(tmp_path / "cache"))
    assert "\0" not in str(caught.value)


def test_a_stop_is_seen_within_a_long_file(tmp_path: Path) -> None:
    class Late(Cancel):
        """Is thrown while the file is read."""

        def __init__(self) -> None:
            super().__init__()
            self.looks = 0

        def check(self) -> None:
            self.looks += 1
            if self.looks == 3:
                self.cancel()
            super().check()

    path, cancel = tmp_path / "long", Late()
    with path.open("wb") as file:
        file.truncate(1 << 40)  # a hole: reading all of it would take minutes
    with pytest.raises(Cancelled):
        file_sha256(path, None, cancel)
    assert cancel.looks == 3
