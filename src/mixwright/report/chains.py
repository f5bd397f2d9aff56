# SPDX-License-Identifier: Apache-2.0
"""A chain of inserts in words, with what was measured after each."""

from __future__ import annotations

import functools
import shlex

from mixwright.model.chain import ChainResult, ChainStage
from mixwright.model.colour_inserts import BassHarmonics, LowEnd, Saturation, Width
from mixwright.model.dynamics_inserts import Clipper, Compressor, DeEsser, Expander, Levels, Transients
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand
from mixwright.model.insert import Insert, KeyedInsert
from mixwright.model.keyed_inserts import Dip, Duck, Peaks
from mixwright.report.figures import capital, count, hertz, number, with_unit
from mixwright.report.rows import rows, wrapped

_NAMES = {"de_esser": "de-esser"}
_HEAD = ("", "stage", "after", "louder by", "gain", "true peak", "takes off")


def chain_text(result: ChainResult, song: str) -> list[str]:
    """Return what goes in, each stage in words with what comes out of it, and what comes next."""
    notes = [line for note in result.notes for line in wrapped(note)]
    if not result.stages:
        return [*notes, f"{result.name} has no inserts."]
    goes_in = f"{with_unit(result.in_lufs, 'LUFS')}, true peak {with_unit(result.true_peak_in_dbtp, 'dBTP')}"
    lines = [*notes, f"{result.name}: {count(len(result.stages), 'insert')}. In goes {goes_in}.", ""]
    lines += rows(_HEAD, [_row(k, stage) for k, stage in enumerate(result.stages)], right="02345")
    if warnings := chain_warnings(result):
        lines += ["", *(line for told in warnings for line in wrapped(told))]
    if result.saved:
        lines += ["", f"Saved: {result.saved}"]
    loose = sum(stage.insert.on and not stage.held for stage in result.stages)
    if loose and result.asked_to_hold:
        lines += ["", capital(f"{count(loose, 'stage')} could not be held: silent, automated, or beyond 60 dB.")]
    elif loose:
        lines += ["", capital(f"{count(loose, 'stage')} not as loud as what goes in. Next:")]
        lines += [f"  mixwright chain {shlex.quote(song)} {result.target} --hold"]
    return lines


def chain_warnings(result: ChainResult) -> tuple[str, ...]:
    """Return which stages overload what comes after them, one sentence each."""
    told = [("what goes in", result.true_peak_in_dbtp, result.overloads, "lower the trim")]
    told += [
        (f"{stage.at} ({stage_name(stage.insert)})", stage.true_peak_dbtp, stage.overloads, "lower its gain_db")
        for stage in result.stages
    ]
    return tuple(
        f"{result.target}: {who} peaks at {with_unit(peak, 'dBTP', sign=True)} and overloads the {over}; {mend}"
        for who, peak, over, mend in told
        if over
    )


def stage_name(insert: Insert) -> str:
    """Return what an insert is called: its processor."""
    name = str(insert.__struct_config__.tag)
    return _NAMES.get(name, name.replace("_", " "))


def _row(k: int, stage: ChainStage) -> tuple[str, ...]:
    name = f"{stage_name(stage.insert)} {_does(stage.insert)}".strip()
    more = None
    if stage.in_lufs is not None and stage.out_lufs is not None:
        more = stage.out_lufs - stage.in_lufs
    off = ""
    if stage.reduction_max_db is not None:
        off = f"{number(stage.reduction_mean_db)}, most {with_unit(stage.reduction_max_db, 'dB')}"
    return (
        str(k),
        name if stage.insert.on else f"{name}: bypassed",
        with_unit(stage.out_lufs, "LUFS"),
        with_unit(more, "LU", sign=True),
        with_unit(stage.gain_db, "dB", 2, sign=True),
        with_unit(stage.true_peak_dbtp, "dBTP"),
        off,
    )


def _does(insert: Insert) -> str:
    """Return what an insert does, and where."""
    parts = [_words(insert)]
    if isinstance(insert, KeyedInsert) and insert.key:
        parts.append(f"by {insert.key}")
    if insert.mix < 1.0:
        parts.append(f"{insert.mix * 100:g} %")
    if insert.works_on != "both":
        parts.append(f"on the {insert.works_on}")
    if insert.sections:
        parts.append(f"in {', '.join(insert.sections)}")
    return " ".join(part for part in parts if part)


@functools.singledispatch
def _words(insert: Insert) -> str:  # noqa: ARG001
    return ""


@_words.register
def _filters(insert: Filters) -> str:
    passes = (("high-pass", insert.high_pass), ("low-pass", insert.low_pass))
    parts = [f"{what} {hertz(one.hz)}" for what, one in passes if one is not None]
    return ", ".join([*parts, *map(_band, insert.bands)])


def _band(band: EqBand) -> str:
    kind = "" if band.kind == "bell" else f"{band.kind.replace('_', ' ')} "
    gain = "" if band.kind in ("notch", "band_pass") else f"{with_unit(band.gain_db, 'dB', sign=True)} at "
    return f"{kind}{gain}{hertz(band.hz)}"


@_words.register
def _compressor(insert: Compressor) -> str:
    return f"{insert.ratio:g}:1 above {insert.threshold_db:g} dB"


@_words.register
def _expander(insert: Expander) -> str:
    return f"1:{insert.ratio:g} below {insert.threshold_db:g} dB"


@_words.register
def _transients(insert: Transients) -> str:
    return f"attack {insert.attack_db:+g} dB, sustain {insert.sustain_db:+g} dB"


@_words.register
def _de_esser(insert: DeEsser) -> str:
    return f"{insert.mode} at {hertz(insert.hz)}, at most {insert.range_db:g} dB"


@_words.register
def _levels(insert: Levels) -> str:
    return f"{len(insert.ranges)} ranges"


@_words.register
def _clipper(insert: Clipper) -> str:
    return f"at {insert.ceiling_db:g} dB"


@_words.register
def _saturation(insert: Saturation) -> str:
    return f"{insert.curve}, drive {insert.drive_db:g} dB"


@_words.register
def _bass_harmonics(insert: BassHarmonics) -> str:
    return f"of {hertz(insert.low_hz)} to {hertz(insert.high_hz)}"


@_words.register
def _low_end(insert: LowEnd) -> str:
    return f"below {hertz(insert.hz)} towards {insert.target_db:g} dB"


@_words.register
def _width(insert: Width) -> str:
    return " | ".join(f"{width:g}" for width in insert.widths)


@_words.register
def _dip(insert: Dip) -> str:
    return ", ".join(hertz(band.hz) for band in insert.bands)


@_words.register
def _duck(insert: Duck) -> str:
    return ", ".join(f"{rule.depth_db:g} dB" for rule in insert.rules)


@_words.register
def _peaks(insert: Peaks) -> str:
    return f"{hertz(insert.low_hz)} to {hertz(insert.high_hz)}, at most {insert.most_db:g} dB"
