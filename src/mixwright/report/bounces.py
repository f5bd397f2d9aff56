# SPDX-License-Identifier: Apache-2.0
"""Bounces in sentences: which moves they hold as dialled, what these did, and what else was changed."""

from __future__ import annotations

from collections.abc import Collection
from typing import Protocol

from mixwright.model.bounces import Bounce, DialledCost, DialledMove
from mixwright.model.known import names_of
from mixwright.model.song import Move, Song
from mixwright.report.figures import capital, number
from mixwright.report.move_sentences import do_sentence

#: A share that is nearer to the whole than this is not told.
_AS_SET = 0.1


class Heard(Protocol):
    """What was heard of a move that was dialled."""

    @property
    def victim(self) -> str:
        """The name of the layer that it is for."""

    @property
    def predicted_db(self) -> float | None:
        """What was predicted for it."""

    @property
    def got_db(self) -> float | None:
        """What is heard of it."""

    @property
    def costs(self) -> tuple[DialledCost, ...]:
        """Who lost by it."""


def dialled_told(song: Song, move: Move, share: float, heard: Heard) -> DialledMove:
    """Return a move that a bounce holds, with a sentence."""
    names = names_of(song)
    does = do_sentence(move, names.get(move.target, move.target), names).removesuffix(".")
    figures = []
    if heard.predicted_db is not None:
        figures.append(f"predicted {_db(heard.predicted_db)}{_of(heard.victim)}")
    if heard.got_db is not None:
        of = _of(heard.victim) if heard.predicted_db is None else ""
        figures.append(f"got {_db(heard.got_db)}{of}")
    elif heard.victim:
        figures.append(f"no change is heard of {heard.victim}")
    lost = [f"{cost.name} lost {number(abs(cost.fader_db))} dB" for cost in heard.costs]
    how = "" if abs(share - 1.0) < _AS_SET else f", {number(share)} of it"
    told = "; ".join([", ".join(figures), *lost]) if figures or lost else "what it did was not heard"
    return DialledMove(
        id=move.id,
        does=does,
        share=round(share, 3),
        victim=heard.victim,
        predicted_db=heard.predicted_db,
        got_db=heard.got_db,
        costs=heard.costs,
        told=f"{does}, as dialled{how}: {told}.",
    )


def bounce_told(bounce: Bounce, accepted: Collection[str], *, together: bool = False) -> str:
    """Return all that is told of a bounce.

    `accepted`: ids of moves that sound in the mix here, too; `together`: several moves were dialled at once.
    """
    if bounce.why:
        return f"{bounce.name}: a new bounce was taken. It is not compared: {bounce.why}."
    told = [move.told for move in bounce.moves]
    if not bounce.moves:
        told.append("No open move is in it.")
    also = "; ".join(bounce.also)
    told.append(f"{'Also changed' if bounce.moves else 'Changed'}: {also}." if also else "Nothing else is changed.")
    if not bounce.moves and not also:
        told = ["No change of it is large enough to tell."]
    twice = [move for move in bounce.moves if move.id in accepted]
    if twice:
        which = "This move is" if len(twice) == 1 else f"{len(twice)} of these moves are"
        told.append(f"{which} accepted here, too, and now made twice: refuse it here, as the bounce has it.")
    if together and bounce.moves:
        told.append("What was dialled at once was heard together.")
    return f"{bounce.name}: {capital(' '.join(told))}"


def _db(value: float) -> str:
    return f"{number(value, sign=True)} dB"


def _of(name: str) -> str:
    return f" for {name}" if name else ""
