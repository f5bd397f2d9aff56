# SPDX-License-Identifier: Apache-2.0
"""What a result asks a person to look at, and which of its checks failed."""

from __future__ import annotations

from mixwright.model.audio import Fault
from mixwright.model.chain import ChainResult
from mixwright.model.dynamics import Dynamics
from mixwright.model.levels import Levels
from mixwright.model.preview import PreviewResult
from mixwright.model.prints import DeliverResult, VerifyResult
from mixwright.model.record import Record
from mixwright.model.results import (
    CheckResult,
    MeasureResult,
    MixResult,
    RefreshResult,
    RelinkResult,
    StartResult,
)
from mixwright.report.chains import chain_warnings
from mixwright.report.figures import clock, with_unit
from mixwright.report.preview import loud_caution

#: A limiter that takes off more is told of: common practice, no source.
LIMITED_DB = 6.0


def warnings_of(result: Record) -> tuple[str, ...]:
    """Return what needs a look, one sentence each; empty where nothing does.

    Faults that are only good to know are left to the result itself.
    """
    if isinstance(result, StartResult):
        found = [line for t in result.tracks for line in _faults(t.file, t.faults)]
        return (*found, *result.notes)
    if isinstance(result, CheckResult):
        return tuple(line for f in result.files for line in _faults(f.file, f.faults))
    if isinstance(result, RelinkResult):
        return tuple(f"{lost.file}: {lost.why}" for lost in result.missing)
    if isinstance(result, RefreshResult):
        found = [line for t in result.added for line in _faults(t.file, t.faults)]
        found += [f"{track.file}: changed since it was received" for track in result.changed]
        return (*found, *(f"{track.file}: missing" for track in result.missing))
    if isinstance(result, MeasureResult):
        return (*_over("The mix", result.mix), *_limited(result.dynamics))
    if isinstance(result, ChainResult):
        return chain_warnings(result)
    if isinstance(result, PreviewResult):
        softer = [f"{file.file}: {file.why}" for file in result.files if file.why]
        return (*filter(None, [loud_caution(result)]), *softer)
    if isinstance(result, MixResult):
        over = _over(result.file, result.levels) if result.sample_format != "float32" else ()
        return (*over, *_limited(result.dynamics))
    return ()


def failed_checks(result: Record) -> tuple[str, ...]:
    """Return the checks that did not hold, one sentence each."""
    if isinstance(result, DeliverResult | VerifyResult):
        return tuple(f"{check.name}: {check.detail}" for check in result.checks if not check.passed)
    if isinstance(result, CheckResult):
        together = tuple(f"{c.name}: {c.detail}" for c in result.checks if not c.passed)
        return (*(f"{f.file}: {c.name}: {c.detail}" for f in result.files for c in f.checks if not c.passed), *together)
    return ()


def _faults(file: str, faults: tuple[Fault, ...]) -> list[str]:
    return [f"{file}: {fault.detail or fault.kind}" for fault in faults if fault.severity != "note"]


def _over(what: str, levels: Levels) -> tuple[str, ...]:
    peak = levels.true_peak_dbtp
    if peak is None or peak <= 0.0:
        return ()
    return (f"{what}: true peak {with_unit(peak, 'dBTP', sign=True)}, above full scale; lower the fader of the master",)


def _limited(dynamics: Dynamics | None) -> tuple[str, ...]:
    reductions = () if dynamics is None else dynamics.reductions
    return tuple(
        f"The limiter takes off more than {LIMITED_DB:g} dB: {with_unit(found.largest_reduction_db, 'dB')} "
        f"at {clock(found.largest_at_s, tenths=True)}"
        for found in reductions
        if found.processor == "limiter" and found.largest_reduction_db > LIMITED_DB
    )
