# SPDX-License-Identifier: Apache-2.0
"""Whether the ledger finds a masker that was planted: who is covered, where, in which band, and by whom. Seeded.

    python benchmarks/planted.py [--stems FOLDER] [--trials 60] [--controls 60] [--sweep 15] [--seed 1]

A trial. The victim is a lead or a support that sounds in at least 40 % of a section, in a band of a third to a whole
octave that holds at least a tenth of its loudness alone, of which at least 0.4 are left (cued) before. Planted is, a
third each, a boost of what a sounding layer has there, a held chord, or shaped noise, 10 dB above the victim in that
band over the time in which the victim sounds. In a third of the trials there are two maskers, 12 and 8 dB above. It is
found where the first of what `measure` tells to have grown since the mix without it (`mixwright.ledger.growth`) names
victim, section, masker (both, in order), and a band whose intersection with the planted one is at least half of their
union, both in octaves.

What a trial cannot tell is left out: a band in which the same would be true of a second lead or support. Controls are
of three kinds: 15 dB below the victim, which is the weakest of those who must be heard in the band; where the victim is
silent; in a bed's band. They harm nobody else: every lead or support that sounds in the section has less than a
twentieth of its loudness in the band, or is there at least 15 dB stronger than what is planted. They fail where
anything at all is told to have grown.

Each section is heard with 3 s of its neighbours. Beside it stand: *static*, the finding of the changed mix alone whose
band lost most anew, and in controls findings that are new (`planted_static`). *Nothing* finds nothing. *Overlap* is
what a plain spectrum shows: lead or support, other layer, section and third octave in which the energy that both have
at the same time grew most.

Mixes: the sources of the demo song in the faders of its rough mix, without what is wrong with it on purpose; or seven
stems of an electronic song in a mix of ours (`planting.STEMS`), with sections by the clock.
"""

from __future__ import annotations

import argparse
import functools
import itertools
import sys
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from planted_static import new_findings, static_grew_most
from planted_trials import CONTROLS, Bench, Named, Trial, drawn, grew, grew_most, heard, iou, overlap_grew_most, reason
from planting import KINDS, demo, stems

from mixwright.ledger.findings import cued_db
from mixwright.model.ledger import Finding, Growth

GOAL = {"demo": 0.90, "stems": 0.85}


@dataclass(frozen=True)
class Outcome:
    """A trial and what three methods make of it; `grew` and `new`: what a control raised."""

    trial: Trial
    named: Named | None
    failed: str
    static: str = ""
    overlap: str = ""
    grew: tuple[Growth, ...] = ()
    new: tuple[Finding, ...] = ()


def run(bench: Bench, seed: int, number: int, over_db: float = -10.0, control: str = "") -> Outcome:
    """Plant, hear and judge one trial."""
    trial, mix = drawn(bench, seed, number, over_db, control)
    plain, before = bench.before(trial.section)
    after = heard(mix, trial.section)
    growths = grew(before, after)
    named = grew_most(growths)
    if control:
        failed = "something grew" if growths else ""
        return Outcome(trial, named, failed, grew=growths, new=new_findings(before, after))
    static, overlap = static_grew_most(before, after), overlap_grew_most(plain, mix)
    return Outcome(trial, named, *(reason(trial, one) for one in (named, static, overlap)))


def told(outcome: Outcome) -> str:
    """Return a failure in enough detail to mend what finds."""
    named, trial = outcome.named, outcome.trial
    if named is None:
        return f"  {trial}: nothing grew"
    band = "no band" if named.band_hz is None else f"{named.band_hz[0]:.0f}-{named.band_hz[1]:.0f} Hz"
    text = f"{named.victim} in {named.section}, {band}, by {', '.join(named.by[:3])}, grew by {named.grew:.3f}"
    return f"  {trial}: {outcome.failed} (IoU {iou(named.band_hz, trial.band_hz):.2f}): {text}"


