# SPDX-License-Identifier: Apache-2.0
"""The budget of a cache: the least recently used goes, what a running command uses and what is not ours stays."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixwright.errors import OutputError, SettingError
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.budget import BUDGET_VARIABLE, budget_bytes, trim
from mixwright.jobs.cache import Cache
from mixwright.jobs.entries import Seal, read_record, sealed_text
from mixwright.model.strip import Strip

GIB = 1 << 30
FRAMES = 1000
#: An array of 1000 frames of two channels: 128 bytes of header and 8 a frame.
ARRAY_BYTES = 128 + 8 * FRAMES


def put(cache: Cache, name: str) -> np.ndarray:
    def make(into: Path) -> None:
        with ArrayWriter(into, 2) as writer:
            writer.push(np.ones((FRAMES, 2)))

    return cache.array(cache.key(name), make)


def age(cache: Cache, name: str, hours: float) -> None:
    """Make an entry one that was made, sealed and used some hours ago."""
    then_ns = time.time_ns() - round(3600e9 * hours)
    stem = cache.folder / cache.key(name)
    for ending in (".npy", ".seal", ".json"):
        path = stem.with_suffix(ending)
        if ending == ".seal" and (seal := read_record(path, Seal)) is not None:
            path.write_bytes(sealed_text(Seal(sha256=seal.sha256, size=seal.size, mtime_ns=then_ns)))
        if path.exists():
            os.utime(path, ns=(then_ns, then_ns))


def arrays(cache: Cache, names: str = "abcdef") -> str:
    return "".join(name for name in names if (cache.folder / f"{cache.key(name)}.npy").exists())


@pytest.fixture
def cache(tmp_path: Path) -> Cache:
    """Three arrays; `a` was made first, `c` last; all some hours ago."""
    made = Cache(tmp_path / "cache")
    for hours, name in ((5, "a"), (4, "b"), (3, "c")):
        put(made, name)
        age(made, name, hours)
    return made


def test_the_least_recently_used_goes(cache: Cache) -> None:
    put(cache, "a")  # used again: it outlives b
    trimmed = trim(cache.folder, 2 * ARRAY_BYTES + 2000)
    assert arrays(cache) == "ac"
    assert ARRAY_BYTES < trimmed.freed_bytes < ARRAY_BYTES + 1000
    assert trimmed.remaining_bytes == sum(path.stat().st_size for path in cache.folder.iterdir())
    assert not list(cache.folder.glob(f"{cache.key('b')}*"))
    assert trim(cache.folder, 2 * ARRAY_BYTES + 2000).freed_bytes == 0


def test_a_record_that_is_read_is_used(cache: Cache) -> None:
    for hours, name in ((8, "old"), (7, "new")):
        cache.record(cache.key(name), Strip, Strip)
        age(cache, name, hours)
    cache.record(cache.key("old"), Strip, lambda: pytest.fail("not made again"))
    size = sum(path.stat().st_size for path in cache.folder.iterdir())
    trim(cache.folder, size - 1)
    assert (cache.folder / f"{cache.key('old')}.json").exists()
    assert not (cache.folder / f"{cache.key('new')}.json").exists()


@given(st.integers(0, 6 * ARRAY_BYTES))
def test_never_more_than_the_budget_and_never_less_than_needed(
    tmp_path_factory: pytest.TempPathFactory, budget: int
) -> None:
    cache = Cache(tmp_path_factory.mktemp("any") / "cache")
    for name in "abcd":
        put(cache, name)
    sizes = {path: path.stat().st_size for path in cache.folder.iterdir()}
    trimmed = trim(cache.folder, budget)
    left = sum(path.stat().st_size for path in cache.folder.iterdir())
    assert trimmed.remaining_bytes == left <= budget or left == 0
    assert left + trimmed.freed_bytes == sum(sizes.values())
    assert left > budget - 2 * ARRAY_BYTES or trimmed.freed_bytes == 0
    shutil.rmtree(cache.folder)


def test_a_command_leaves_its_cache_within_the_budget(cache: Cache, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(BUDGET_VARIABLE, str(2.2 * ARRAY_BYTES / GIB))
    with Cache(cache.folder) as running:
        for name in "def":
            put(running, name)
        assert arrays(cache) == "abcdef"
    assert arrays(cache) == "ef"
    assert not list(cache.folder.glob(".*"))


def test_a_command_that_fails_leaves_no_marker(cache: Cache) -> None:
    with pytest.raises(KeyboardInterrupt), Cache(cache.folder):
        raise KeyboardInterrupt
    assert not list(cache.folder.glob(".*"))
    assert arrays(cache) == "abc"


RUNNING = """
import sys, time
from pathlib import Path
from mixwright.jobs.cache import Cache
with Cache(Path(sys.argv[1])) as cache:
    held = cache.array(cache.key(sys.argv[2]), lambda into: sys.exit("made again"))
    print("holds", flush=True)
    sys.stdin.readline()
    held = cache.array(cache.key(sys.argv[2]), lambda into: sys.exit("was removed"))
    print(int(held.sum()), flush=True)
