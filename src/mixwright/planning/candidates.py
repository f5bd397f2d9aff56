# SPDX-License-Identifier: Apache-2.0
"""The moves that could answer a finding, in the order that the evidence supports (docs/plan.md)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from mixwright.model.ledger import Finding
from mixwright.planning import limits
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.clash import Clash, Target, lighter_side, side_of
from mixwright.planning.essentials import Essentials
from mixwright.planning.excited import Excited
from mixwright.planning.keyed_candidates import dips, ducks
from mixwright.planning.known import KnownSong
from mixwright.planning.shape_candidates import as_elsewhere, band_limits, complements, cuts, tilts
from mixwright.planning.standing import Standing, standings

#: Who takes more than this part of a loss is what is in the way.
_MOST = 0.5


def candidates_of(
    finding: Finding,
    song: KnownSong,
    sections: Sequence[Excited],
    essentials: Essentials | None = None,
    standing: Mapping[str, Mapping[int, Standing]] | None = None,
) -> list[Candidate]:
    """Return the moves that could answer a finding; nothing that is locked or decided.

    Parameters
    ----------
    finding : Finding
    song : KnownSong
        its rows in the order of the rows of every section
    sections : sequence of Excited
        all sections of the song, in order
    essentials : Essentials, optional
        of these sections, by which static shapes are bounded; made here where it is not given
    standing : mapping, optional
        by the name of a section, which rows stand apart there; without it nothing is known of that

    Returns
    -------
    list of Candidate
        in the order in which they are worth trying: level, place, passes, shapes, dips, ducks, sends, the group as one,
        width; groups before what is in them
    """
    victim = song.index(finding.track)
    if victim is None or not sections:
        return []
    held = essentials or essentials_of(song, sections)
    clash = Clash(finding, song, {one.section.name: one for one in sections}, victim)
    found = (
        _brighter(clash)
        if finding.kind == "brighter"
        else _covered(clash, held, (standing or {}).get(finding.section, {}))
    )
    return list(_offered(found, clash, held))


def candidates_for(findings: Iterable[Finding], song: KnownSong, sections: Sequence[Excited]) -> list[Candidate]:
    """Return the candidates of several findings in their order, each once; what was left as it is asks for nothing."""
    held = essentials_of(song, sections)
    stand = {one.section.name: here for one, here in zip(sections, standings(sections), strict=True)}
    found: dict[tuple[object, ...], Candidate] = {}
    for finding in findings:
        if finding.verdict != "left as is":
            for one in candidates_of(finding, song, sections, held, stand):
                same = _same(one)
                found[same] = _widened(found[same], one) if same in found else one
    return list(found.values())


def essentials_of(song: KnownSong, sections: Sequence[Excited]) -> Essentials:
    """Return what is essential to the rows of a song; that of beds is not held."""
    return Essentials(sections, lambda row, section: song.rows[row].place_at(section) != "bed")


def _covered(clash: Clash, held: Essentials, standing: Mapping[int, Standing]) -> Iterator[Candidate]:
    yield from _levels(clash)
    if clash.song.levels_only:
        return
    yield from _pans(clash)
    yield from _narrow(clash)
    yield from band_limits(clash)
    yield from complements(clash, held)
    yield from as_elsewhere(clash, standing)
    yield from cuts(clash, held)
    yield from tilts(clash)
    yield from dips(clash)
    yield from ducks(clash)
    yield from _sends(clash)
    yield from _group_as_one(clash)
    yield from _widths(clash)


def _brighter(clash: Clash) -> Iterator[Candidate]:
    """Yield what makes a backing voice darker: what is essential to it is no matter, the brief asks for it."""
    if clash.song.levels_only:
        return
    darker = Setting("gain_db", 0.0, -limits.TILT_DB.value, 0.0, -2.0)
    yield clash.candidate("tilt", clash.itself(), (), (darker,), {"hz": 1000.0}, why="brightness")
    top = Setting("high_hz", limits.HIGHEST_PASS_HZ.value, 4000.0, limits.HIGHEST_PASS_HZ.value, 9000.0)
    yield clash.candidate("band_limit", clash.itself(), (), (top,), {"slope_db_oct": 12.0}, why="brightness")


def _levels(clash: Clash) -> Iterator[Candidate]:
    usual, strong = limits.LEVEL_DB.value, limits.STRONG_LEVEL_DB.value
    most = usual if clash.need_db <= usual else min(strong, max(usual, 1.5 * clash.need_db))
    first = min(3.0, 0.5 * most)
    for sections in clash.where:
        yield clash.candidate(
            "level", clash.itself(), sections, (Setting("gain_db", 0.0, 0.0, most, first),), why="level"
        )
    for target in () if _low_by_itself(clash) else clash.targets:
        for sections in clash.where:
            down = Setting("gain_db", 0.0, -most, 0.0, -first)
            yield clash.candidate("level", target, sections, (down,), why="level")


def _low_by_itself(clash: Clash) -> bool:
    """Tell whether it is a lead that is short as a whole, and no layer takes most of it: then it is the one to move."""
    return clash.leads and clash.finding.kind == "covered" and max(clash.parts.values(), default=0.0) <= _MOST


def _pans(clash: Clash) -> Iterator[Candidate]:
    """Yield two layers placed apart: the victim to the lighter side, unless it carries the song, the takers away."""
    others = [row for target in clash.takers for row in target.rows]
    side = lighter_side(clash.excited, [clash.victim, *others])
    moved = False
    if not clash.leads and _placeable(clash, clash.itself()):
        moved = True
        yield _panned(clash, clash.itself(), side)
    for target in clash.takers:
        if _placeable(clash, target):
            yield _panned(clash, target, -side if moved else side)


def _placeable(clash: Clash, target: Target) -> bool:
    row = target.placeable(clash.excited)
    return row is not None and row.place_at(clash.finding.section) != "lead"


def _panned(clash: Clash, target: Target, side: int) -> Candidate:
    assert target.row is not None
    was = target.row.pan
    to = side_of(was, side)
    first = min(1.0, abs(was) + 0.4) * to
    low, high = (-1.0, max(was, 0.0)) if to < 0 else (min(was, 0.0), 1.0)
    known = {"from_pan": was, "law": clash.song.law}
    setting = Setting("pan", was, low, high, first)
    return clash.candidate("pan", target, (), (setting,), known=known, pair=f"pan {clash.finding.id}", why="pan")


def _narrow(clash: Clash) -> Iterator[Candidate]:
    """Yield wide layers kept to a part of the width, to one side: both sides of a stereo strip placed anew."""
    side = lighter_side(clash.excited, [clash.victim])
    for target in clash.targets:
        if not target.is_wide:
            continue
        left, right = target.of.left, target.of.right
        # The outer side stays, the other one comes in, at most to a little beyond the middle.
        inner = 0.2 * side
        if side > 0:
            settings, fixed = (Setting("left", left, left, max(left, inner), max(left, inner)),), {"right": right}
        else:
            settings, fixed = (Setting("right", right, min(right, inner), right, min(right, inner)),), {"left": left}
        known = {"from_left": left, "from_right": right, "law": clash.song.law}
        yield clash.candidate("pan", target, (), settings, fixed, known=known, why="narrow")


def _widths(clash: Clash) -> Iterator[Candidate]:
    for target in clash.targets:
        if target.is_wide:
            setting = Setting("width", 1.0, limits.WIDTH.value, 1.0, 0.6)
            known = {"correlation": 1.0 - 2.0 * target.of.side_share}
            yield clash.candidate("width", target, (), (setting,), known=known, why="width")


def _sends(clash: Clash) -> Iterator[Candidate]:
    """Yield less fed into the sends whose returns take, by who feeds them most."""
    rows = clash.song.rows
    for target in clash.takers:
        send = target.row.send if target.row is not None else ""
        feeding = [(k, row.sends[send]) for k, row in enumerate(rows) if send and send in row.sends]
        loud = {k: float(clash.excited.own[k].sum()) * 10.0 ** (db / 10.0) for k, db in feeding}
        for k in sorted(loud, key=lambda k: (-loud[k], k))[:2]:
            feeds = tuple(sorted(feeding, key=lambda one: one[0] != k))
            less = Setting("gain_db", 0.0, -limits.SEND_DB.value, 0.0, -2.0)
            one = clash.candidate("send", Target(rows[k].id, target.rows, rows[k]), (), (less,), why="send")
            yield replace(one, send=send, feeds=feeds)


def _group_as_one(clash: Clash) -> Iterator[Candidate]:
    """Yield light compression of a group that takes: its loud moments taken down together."""
    for target in clash.groups:
        if target.of.level_db is not None:
            ratio = Setting("ratio", 1.0, 1.0, limits.RATIO.value, 1.5)
            fixed = {
                "threshold_db": round(target.of.level_db + limits.OVER_LEVEL_DB.value, 1),
                "attack_ms": 20.0,
                "release_ms": 200.0,
                "gain_db": 0.0,
            }
            known = {"level_db": target.of.level_db}
            yield clash.candidate("even_out", target, (), (ratio,), fixed, known=known, why="group")


def _offered(found: Iterable[Candidate], clash: Clash, held: Essentials) -> Iterator[Candidate]:
    """Yield what is neither locked nor decided, within what is essential, and each once."""
    seen = set()
    for one in found:
        within = one if one.why == "brightness" else held.within(one)
        if within is None or _same(one) in seen or _bound(one, clash):
            continue
        seen.add(_same(one))
        if within.move(within.first)["id"] not in clash.song.decided:
            yield within


def _bound(one: Candidate, clash: Clash) -> bool:
    song = clash.song
    targets = [Target(of.id, song.members(of.id), of) for of in song.groups if of.id == one.target]
    targets += [Target(row.id, (k,), row) for k, row in enumerate(song.rows) if row.id == one.target]
    return any(clash.bound(target, one.kind) for target in targets)


def _same(one: Candidate) -> tuple[object, ...]:
    """Return what tells one candidate from another: what a move is called, and which way it goes."""
    names = tuple(setting.name for setting in one.settings)
    return (one.move(one.first)["id"], names, tuple(setting.first > setting.start for setting in one.settings))


def _widened(one: Candidate, other: Candidate) -> Candidate:
    """Return a candidate that may go as far as another of the same."""
    settings = tuple(
        replace(mine, low=min(mine.low, theirs.low), high=max(mine.high, theirs.high))
        for mine, theirs in zip(one.settings, other.settings, strict=True)
    )
    return replace(one, settings=settings)
