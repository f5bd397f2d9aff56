# SPDX-License-Identifier: Apache-2.0
"""What was found once, and a few mutations of every seed; `python -m fuzz` in tests tries many more."""

from __future__ import annotations

import gzip
import random
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fuzz.__main__ import SHARES
from fuzz.known import TARGETS
from fuzz.target import Try

#: Once found: target, and an input that failed.
FOUND = {
    "a journal step whose compression is damaged": (
        "kept",
        b"journal\n" + gzip.compress(b"{}" * 40)[:10] + b"\xff" * 30,
    ),
    "lists as deep as one of two readers takes": ("songs", b"title = " + b"[" * 495 + b"]" * 495),
    "a key of thousands of parts": ("songs", b"a." * 30_000 + b"b = 1"),
    "completion after a word that is no command": ("arguments", b"\x01\0\0"),
}
#: Mutations of one test; what starts processes or writes pages takes longer.
TRIED = {"headers": 200, "audio": 40, "tags": 150, "songs": 120, "kept": 300, "names": 60, "arguments": 100}


@pytest.fixture
def at_home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in; where this process is, and its folder for temporary files, come back."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    (tmp_path / "work").mkdir()
    return tmp_path / "work"


@pytest.mark.parametrize("what", FOUND)
def test_what_was_found_once(at_home: Path, what: str) -> None:
    name, content = FOUND[what]
    TARGETS[name].open(at_home)(content)


@pytest.mark.parametrize("name", TARGETS)
def test_mutations_fail_in_our_own_way_at_most(at_home: Path, name: str) -> None:
    target = TARGETS[name]
    attempt: Try = target.open(at_home)
    contents = target.seeds()
    for content in contents:
        attempt(content)

    @settings(max_examples=TRIED[name], deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(st.integers(0, len(contents) - 1), st.integers(0, 2**32 - 1), st.integers(1, 4))
    def mutated(which: int, seed: int, times: int) -> None:
        rng = random.Random(seed)
        content = contents[which]
        for _ in range(times):
            content = target.mutate(content, rng)
        attempt(content)

    mutated()


def test_every_target_has_its_share() -> None:
    assert TARGETS.keys() == SHARES.keys() == TRIED.keys()
    assert sum(SHARES.values()) == pytest.approx(1.0)