"""


@contextmanager
def another_command(cache: Cache, name: str) -> Iterator[subprocess.Popen[str]]:
    """Run a process that uses one array until it is told to end."""
    command = [sys.executable, "-c", RUNNING, str(cache.folder), name]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "holds\n"
        yield process


def test_what_another_process_uses_stays(cache: Cache) -> None:
    with another_command(cache, "a") as process:
        trimmed = trim(cache.folder, 0)
        assert arrays(cache) == "a"
        assert trimmed.in_use_bytes == trimmed.remaining_bytes > ARRAY_BYTES
        told, _ = process.communicate("\n")
        assert told == f"{2 * FRAMES}\n"
        assert process.returncode == 0
    trim(cache.folder, 0)
    assert list(cache.folder.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_what_a_killed_process_used_is_not_in_use(cache: Cache) -> None:
    with another_command(cache, "a") as process:
        process.send_signal(signal.SIGKILL)
        process.wait()
    assert len(list(cache.folder.glob(".mixwright-*"))) == 1
    assert trim(cache.folder, 0).in_use_bytes == 0
    assert list(cache.folder.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="an array in use cannot be removed")
def test_an_array_in_hand_outlives_its_file(cache: Cache) -> None:
    held = put(cache, "a")
    trim(cache.folder, 0)
    assert held.sum() == 2 * FRAMES
    assert put(cache, "a").sum() == 2 * FRAMES


def test_foreign_and_damaged_files_are_left_alone(cache: Cache) -> None:
    kept = {
        "notes.txt": b"mine",
        f"{cache.key('x')}.wav": b"mine too",
        f"{cache.key('y')}.json": b"damaged",
        f"{cache.key('a')}.npy": b"cut",
    }
    for name, content in kept.items():
        (cache.folder / name).write_bytes(content)
    (cache.folder / "folder").mkdir()
    (cache.folder / f"{cache.key('z')}.npy").symlink_to(cache.folder / "notes.txt")
    trimmed = trim(cache.folder, 0)
    assert all((cache.folder / name).read_bytes() == content for name, content in kept.items())
    assert arrays(cache, "bc") == ""
    assert (cache.folder / f"{cache.key('z')}.npy").is_symlink()
    assert trimmed.left_alone == 6


def test_what_a_kill_left_before_its_seal_goes(cache: Cache) -> None:
    (cache.folder / f"{cache.key('a')}.seal").unlink()
    (cache.folder / f"{cache.key('b')}.npy").unlink()
    trim(cache.folder, GIB)
    assert arrays(cache) == "c"
    trim(cache.folder, 0)
    assert list(cache.folder.iterdir()) == []


def test_the_default_is_a_tenth_of_the_disk_at_most_40_gib(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(BUDGET_VARIABLE, raising=False)
    whole = shutil.disk_usage(tmp_path).total
    assert budget_bytes(tmp_path / "not" / "there") == min(40 * GIB, whole // 10)
    monkeypatch.setenv(BUDGET_VARIABLE, " 2.5 ")
    assert budget_bytes(tmp_path) == 5 * GIB // 2


@pytest.mark.parametrize("word", ["much", "-1", "nan", "inf", "1e30"])
def test_a_budget_that_is_no_size(cache: Cache, word: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(BUDGET_VARIABLE, word)
    with pytest.raises(SettingError, match=f"MIXWRIGHT_CACHE_GIB: '{word}' is no size; give"), Cache(cache.folder):
        pytest.fail("not reached")


def test_a_cache_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("in the way")
    with pytest.raises(OutputError, match="cannot be written"), Cache(tmp_path / "cache"):
        pytest.fail("not reached")
    assert trim(tmp_path / "cache", 0).remaining_bytes == 0
