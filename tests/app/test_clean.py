# SPDX-License-Identifier: Apache-2.0
"""`clean` empties the cache and touches nothing else; mixes stay the same."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import pytest

from made_songs import make_song
from mixwright.app.clean import clean
from mixwright.app.mix import mix
from mixwright.errors import StateError
from mixwright.jobs.budget import BUDGET_VARIABLE


def digests(folder: Path) -> dict[str, str]:
    """Return the digest of every file outside the cache."""
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*")
        if path.is_file() and "cache" not in path.relative_to(folder).parts
    }


def cache_bytes(song: Path) -> int:
    return sum(path.stat().st_size for path in (song / "cache").iterdir())


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = make_song(tmp_path_factory.mktemp("clean"))
    mix(made)
    return made


def test_a_cache_within_its_budget_stays(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(BUDGET_VARIABLE, "1")
    before = cache_bytes(song)
    result = clean(song)
    assert (result.freed_bytes, result.remaining_bytes, result.budget_bytes) == (0, before, 1 << 30)
    assert before > 1_000_000


def test_everything_goes_and_only_the_cache(song: Path) -> None:
    before, held = digests(song.parent), cache_bytes(song)
    result = clean(song, everything=True)
    assert (result.freed_bytes, result.remaining_bytes, result.in_use_bytes) == (held, 0, 0)
    assert digests(song.parent) == before
    first = next(path for path in (song / "mixes").iterdir())
    again = mix(song)
    assert (song / again.file).read_bytes() == first.read_bytes()


def test_mixes_are_the_same_with_no_budget_at_all(song: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(BUDGET_VARIABLE, "0")
    shas = {mix(song).sha256 for _ in range(2)}
    assert cache_bytes(song) == 0
    monkeypatch.delenv(BUDGET_VARIABLE)
    assert {mix(song).sha256} == shas


def test_cleaning_while_songs_are_mixed_breaks_nothing(song: Path) -> None:
    code = "import sys, pathlib, mixwright; print(mixwright.mix(pathlib.Path(sys.argv[1])).sha256)"
    command = [sys.executable, "-c", code, str(song)]
    expected = mix(song).sha256
    runs = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(2)]
    while any(run.poll() is None for run in runs):
        clean(song, everything=True)
    assert [run.communicate()[0].strip() for run in runs] == [expected] * 2
    clean(song, everything=True)
    assert cache_bytes(song) == 0


KILLED = """
import os, pathlib, signal, sys
from mixwright.app.clean import clean
unlink, left = pathlib.Path.unlink, [int(sys.argv[2])]
def dying(path, *settings, **more):
    left[0] -= 1
    if left[0] < 0:
        os.kill(os.getpid(), signal.SIGKILL)
    unlink(path, *settings, **more)
pathlib.Path.unlink = dying
clean(pathlib.Path(sys.argv[1]), everything=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_a_kill_while_cleaning_harms_nothing(song: Path) -> None:
    expected = mix(song).sha256
    for files in range(4):
        killed = subprocess.run([sys.executable, "-c", KILLED, str(song), str(files)], check=False)
        assert killed.returncode == -9
        assert mix(song).sha256 == expected
    clean(song, everything=True)
    assert cache_bytes(song) == 0


def test_a_broken_song_can_be_cleaned_and_no_song_cannot(song: Path, tmp_path: Path) -> None:
    (tmp_path / "song.toml").write_text("title = [")
    assert clean(tmp_path).remaining_bytes == 0
    assert [path.name for path in tmp_path.iterdir()] == ["song.toml"]
    with pytest.raises(StateError, match="there is no song here"):
        clean(tmp_path / "nowhere", everything=True)