def table(outcomes: list[Outcome]) -> Iterator[str]:
    """Yield how many were found, by kind and number of maskers, beside what else there is, and why the rest failed."""
    groups: Mapping[str, Callable[[Trial], bool]] = {
        **{kind: functools.partial(lambda kind, trial: trial.kind == kind, kind) for kind in KINDS},
        "one masker": lambda trial: len(trial.maskers) == 1,
        "two maskers": lambda trial: len(trial.maskers) == 2,
        "all": lambda _: True,
    }
    yield f"{'':14}{'trials':>7}{'found':>8}{'static':>9}{'nothing':>9}{'overlap':>9}  reasons of the rest"
    for name, inside in groups.items():
        chosen = [one for one in outcomes if inside(one.trial)]
        if chosen:
            failures = ([getattr(one, by) for one in chosen] for by in ("failed", "static", "overlap"))
            found, static, plain = (100.0 * np.mean([not one for one in by]) for by in failures)
            why = Counter(one.failed for one in chosen if one.failed)
            reasons = ", ".join(f"{word} {count}" for word, count in why.most_common())
            yield f"{name:14}{len(chosen):7}{found:7.0f} %{static:7.0f} %{0:7.0f} %{plain:7.0f} %  {reasons}"


def benched(bench: Bench, trials: int, seed: int, controls: int, sweep: int) -> bool:
    """Print the tables of one song; return whether its goal is met."""
    print(f"\n{bench.name}: {len(bench.mix.layers)} layers, {len(bench.mix.sections)} sections, seed {seed}")
    outcomes = []
    for number in range(trials):
        outcomes.append(run(bench, seed, number))
        if outcomes[-1].failed:
            print(told(outcomes[-1]), flush=True)
    print(*table(outcomes), sep="\n", flush=True)
    met = not trials or float(np.mean([not one.failed for one in outcomes])) >= GOAL[bench.name]
    if controls:
        raised = list(itertools.islice(harmless(bench, seed), controls))
        wrong = [one for one in raised if one.failed]
        by = ", ".join(f"{name} {_of(wrong, name)} of {_of(raised, name)}" for name in CONTROLS)
        print(f"controls: {len(raised)}, something grew in {len(wrong)} ({_percent(wrong, raised)}): {by}")
        print(
            *(f"  {one.trial.control} {one.trial}: {_grew(one)}" for one in wrong), sep="\n", end="\n" if wrong else ""
        )
        fresh = [one for one in raised if one.new]
        print(f"  static: a new finding in {len(fresh)} ({_percent(fresh, raised)})", flush=True)
        met = met and len(wrong) <= 0.05 * controls
    for over_db in (-5.0, 0.0, 5.0) if sweep else ():
        outcomes = [run(bench, seed, number, over_db) for number in range(sweep)]
        found = 100.0 * np.mean([not one.failed for one in outcomes])
        why = Counter(one.failed for one in outcomes if one.failed)
        print(f"victim {over_db:+.0f} dB: {found:.0f} % of {sweep} found; {dict(why)}", flush=True)
    return met


def harmless(bench: Bench, seed: int) -> Iterator[Outcome]:
    """Yield controls of each kind and each way of planting, without those for which a song has no room."""
    room = dict.fromkeys(range(len(CONTROLS) * len(KINDS)), True)
    for number in itertools.count():
        kind = number % len(room)
        if not any(room.values()):
            return
        if room[kind]:
            try:
                yield run(bench, seed, number, control=CONTROLS[kind // len(KINDS)])
            except LookupError:
                room[kind] = False


def _of(outcomes: list[Outcome], control: str) -> int:
    return sum(one.trial.control == control for one in outcomes)


def _percent(some: list[Outcome], of: list[Outcome]) -> str:
    return f"{100.0 * len(some) / len(of):.0f} %"


def _grew(outcome: Outcome) -> str:
    return "; ".join(
        f"{one.track} in {one.section}, {one.band_hz[0]:.0f}-{one.band_hz[1]:.0f} Hz, "
        f"{cued_db(one.size_db):.2f} dB, {one.excess_db:.2f} over"
        for one in outcome.grew
    )


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stems", type=Path, help="a folder of the seven stems; without it the demo song")
    parser.add_argument("--trials", type=int)
    parser.add_argument("--controls", type=int)
    parser.add_argument("--sweep", type=int, default=15, help="trials at each other level")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    bench = Bench("stems", stems(given.stems)) if given.stems else Bench("demo", demo())
    trials = (40 if given.stems else 60) if given.trials is None else given.trials
    met = benched(bench, trials, given.seed, trials if given.controls is None else given.controls, given.sweep)
    print("met" if met else "NOT MET")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
