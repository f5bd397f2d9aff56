# SPDX-License-Identifier: Apache-2.0
"""Figures of a layer over stretches of a song: by plain loops over the cells."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixwright.hearing.attribution import Taken
from mixwright.hearing.bands import BANDS, PLACES, band_places
from mixwright.hearing.heard import ALONE, BAND_CELLS, CELL_S, CUED, Heard
from mixwright.hearing.statistics import bands_of, kept_by_second, taken_by


def heard(alone: np.ndarray, cued_share: np.ndarray | float) -> Heard:
    total = np.stack([alone, 0.5 * alone * cued_share, alone * cued_share]).astype(np.float32)
    blocks = -(-len(alone) // BAND_CELLS)
    bands = np.zeros((3, blocks, BANDS), dtype=np.float32)
    bands[:, :, 3] = 1.0
    return Heard(total, bands, np.zeros(total.shape[1], dtype=np.float32))


@given(st.integers(1, 500), st.integers(0, 2**32 - 1))
def test_every_second_by_a_plain_loop(cells, seed):
    rng = np.random.default_rng(seed)
    one = heard(rng.uniform(0.0, 0.5, cells) * (rng.uniform(size=cells) < rng.uniform()), rng.uniform(0, 1.05, cells))
    expected: list[int | None] = []
    while len(expected) < (cells - 1) * CELL_S:
        last = len(expected) + 1 >= (cells - 1) * CELL_S
        inside = [
            k for k in range(cells) if k * CELL_S >= len(expected) - 1e-9
            and (last or k * CELL_S < len(expected) + 1 - 1e-9)
        ]  # fmt: skip
        sounding = [k for k in inside if one.total[ALONE, k] > 0.05]
        if len(sounding) < 0.1 * len(inside):
            expected.append(None)
            continue
        alone = sum(float(one.total[ALONE, k]) for k in sounding)
        kept = sum(min(float(one.total[CUED, k]), float(one.total[ALONE, k])) for k in sounding)
        expected.append(round(100.0 * kept / alone) if sounding else 0)
    assert kept_by_second(one) == tuple(expected)


def test_silence_has_no_share_and_all_is_a_hundred():
    alone = np.repeat([1.0, 0.0, 1.0], 63)[: round(3 / CELL_S)]
    alone[63:126] = 0.0
    assert kept_by_second(heard(alone, 1.0)) == (100, None, 100)


def taken(*by_band: tuple[int, float, float]) -> Taken:
    """Three layers; of the first, in these bands, the second and the third take so much."""
    cued = np.zeros((3, 3, PLACES))
    for band, second, third in by_band:
        cued[0, 1, band_places()[band]], cued[0, 2, band_places()[band]] = second, third
    zero = np.zeros((3, PLACES))
    return Taken(("a", "b", "c"), cued, cued, cued.sum(axis=1), cued.sum(axis=1), zero)


def test_takers_of_a_band_and_of_all_bands():
    parts = [taken((3, 1.0, 0.0), (5, 0.0, 2.0)), taken((3, 1.0, 4.0))]
    found = bands_of(heard(np.ones(200), 0.5), parts, [10.0, 20.0], 0)
    told = [{one.track: one.fraction for one in band.taken_by} for band in found]
    # Band 3: b takes 10 and 20, c 80; band 5: c alone. Together b takes 30 of 130.
    assert told[3] == pytest.approx({"b": 30 / 110, "c": 80 / 110}, abs=1e-5)
    assert told[5] == {"c": 1.0}
    assert told[0] == {}
    whole = {one.track: one.fraction for one in taken_by(parts, [10.0, 20.0], 0)}
    assert whole == pytest.approx({"b": 30 / 130, "c": 100 / 130}, abs=1e-5)
    assert taken_by([], [], 0) == ()


def test_no_more_than_three_are_named_in_a_band():
    cued = np.zeros((6, 6, PLACES))
    cued[0, 1:, band_places()[3]] = (5.0, 1.0, 4.0, 2.0, 3.0)
    zero = np.zeros((6, PLACES))
    part = Taken(tuple("abcdef"), cued, cued, cued.sum(axis=1), cued.sum(axis=1), zero)
    told = [(one.track, one.fraction) for one in bands_of(heard(np.ones(200), 0.5), [part], [1.0], 0)[3].taken_by]
    assert [track for track, _ in told] == ["b", "d", "f", "others"]
    assert [fraction for _, fraction in told] == pytest.approx([5 / 15, 4 / 15, 3 / 15, 3 / 15], abs=1e-4)
    assert len(taken_by([part], [1.0], 0)) == 5


def test_bands_of_a_section_are_of_its_cells_only():
    one = heard(np.ones(200), 0.5)
    one.bands[:, 25:, 3] = 3.0
    early, late = (bands_of(one, [], [], 0, part) for part in (slice(0, 100), slice(100, 200)))
    assert (early[3].alone_sone, late[3].alone_sone) == (1.0, 3.0)
    assert bands_of(one, [], [], 0, slice(150, 150)) == ()
    assert bands_of(heard(np.zeros(200), 0.5), [], [], 0) == ()
