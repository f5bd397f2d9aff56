# SPDX-License-Identifier: Apache-2.0
"""Whatever an insert's settings within the ranges that its model states (msgspec's Meta), its contract holds.

Ends of ranges are drawn as often as what lies between, at rates from 8 to 384 kHz. Settings that do not fit the rate or
one another are refused by SettingError.
"""

from __future__ import annotations

from typing import get_args

import msgspec
import msgspec.inspect as kinds
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.processors.test_processors import phrases, run
from mixwright.engine.chain import Chain
from mixwright.engine.inserts import Clock, insert_operations
from mixwright.engine.lanes import FrameLane
from mixwright.engine.processors import operations_of
from mixwright.errors import SettingError
from mixwright.model.colour_inserts import BassHarmonics, Width
from mixwright.model.dynamics_inserts import Levels
from mixwright.model.inserts import AnyInsert
from mixwright.model.keyed_inserts import Dip, Duck, Peaks
from mixwright.model.song import changed

RATES_HZ = [8000, 44100, 48000, 96000, 192000, 384000]
FRAMES = 700
SIGNALS = {
    "phrases": phrases(FRAMES, 2),
    "+100 dB": 1e5 * phrases(FRAMES, 2),
    "largest float": np.where(np.arange(2 * FRAMES).reshape(-1, 2) % 7 < 3, 1.0, -1.0) * np.finfo(np.float32).max,
    "impulse": np.eye(FRAMES, 2),
    "denormals": np.full((FRAMES, 2), 5e-324),
    "one side": phrases(FRAMES, 2) * [1.0, 0.0],
}


def values(kind, rate_hz, name=""):
    """Return a strategy for a setting of a type as msgspec sees it; frequencies fit the rate more often than not."""
    match kind:
        case kinds.FloatType():
            low, high = kind.ge, kind.le
            if name.endswith("hz"):
                high = min(high, 0.4999 * rate_hz)
            return st.sampled_from([low, high]) | st.floats(low, high)
        case kinds.IntType():
            return st.sampled_from([kind.ge, kind.le]) | st.integers(kind.ge, kind.le)
        case kinds.BoolType():
            return st.booleans()
        case kinds.NoneType():
            return st.none()
        case kinds.LiteralType():
            return st.sampled_from(kind.values)
        case kinds.StrType():
            return st.sampled_from(["", "voice"])
        case kinds.UnionType():
            return st.one_of([values(one, rate_hz, name) for one in kind.types])
        case kinds.VarTupleType():
            return st.lists(
                values(kind.item_type, rate_hz, name), min_size=kind.min_length or 0, max_size=kind.max_length
            ).map(tuple)
    return st.builds(
        kind.cls,
        **{f.name: values(f.type, rate_hz, f.name) for f in kind.fields if f.name != "sections"},
    )


def fitting(insert):
    """Return an insert whose settings fit one another: ranges one more than splits, edges from low to high, a key."""
    if isinstance(insert, Levels):
        hz = sorted({*insert.hz, 50.0, 500.0})[:4]
        return changed(insert, hz=tuple(hz), ranges=(2 * insert.ranges)[: len(hz) + 1])
    if isinstance(insert, Width):
        splits = sorted(set(insert.splits_hz))
        return changed(insert, splits_hz=tuple(splits), widths=(4 * insert.widths)[: len(splits) + 1])
    if isinstance(insert, (Peaks, BassHarmonics)):
        return changed(insert, low_hz=min(insert.low_hz, insert.high_hz), high_hz=max(insert.low_hz, insert.high_hz))
    return changed(insert, key="voice") if isinstance(insert, (Dip, Duck)) else insert


@st.composite
def cases(draw, kind):
    rate_hz = draw(st.sampled_from(RATES_HZ))
    return rate_hz, fitting(draw(values(kinds.type_info(kind), rate_hz)))


@pytest.mark.parametrize("kind", get_args(AnyInsert))
@settings(max_examples=25)
@given(data=st.data())
def test_any_settings_keep_the_contract(kind, data):
    rate_hz, insert = data.draw(cases(kind))
    audio = SIGNALS[data.draw(st.sampled_from(sorted(SIGNALS)))][:, : data.draw(st.sampled_from([1, 2]))]
    key = SIGNALS[data.draw(st.sampled_from(sorted(SIGNALS)))].astype(np.float32)
    try:
        operations = operations_of(insert, rate_hz)
    except SettingError:
        return
    gains = np.empty((FRAMES, Chain(operations, audio.shape[1]).gains), dtype=np.float32)
    out = run(operations, audio, key, gains=gains)
    assert np.isfinite(out).all()
    assert np.isfinite(gains).all()
    assert np.array_equal(run(operations, audio, key, [255, 1, 2, 0, 442]), out)
    assert np.array_equal(run(operations, audio, key, gains=gains, replay=True), out)
    assert not run(operations, np.zeros_like(audio), key).any()


def numbers(data, path=""):
    """Yield the paths of all numbers that may move in settings as plain data."""
    if isinstance(data, dict):
        for name, value in data.items():
            yield from numbers(value, f"{path}.{name}" if path else name)
    elif isinstance(data, list):
        for k, value in enumerate(data):
            yield from numbers(value, f"{path}[{k}]")
    elif isinstance(data, float):
        yield path


def type_at(kind, path):
    """Return the type of the number at a path."""
    for step in path.replace("[", ".[").split("."):
        if isinstance(kind, kinds.UnionType):
            kind = next(one for one in kind.types if not isinstance(one, kinds.NoneType))
        if step.startswith("["):
            kind = kind.item_type
        else:
            kind = next(field.type for field in kind.fields if field.name == step)
    if isinstance(kind, kinds.UnionType):
        kind = next(one for one in kind.types if isinstance(one, kinds.FloatType))
    return kind


@pytest.mark.parametrize("kind", get_args(AnyInsert))
@settings(max_examples=25)
@given(data=st.data())
def test_any_number_moves_anywhere_or_is_refused_before(kind, data):
    rate_hz, insert = data.draw(cases(kind))
    path = data.draw(st.sampled_from(sorted({*numbers(msgspec.to_builtins(insert))} - {"mix"})))
    value = values(type_at(kinds.type_info(kind), path), rate_hz, path)
    lane = FrameLane(((100, data.draw(value)), (500, data.draw(value))))
    audio = SIGNALS[data.draw(st.sampled_from(["phrases", "+100 dB", "one side"]))]
    try:
        (operations,) = insert_operations([insert], Clock(0, rate_hz), {}, {f"inserts[0].{path}": lane}, ["here"])
    except SettingError as error:
        data.draw(st.just(str(error)))
        return
    gains = np.empty((FRAMES, Chain(operations, 2).gains), dtype=np.float32)
    out = run(operations, audio, gains=gains)
    assert np.isfinite(out).all()
    assert np.isfinite(gains).all()
    assert np.abs(gains).max(initial=0.0) < 64.0
    assert np.array_equal(run(operations, audio, sizes=[255, 1, 2, 0, 442]), out)
    assert not run(operations, np.zeros_like(audio)).any()
