# SPDX-License-Identifier: Apache-2.0
"""One trial of recovery: harm a song, let something mend it, and judge what is heard. See recovery.py."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from recovery_harms import KINDS, LEAST_PHON, MOST_DB, Harm, Sketched, drawn, harmed, raised_db, scaled
from recovery_product import LEVELS, SHAPES, Desk, Stage, proposed, receipts, target_ids
from recovery_regions import Asked, Held, held
from recovery_songs import Excerpt, slug

from mixwright.errors import MixwrightError
from mixwright.model.moves import move_id
from mixwright.model.song import Move, changed
from mixwright.model.words import MoveKind

NEAR_PHON, MOST_MOVES, EQUAL_PHON = 1.5, 6, 0.5
#: Plans of few kinds that the whole one stands beside.
FEW_KINDS: Mapping[str, frozenset[MoveKind]] = {"levels alone": LEVELS, "static shapes alone": SHAPES}
#: A harm is made larger so often until the product's ear finds what the sketch foretold.
_TRIES = 3


@dataclass(frozen=True)
class Judged:
    """What became of a harmed song, in phon beside the unharmed one.

    `victim`: how far it is from there; `inside`: it lies within its tolerance; `others`: how far each other lead or
    support is from there, layers that were harmed left out; `harmed`: how far these are, where they must be heard;
    `moves`: words for each; `aimed`: a harmed layer or its group is among their targets; `essential_db`: the
    most that static shapes take from what is essential to a layer; `error`: why there is none.
    """

    victim: float
    inside: bool
    others: Mapping[str, float]
    harmed: Mapping[str, float]
    moves: tuple[str, ...] = ()
    aimed: bool = False
    essential_db: float = 0.0
    error: str = ""

    @property
    def back(self) -> bool:
        """Whether the victim is back."""
        return self.inside or abs(self.victim) <= NEAR_PHON

    @property
    def spared(self) -> bool:
        """Whether every other lead and support is as it was."""
        return all(abs(one) <= NEAR_PHON for one in self.others.values())

    @property
    def recovered(self) -> bool:
        """Whether the song has recovered."""
        return self.back and self.spared and len(self.moves) <= MOST_MOVES and not self.error

    @property
    def why(self) -> str:
        """The first reason why not, "" where it has."""
        if self.error:
            return "error"
        if not self.back:
            return "nothing proposed" if not self.moves else "too little" if self.aimed else "other layer"
        if len(self.moves) > MOST_MOVES:
            return "too many moves"
        return "" if self.spared else "cost to others" if min(self.others.values()) < -NEAR_PHON else "others rose"

    @property
    def lost(self) -> float:
        """The mean of what the others lost, in phon; who gained counts as 0."""
        return float(np.mean([max(0.0, -one) for one in self.others.values()] or [0.0]))


@dataclass(frozen=True)
class Beside:
    """A plan of few kinds of moves beside the whole one, one of both scaled so that the victim gains as much.

    `gain`: of the victim, in phon, in the plan and in the other; `lost`: what the others lose on average.
    """

    kinds: str
    gain: tuple[float, float]
    lost: tuple[float, float]

    @property
    def equal(self) -> bool:
        """Whether the victim gains as much in both."""
        return abs(self.gain[0] - self.gain[1]) <= EQUAL_PHON


@dataclass(frozen=True)
class Outcome:
    """A trial, and what each way made of it.

    `errors_phon`: rendered minus predicted of the moves that have both; `needless`: ids of moves that receipts call
    not needed, out of `proved`. `regions`: what static shapes gain beside random regions.
    """

    harm: Harm
    fall_phon: float
    ways: Mapping[str, Judged]
    errors_phon: tuple[float, ...] = ()
    needless: tuple[str, ...] = ()
    proved: int = 0
    beside: tuple[Beside, ...] = ()
    regions: Held | None = None
    seconds: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Unharmed:
    """What is proposed for a song that nobody harmed."""

    name: str
    findings: int
    moves: tuple[str, ...] = ()
    error: str = ""


class Bench:
    """Songs, the desks on which they lie, and what is known of them unharmed.

    Every such trial has `receipts`, and stands `beside` plans of few kinds. `throughout`: songs are harmed from end to
    end.
    """

    def __init__(
        self, folder: Path, songs: Sequence[Excerpt], receipts: int, beside: int, *, throughout: bool = False
    ) -> None:
        self._receipts, self._beside, self._throughout = receipts, beside, throughout
        self._folder, self._songs = folder, {song.name: song for song in songs}
        self._desks: dict[str, Desk] = {}
        self._sketched: dict[str, Sketched] = {}

    def desk(self, name: str) -> Desk:
        """Return the desk of an excerpt."""
        if name not in self._desks:
            self._desks[name] = Desk(self._folder / slug(name), self._songs[name])
        return self._desks[name]

    def sketched(self, name: str) -> Sketched:
        """Return the sketch of an excerpt."""
        if name not in self._sketched:
            self._sketched[name] = Sketched(self._songs[name])
        return self._sketched[name]

    def unharmed(self, name: str) -> Unharmed:
        """Plan an excerpt as it is."""
        desk = self.desk(name)
        desk.play(desk.excerpt, ())
        findings = len(desk.plain.findings)
        try:
            return Unharmed(name, findings, tuple(told(move) for move in proposed(desk.folder).moves))
        except (MixwrightError, ValueError, KeyError, IndexError) as error:
            return Unharmed(name, findings, error=f"{type(error).__name__}: {error}")

    def run(self, seed: int, number: int, say: Callable[[str], None]) -> Outcome:
        """Run the trial of a number.

        Raises
        ------
        LookupError
            where no draw leads to one
        """
        kind = KINDS[number % len(KINDS)]
        rng = np.random.default_rng((seed, number))
        names = [name for name in self._songs if kind != "same tilt" or "kick" in self._songs[name].layers]
        # Half of the trials on each song, as far as it has what the kind asks for.
        of = sorted({name.split(",")[0] for name in names})
        own = [name for name in names if name.startswith(of[number // len(KINDS) % len(of)])]
        clock, spent = time.process_time(), {}

        def took(what: str) -> None:
            nonlocal clock
            spent[what], clock = time.process_time() - clock, time.process_time()

        def draws(names: Sequence[str]) -> Iterator[tuple[Sketched, Harm]]:
            return drawn(names, self.sketched, lambda name: self.desk(name).inside(), rng, number, kind)

        for sketched, one in itertools.chain(draws(own), draws(names)):
            desk = self.desk(sketched.excerpt.name)
            found = self._harmed(sketched, desk, one)
            if found is None:
                continue
            harm, stage = found
            took("harm")
            fall = desk.plain.phon[harm.victim] - stage.phon.get(harm.victim, 0.0)
            say(f"{harm}, {fall:.1f} phon")
            ways = {"nothing": judged(desk, harm, stage, ())}
            ways["victim's fader"] = self._faded(sketched, desk, harm)
            took("fader")
            ways["plan"], asked = self._planned(desk, harm)
            took("plan")
            regions = held(asked, number)
            took("regions")
            plan, proofs, beside = ways["plan"], (), ()
            if plan.moves and number % self._receipts == 0:
                proofs = receipts(desk.folder)
                took("receipts")
            if plan.moves and plan.victim - ways["nothing"].victim > EQUAL_PHON and number % self._beside == 0:
                moves = desk.moves()
                beside = tuple(self._compared(desk, harm, ways["nothing"], plan, moves, what) for what in FEW_KINDS)
                took("beside")
            errors = tuple(one.error_phon for one in proofs if one.error_phon is not None)
            needless = tuple(one.id for one in proofs if one.needed is False)
            return Outcome(harm, fall, ways, errors, needless, len(proofs), beside, regions, spent)
        raise LookupError(f"trial {number}: no draw leads to one of {kind}")

    def _harmed(self, sketched: Sketched, desk: Desk, harm: Harm) -> tuple[Harm, Stage] | None:
        """Let the desk play a harm that is as large as it must be as heard; None where it would be too large."""
        asked = LEAST_PHON + 0.4
        least_db = 0.0
        for _ in range(_TRIES):
            one = scaled(sketched, harm, asked)
            if one is None or max(one.amount_db, least_db) > MOST_DB:
                return None
            if one.amount_db < least_db:
                one = replace(one, amount_db=round(least_db, 1))
            desk.play(harmed(sketched.excerpt, one, throughout=self._throughout), one.harmed)
            stage = desk.stage()
            fall = desk.plain.phon[one.victim] - stage.phon.get(one.victim, 0.0)
            outside = stage.outside(one.victim)
            if fall >= LEAST_PHON and outside:
                return one, stage
            asked += max(LEAST_PHON + 0.2 - fall, 0.0) if fall < LEAST_PHON else 1.5
            least_db = one.amount_db + 0.5
        return None

    def _faded(self, sketched: Sketched, desk: Desk, harm: Harm) -> Judged:
        """Raise the victim by the least that brings it back."""
        gain_db = raised_db(sketched, harm, NEAR_PHON)
        for _ in range(_TRIES):
            sections = (desk.excerpt.section.name,)
            move = Move(
                id=move_id("level", harm.victim, sections),
                kind="level",
                target=harm.victim,
                sections=sections,
                settings={"gain_db": round(min(gain_db, 24.0), 1)},
                state="accepted",
                by="engineer",
            )
            found = judged(desk, harm, desk.moved([move]), [move])
            if found.back:
                break
            gain_db += 1.0
        return found

    def _compared(
        self, desk: Desk, harm: Harm, nothing: Judged, plan: Judged, moves: Sequence[Move], what: str
    ) -> Beside:
        """Stand the plan beside one of few kinds of moves."""
        desk.move([])
        others = proposed(desk.folder, FEW_KINDS[what]).moves
        other = judged(desk, harm, desk.stage(), others)
        gains = plan.victim - nothing.victim, other.victim - nothing.victim
        least = min(gains)
        if least < EQUAL_PHON:
            return Beside(what, gains, (plan.lost, other.lost))
        found = [
            one if gain - least <= EQUAL_PHON else self._weaker(desk, harm, nothing, chosen, gain, least)
            for one, gain, chosen in zip((plan, other), gains, (moves, others), strict=True)
        ]
        one, two = found
        return Beside(what, (one.victim - nothing.victim, two.victim - nothing.victim), (one.lost, two.lost))

    def _weaker(
        self, desk: Desk, harm: Harm, nothing: Judged, moves: Sequence[Move], gain: float, wanted: float
    ) -> Judged:
        """Return what moves make at the strength at which the victim gains as much as wanted."""
        low, high = (0.0, 0.0), (1.0, gain)
        for _ in range(_TRIES):
            strength = low[0] + (high[0] - low[0]) * (wanted - low[1]) / max(high[1] - low[1], 1e-3)
            found = judged(desk, harm, desk.moved([changed(move, strength=strength) for move in moves]), moves)
            reached = found.victim - nothing.victim
            if abs(reached - wanted) <= EQUAL_PHON / 2.0:
                break
            low, high = ((strength, reached), high) if reached < wanted else (low, (strength, reached))
        return found

    def _planned(self, desk: Desk, harm: Harm) -> tuple[Judged, Asked]:
        desk.move([])
        try:
            found = proposed(desk.folder)
            one = judged(desk, harm, desk.stage(), found.moves)
            return replace(one, essential_db=found.essential_db), found.asked
        except (MixwrightError, ValueError, KeyError, IndexError) as error:
            return Judged(np.nan, False, {}, {}, error=f"{type(error).__name__}: {error}"), Asked()


def judged(desk: Desk, harm: Harm, stage: Stage, moves: Sequence[Move]) -> Judged:
    """Return what became of a harmed song that is heard so, with these moves."""
    plain = desk.plain.phon
    apart = {id_: stage.phon.get(id_, 0.0) - plain[id_] for id_ in desk.excerpt.judged if id_ in plain}
    return Judged(
        victim=apart[harm.victim],
        inside=not stage.outside(harm.victim),
        others={id_: one for id_, one in apart.items() if id_ not in (harm.victim, *harm.harmed)},
        harmed={id_: one for id_, one in apart.items() if id_ in harm.harmed},
        moves=tuple(told(move) for move in moves),
        aimed=any(target_ids(desk.excerpt, id_) & {move.target for move in moves} for id_ in harm.harmed),
    )


def told(move: Move) -> str:
    """Return a move in few words."""
    settings = " ".join(f"{name}={value:.4g}" for name, value in move.settings.items())
    return f"{move.kind} {move.target} {settings}" + (f" in {', '.join(move.sections)}" if move.sections else "")
