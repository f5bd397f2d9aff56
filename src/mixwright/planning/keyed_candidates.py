# SPDX-License-Identifier: Apache-2.0
"""Candidates that act while somebody sounds: dips of groups and returns under the lead, ducks under kick and snare."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from mixwright.engine.processors.keyed import PACES
from mixwright.model.keyed_inserts import HELD_ROLES
from mixwright.model.words import Role
from mixwright.planning import limits
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.clash import Clash, Target
from mixwright.planning.keyed_gains import key_share
from mixwright.planning.shape_candidates import bell_of

#: Who may duck whom.
_STRUCK: frozenset[Role] = frozenset({"kick", "snare"})
_UNDER_HITS: frozenset[Role] = frozenset({"hats", "cymbals", "overheads", "room", "percussion", "effects", "return"})


def dips(clash: Clash) -> Iterator[Candidate]:
    """Yield dips while a lead sounds, where it is covered: of a group, a return, or one track."""
    if not clash.leads:
        return
    for target in clash.strips:
        if _carries(clash, target):
            continue
        for low_hz, high_hz in clash.bands:
            hz, q = bell_of(low_hz, high_hz, limits.DIP_Q.value)
            attack, hold, release, _ = PACES["phrase" if _held(clash, target) else "word"]
            fixed = {"hz": hz, "q": q, "attack_ms": attack, "hold_ms": hold, "release_ms": release}
            settings = (
                Setting("most_db", 0.0, 0.0, limits.DIP_DB.value, 3.0),
                Setting("margin_db", 9.0, -6.0, limits.MARGIN_DB.value, 9.0),
            )
            known = {"margin_shift_db": target.of.output_db - clash.row.output_db}
            one = clash.candidate("dip", target, (), settings, fixed, known=known, why="dip")
            yield _keyed(clash, one)


def ducks(clash: Clash) -> Iterator[Candidate]:
    """Yield cymbals, percussion, effects and returns lowered at each hit of kick or snare."""
    if clash.row.role not in _STRUCK:
        return
    for target in clash.takers:
        if target.row is None or target.row.role not in _UNDER_HITS or _carries(clash, target):
            continue
        fixed = {"low_hz": 0.0, "high_hz": 0.0, "by_hits": 1.0, "attack_ms": 5.0, "hold_ms": 20.0, "release_ms": 120.0}
        depth = Setting("depth_db", 0.0, 0.0, limits.DUCK_DB.value, 2.5)
        yield _keyed(clash, clash.candidate("duck", target, (), (depth,), fixed, why="duck"))


def _keyed(clash: Clash, one: Candidate) -> Candidate:
    excited = clash.excited
    share = key_share(excited.own[clash.victim], excited.seconds[list(one.rows)].max(axis=0))
    return replace(one, key=clash.row.id, key_rows=(clash.victim,), time_share=share)


def _carries(clash: Clash, target: Target) -> bool:
    """Tell whether a target carries its key: in the same group, or as microphones of one kit hear it."""
    shared = set(clash.row.tracks) & {track for row in target.rows for track in clash.song.rows[row].tracks}
    return clash.victim in target.rows or bool(shared)


def _held(clash: Clash, target: Target) -> bool:
    """Tell whether what is dipped is held rather than spoken or struck: most of it by energy."""
    loud = {row: float(clash.excited.own[row].sum()) for row in target.rows}
    held = sum(loud[row] for row in target.rows if clash.song.rows[row].role in HELD_ROLES)
    return held > 0.5 * sum(loud.values())
