# SPDX-License-Identifier: Apache-2.0
"""The smallest level moves before a limiter that restore what it changes between the parts of a mix.

A limiter has one gain for all, but parts sound at different moments: those that sound at the peaks lose most. What a
part lost against the backing is given back by its level; the backing itself, many layers, stays.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

from mixwright.errors import with_and
from mixwright.model.known import names_of
from mixwright.model.move_checks import check_move
from mixwright.model.moves import may_propose, move_id
from mixwright.model.results import PlannedMove
from mixwright.model.song import Move, Song, changed, sounding_tracks, source_of, targets_of

Part = Literal["lead", "backing", "drums"]
PARTS: tuple[Part, ...] = ("lead", "backing", "drums")
#: The parts that a move may raise or lower.
MOVED: tuple[Part, ...] = ("lead", "drums")
#: Changes smaller than this are left as they are: common practice, no source.
LEAST_LU = 0.2
#: No part is raised or lowered by more for the sake of a limiter: common practice, no source.
MOST_DB = 3.0
#: Sections whose changes differ by no more get one move together.
_ALIKE_DB = 0.2
_DIGITS = 1


class Trim(NamedTuple):
    """One part raised or lowered in some sections, by index."""

    part: Part
    gain_db: float
    sections: tuple[int, ...]


def against(changes: Mapping[Part, float | None], one: Part, other: Part) -> float | None:
    """Return by how much one part gained against another, None where one does not sound."""
    first, second = changes.get(one), changes.get(other)
    return None if first is None or second is None else first - second


def lost(changes: Mapping[Part, float | None]) -> dict[Part, float]:
    """Return by how much the parts that may be moved lost against the one that stays: the backing, else the lead."""
    anchor: Part = "backing" if changes.get("backing") is not None else "lead"
    found = {part: against(changes, part, anchor) for part in MOVED if part != anchor}
    return {part: -change for part, change in found.items() if change is not None}


def trims_of(wanted_db: Sequence[Mapping[Part, float]]) -> tuple[Trim, ...]:
    """Return the fewest trims for what each section asks for: sections that ask for about the same share one.

    Parameters
    ----------
    wanted_db : sequence, one each section
        by how much a part is to be raised there
    """
    trims: list[Trim] = []
    for part in MOVED:
        asked = sorted((wanted[part], k) for k, wanted in enumerate(wanted_db) if part in wanted)
        asked = [(gain_db, k) for gain_db, k in asked if abs(gain_db) >= LEAST_LU]
        while asked:
            alike = [one for one in asked if one[0] - asked[0][0] <= _ALIKE_DB]
            asked = asked[len(alike) :]
            middle_db = round((alike[0][0] + alike[-1][0]) / 2.0, _DIGITS)
            trims.append(Trim(part, max(-MOST_DB, min(MOST_DB, middle_db)), tuple(sorted(k for _, k in alike))))
    return tuple(trims)


def targets_covering(song: Song, tracks: frozenset[str]) -> tuple[str, ...]:
    """Return the fewest groups, sources and tracks that a move can aim at and that are these tracks together.

    Empty where there are none.
    """
    left = set(tracks)
    names = [group.id for group in song.groups] + sorted({source_of(t) for t in song.tracks}) + sorted(tracks)
    sounding = {track.id for track in sounding_tracks(song)}
    covers = {name: frozenset(track.id for track in targets_of(song, name)) & sounding for name in names}
    found = []
    # What covers most comes first; of those that cover the same, the group.
    for name in sorted(covers, key=lambda name: -len(covers[name])):
        if covers[name] and covers[name] <= left:
            found.append(name)
            left -= covers[name]
    return tuple(found)


def restoring_moves(
    song: Song,
    tracks: Mapping[Part, frozenset[str]],
    trims: Sequence[Trim],
    before: Sequence[Mapping[Part, float | None]],
    after: Sequence[Mapping[Part, float | None]],
) -> tuple[PlannedMove, ...]:
    """Return the trims as moves that a person decides on; what was decided already is not offered again.

    Parameters
    ----------
    song : Song
    tracks : mapping
        the tracks of each part
    trims : sequence of Trim
    before, after : sequences, one each section of the song, or one for a song without
        what limiting changes now, and with the trims
    """
    moves = []
    whole = len(before)
    for trim in trims:
        sounding = [k for k in range(whole) if lost(before[k]).get(trim.part) is not None]
        everywhere = set(trim.sections) >= set(sounding)
        sections = () if everywhere or not song.sections else tuple(song.sections[k].name for k in trim.sections)
        losses = [lost(before[k])[trim.part] for k in trim.sections]
        then = [lost(after[k]).get(trim.part, 0.0) for k in trim.sections]
        loss, rest = (max(values, key=abs) for values in (losses, then))
        targets = targets_covering(song, tracks[trim.part])
        what = names_of(song).get(targets[0], targets[0]) if len(targets) == 1 else f"the {trim.part}"
        more = "more" if loss > 0 else "less"
        stands = f"stands {abs(loss):.1f} LU {'lower' if loss > 0 else 'higher'} against"
        place = f" in {with_and(sections)}" if sections else ""
        raised = "raise" if trim.gain_db > 0 else "lower"
        for target in targets:
            move = PlannedMove(
                id=move_id("level", target, sections),
                kind="level",
                target=target,
                sections=sections,
                settings={"gain_db": trim.gain_db},
                state="proposed",
                strength=1.0,
                by="plan",
                reason=(
                    f"Limiting the preview takes {abs(loss):.1f} LU {more} off {what} than off the rest{place}: "
                    f"{raised} it by {abs(trim.gain_db):.1f} dB before that."
                ),
                measured={"against_backing_lu": round(-loss, 2)},
                predicted={"against_backing_lu": round(-rest, 2)},
                without_it=f"Without it {what} {stands} the rest{place} in the preview.",
                costs=("It moves the mix itself: of use only where the mix will be limited so.",),
            )
            plain = Move(**{name: getattr(move, name) for name in Move.__struct_fields__})
            check_move(song, plain, move.id)
            if may_propose(song, plain):
                moves.append(move)
    return tuple(moves)


def with_moves(song: Song, moves: Sequence[PlannedMove]) -> Song:
    """Return the song with moves to be decided, in the place of those that were proposed under the same ids."""
    new = [Move(**{name: getattr(move, name) for name in Move.__struct_fields__}) for move in moves]
    new = [move for move in new if may_propose(song, move)]
    ids = {move.id for move in new}
    return changed(song, moves=(*(move for move in song.moves if move.id not in ids), *new))
