# SPDX-License-Identifier: Apache-2.0
"""The sentences that text and page share."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from mixwright.errors import listed
from mixwright.model.audio import Fault
from mixwright.model.dynamics import Dynamics, GainReduction
from mixwright.model.results import PlannedMove, PrintFit, SendLevel, Spread, StartResult, TrackIntake, TrackLevels
from mixwright.model.song import MASTER
from mixwright.model.words import FAULT_WORDS
from mixwright.report.figures import (
    capital,
    clock,
    count,
    number,
    position,
    setting,
    setting_value,
    with_unit,
)

#: A layer this near to the edge of an interval still counts as inside: less than a step anyone hears.
EDGE_LU = 0.05
_LEAST_REDUCTION_DB = 0.05
_LEAST_TRIM_DB = 0.005
#: 24 bits of a loud mix leave less.
_NEXT_TO_NOTHING_DB = -120.0
#: Mixes whose reverb lay at or above this were all called too wet.
_TOO_WET_LU = -9.0


class SortedIntake(NamedTuple):
    """The received tracks, each in one place; `left_out` are those that could be used but take no part, as a click."""

    ready: list[TrackIntake]
    look: list[TrackIntake]
    left_out: list[TrackIntake]
    unusable: list[TrackIntake]


def sorted_intake(tracks: Sequence[TrackIntake]) -> SortedIntake:
    """Return the tracks that are ready, that need a look, that are left out, and that cannot be used."""
    found = SortedIntake([], [], [], [])
    for track in tracks:
        severities = {fault.severity for fault in track.faults}
        if "unusable" in severities:
            found.unusable.append(track)
        elif not track.use:
            found.left_out.append(track)
        elif "look" in severities:
            found.look.append(track)
        else:
            found.ready.append(track)
    return found


def intake_counts(result: StartResult) -> str:
    """Return how many tracks are ready, need a look, are left out, cannot be used."""
    found = sorted_intake(result.tracks)
    need = "needs" if len(found.look) == 1 else "need"
    left_out = f", {len(found.left_out)} left out" if found.left_out else ""
    return f"{len(found.ready)} ready, {len(found.look)} {need} a look{left_out}, {len(found.unusable)} cannot be used."


def left_aside(result: StartResult) -> str:
    """Return what was left aside in the folder, in one sentence; empty where nothing was."""
    system, other = result.system_files, result.ignored_files - result.system_files
    told = [f"{count(system, 'file')} of the operating system"] if system else []
    told += [f"{count(other, 'other file')}"] if other else []
    return f"Left aside: {' and '.join(told)}." if told else ""


def fault_sentence(fault: Fault) -> str:
    """Return a fault, where it is, and what was found."""
    when = "" if fault.at_s is None else f" at {clock(fault.at_s, tenths=True)}"
    detail = f": {fault.detail}" if fault.detail else ""
    return f"{FAULT_WORDS[fault.kind]}{when}{detail}"


def good_to_know(tracks: Sequence[TrackIntake]) -> list[str]:
    """Return what is only good to know: one sentence for each thing, with the tracks that it is true of."""
    alike: dict[str, list[str]] = {}
    for track in tracks:
        for fault in track.faults:
            if fault.severity == "note":
                alike.setdefault(fault_sentence(fault), []).append(track.file)
    return [f"{listed(files, 3)}: {told}" for told, files in alike.items()]


def distance(value: float, spread: Spread) -> float:
    """Return how far a value lies outside an interval: negative below it, positive above, 0 inside."""
    if value < spread.low - EDGE_LU:
        return value - spread.low
    return value - spread.high if value > spread.high + EDGE_LU else 0.0


def outside(track: TrackLevels) -> str:
    """Return where a layer stands beside the interval of the engineers, in words."""
    if track.re_mix_lu is None:
        return "not heard"
    if track.spread is None:
        return ""
    off = distance(track.re_mix_lu, track.spread)
    if off == 0.0:
        return "inside"
    return f"{number(abs(off))} LU {'above' if off > 0 else 'below'}"


def reason_alone(reason: str, name: str) -> str:
    """Return the reason of a move without the words before a colon that say what to do to `name`, if it has them."""
    head, colon, rest = reason.partition(": ")
    says_what = colon and name.lower() in head.lower() and head.split()[0] in ("Raise", "Lower", "Pan", "Place")
    return capital(rest) if says_what else reason


def before_after(move: PlannedMove) -> list[str]:
    """Return each figure that is measured, and predicted to be another: ``name value now, value then``."""
    told = []
    for key, now in move.measured.items():
        if key not in move.predicted or key == "integrated_lufs":
            continue
        then = setting_value(key, move.predicted[key])
        if then != setting_value(key, now):
            told.append(f"{setting(key, now)} now, {then} then")
    return told


def spread_sentence(spread: Spread) -> str:
    """Return the interval that engineers hold, as one sentence."""
    if spread.unit == "dbtp":
        return f"The peak is commonly left between {number(spread.low)} and {with_unit(spread.high, 'dBTP')}."
    if spread.unit == "position":
        between = f"{position(spread.low)} and {position(spread.high)}"
    else:
        unit = "LU beside the mix" if spread.unit == "lu_re_mix" else "dB"
        between = f"{number(spread.low)} and {with_unit(spread.high, unit)}"
    return f"Engineers hold it between {between}."


def print_fit_sentence(fit: PrintFit) -> str:
    """Return how far the layers add up to the print of the mix."""
    head = f"Layers against the print {fit.file}: "
    if fit.residual_db is None:
        return head + "one of the two is silent where they meet, so there is nothing to compare."
    left = "next to nothing" if fit.residual_db <= _NEXT_TO_NOTHING_DB else with_unit(fit.residual_db, "dB")
    turned = "; the print is inverted against them" if fit.polarity == "inverted" else ""
    return f"{head}what is left over is {left}{turned}."


def dynamics_sentences(dynamics: Dynamics | None) -> list[str]:
    """Return what each compressor and the limiter takes off the mix, one sentence each."""
    if dynamics is None:
        return []
    told = [_reduction(reduction) for reduction in dynamics.reductions]
    trim_db = -(dynamics.limiter_trim_db or 0.0)
    if trim_db >= _LEAST_TRIM_DB:
        told.append(f"Behind the limiter all is {number(trim_db, 2)} dB lower, so that true peaks keep its ceiling.")
    return told


def _reduction(found: GainReduction) -> str:
    on = "the master" if found.on == MASTER else found.on
    name = "The limiter" if found.processor == "limiter" else f"The {found.processor} of {on}"
    if found.largest_reduction_db < _LEAST_REDUCTION_DB:
        return f"{name} takes nothing off."
    most = f"{number(found.largest_reduction_db)} dB at most, at {clock(found.largest_at_s, tenths=True)}"
    return f"{name} takes off {most}; {number(found.mean_reduction_db)} dB on average."


def send_sentence(send: SendLevel) -> str:
    """Return how loud the return of a send is beside what feeds it."""
    fed = listed(send.fed_by)
    if send.wet_to_dry_lu is None:
        return f"{send.name}, fed by {fed}: silent."
    told = f"{send.name}, fed by {fed}: {with_unit(send.wet_to_dry_lu, 'LU')} beside the dry sound."
    if send.reverb is not None and send.wet_to_dry_lu >= _TOO_WET_LU:
        told += " Every mix that wet was called too wet (De Man et al. 2017)."
    return told
