# SPDX-License-Identifier: Apache-2.0
"""The arrangement in sentences: what a section lacks, asked; what nobody would miss; what lies in one place."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.errors import with_and
from mixwright.model.arrangement import HIGH_HZ, LOW_HZ, Arrangement, Job, MissingJob, SharedPlace, WallHole
from mixwright.model.hearing import HearingResult
from mixwright.report.figures import clock, count, hertz, number
from mixwright.report.heard import layer_names
from mixwright.report.rows import wrapped
from mixwright.units import band_words

#: So many are named of each kind; all of them are in JSON.
_MOST = 3
#: What two layers share is told from here on.
_TOLD_SHARED = 0.6
_JOBS: dict[Job, str] = {
    "held chord": "no layer holds a chord",
    "pulse": "no layer pulses",
    "high": f"next to nothing sounds above {hertz(HIGH_HZ)}",
    "low": f"next to nothing sounds below {hertz(LOW_HZ)}",
}


def arrangement_lines(hearing: HearingResult | None) -> list[str]:
    """Return what is worth saying of the arrangement, a wrapped sentence each; none where nothing is."""
    if hearing is None:
        return []
    told = [*questions(hearing), *facts(hearing)]
    return ["", "Arrangement:", *(line for one in told for line in wrapped(one, "  ", "    "))] if told else []


def questions(hearing: HearingResult) -> list[str]:
    """Return what sections lack beside their neighbours, as questions, the first few of each kind."""
    found, names = hearing.arrangement, layer_names(hearing)
    return [
        *_few([hole_words(hole) for hole in found.holes], "hole"),
        *_few([_missing_words(one, names) for one in found.missing], "section"),
    ]


def facts(hearing: HearingResult) -> list[str]:
    """Return layers that are never heard, twins, and pairs that share most, the first few of each kind."""
    found, names = hearing.arrangement, layer_names(hearing)
    never = [
        f"{names.get(one.layer, one.layer)} is never heard: without it the mix changes by "
        f"{number(one.loudness_lu, 2)} LU, and no third-octave by more than {number(one.third_octave_db, 2)} dB."
        for one in found.never_heard
    ]
    twins = [
        f"{_pair(one.layers, names)} do nearly the same wherever they sound: {100 * one.share:.0f} % of their energy "
        "lies in the same place at the same time."
        for one in found.twins
    ]
    return [*_few(never, "layer"), *_few(twins, "pair"), *_shared_words(found, names)]


def hole_words(hole: WallHole) -> str:
    """Return a hole of the wall as a question."""
    when = f"{clock(hole.start_s)} to {clock(hole.end_s)}"
    return (
        f"In {hole.section} ({when}) there is {number(hole.depth_db, 0)} dB less between "
        f"{band_words(hole.low_hz, hole.high_hz, ' and ')} than in {with_and(hole.beside)} beside it: is that meant?"
    )


def _missing_words(one: MissingJob, names: dict[str, str]) -> str:
    who = [names.get(id_, id_) for id_ in one.done_by]
    does = {"held chord": "hold" if len(who) > 1 else "holds", "pulse": "pulse" if len(who) > 1 else "pulses"}
    there = f"{_named(who)} {does.get(one.job, 'do' if len(who) > 1 else 'does')}" if who else "others do"
    return f"In {one.section} {_JOBS[one.job]}; in {with_and(one.beside)} beside it {there}: is that meant?"


def _shared_words(found: Arrangement, names: dict[str, str]) -> list[str]:
    """Return the pairs that share most, each with the sections in which it does."""
    twins = {one.layers for one in found.twins}
    pairs: dict[tuple[str, str], list[SharedPlace]] = {}
    for one in found.shared:
        if one.share >= _TOLD_SHARED and one.layers not in twins:
            pairs.setdefault(one.layers, []).append(one)
    told = []
    for layers, places in pairs.items():
        band = band_words(min(one.low_hz for one in places), max(one.high_hz for one in places), " and ")
        where = [name for name in found.sections if name in {one.section for one in places}]
        told.append(
            f"{_pair(layers, names)} share up to {100 * places[0].share:.0f} % of their energy in {_named(where)}, "
            f"most of it between {band}."
        )
    return _few(told, "pair")


def _few(told: Sequence[str], what: str) -> list[str]:
    more = len(told) - _MOST
    return [*told[:_MOST], f"And {count(more, f'more {what}')} of this kind, in JSON."] if more > 0 else list(told)


def _pair(layers: tuple[str, str], names: dict[str, str]) -> str:
    return with_and([names.get(id_, id_) for id_ in layers])


def _named(names: Sequence[str]) -> str:
    """Return names in a sentence: the first few, and how many more."""
    if len(names) > _MOST:
        return f"{', '.join(names[:_MOST])} and {len(names) - _MOST} more"
    return with_and(names)
