# SPDX-License-Identifier: Apache-2.0
"""Ids of moves, and how a new plan meets old decisions."""

from __future__ import annotations

import hashlib
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mixwright.model.moves import is_locked, merge_plan, move_id
from mixwright.model.song import Group, Lock, Move, Song, Track, changed
from strategies import songs

SONG = Song(
    title="x",
    rate_hz=48000,
    tracks=(
        Track(id="kick", name="Kick", file="k.wav", group="drums"),
        Track(id="snare", name="Snare", file="s.wav", group="drums", source="snares"),
        Track(id="vox", name="Vox", file="v.wav"),
    ),
    groups=(Group(id="drums", name="Drums"),),
)


def _level(target: str, gain_db: float = 1.0, **fields: object) -> Move:
    move = Move(id=move_id("level", target, ()), kind="level", target=target, settings={"gain_db": gain_db})
    return changed(move, **fields)


def test_an_id_says_kind_and_target_and_hashes_the_rest():
    # The form is fixed: a refusal must survive the next version. Hash: SHA-256 by Python's own library.
    digest = hashlib.sha256(b"level\0vox\0\0chorus\0verse").hexdigest()
    assert move_id("level", "vox", ("verse", "chorus")) == f"level-vox-{digest[:6]}"
    assert re.fullmatch(r"pan-bass-di-[0-9a-f]{6}", move_id("pan", "bass-di", ()))


def test_an_id_does_not_depend_on_the_order_of_sections():
    assert move_id("level", "vox", ("a", "b")) == move_id("level", "vox", ["b", "a", "b"])


@pytest.mark.parametrize(
    ("low", "high", "same"),
    [
        # Mid-bands and edges of third-octave bands, IEC 61260-1: 1000 Hz spans 891.25 to 1122.02 Hz.
        (892.0, 1122.0, True),
        (890.0, 1000.0, False),
        (1000.0, 1123.0, False),
        (100.0, 1000.0, False),
        (25.12, 28.0, True),
    ],
)
def test_an_id_holds_the_third_octave_band(low, high, same):
    assert (move_id("level", "vox", (), low) == move_id("level", "vox", (), high)) is same
    assert move_id("level", "vox", (), low) != move_id("level", "vox", ())


def test_a_new_plan_takes_the_place_of_what_was_only_proposed():
    old = changed(SONG, moves=(_level("vox"), _level("kick")))
    new = merge_plan(old, [_level("snare", 2.0), _level("kick", -3.0)])
    assert new.moves == (_level("snare", 2.0), _level("kick", -3.0))


@pytest.mark.parametrize("decided", [{"state": "accepted"}, {"state": "refused"}, {"by": "engineer"}])
def test_what_was_decided_stays_and_is_not_proposed_again(decided):
    mine = _level("vox", 2.5, strength=0.5, **decided)
    new = merge_plan(changed(SONG, moves=(mine,)), [_level("vox", -6.0), _level("kick")])
    assert new.moves == (mine, _level("kick"))


@pytest.mark.parametrize(
    ("lock", "target", "locked"),
    [
        ("kick", "kick", True),
        ("kick", "snare", False),
        ("kick", "drums", True),
        ("drums", "kick", True),
        ("snares", "snare", True),
        ("snare", "snares", True),
        ("drums", "vox", False),
    ],
)
def test_a_lock_binds_whatever_moves_one_of_its_tracks(lock, target, locked):
    song = changed(SONG, locks=(Lock(target=lock, parameter="level"),))
    assert is_locked(song, "level", target) is locked
    assert not is_locked(song, "pan", target)
    assert len(merge_plan(song, [_level(target)]).moves) == (not locked)


@settings(deadline=None, max_examples=30, suppress_health_check=list(HealthCheck))
@given(songs(), st.randoms(use_true_random=False))
def test_planning_twice_changes_nothing_more(song, rng):
    pool = [changed(move, state="proposed", by="plan", strength=1.0) for move in song.moves]
    proposed = rng.sample(pool, rng.randint(0, len(pool)))
    once = merge_plan(song, proposed)
    assert merge_plan(once, proposed) == once
    decided = [move for move in song.moves if move.by == "engineer" or move.state != "proposed"]
    assert list(once.moves[: len(decided)]) == decided
    assert len({move.id for move in once.moves}) == len(once.moves)
