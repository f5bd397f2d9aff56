# SPDX-License-Identifier: Apache-2.0
"""Elementary functions of the C core against extended precision and exact values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from mixwright.native import mathematics

extended = pytest.mark.skipif(
    np.finfo(np.longdouble).nmant < 63, reason="this platform has no extended precision to compare with"
)


@extended
@pytest.mark.parametrize(
    ("name", "low", "high", "bound_ulp"),
    [
        ("exp2", -1.0, 1.0, 1.1),
        ("exp2", -1022.0, 1023.9, 1.1),
        ("log2", 0.5, 2.0, 3.2),
        ("log2", 1e-9, 1e9, 3.2),
        ("sin", 0.0, math.pi, 1.6),
        ("sin", -1e6, 1e6, 2.6),
        ("cos", 0.0, math.pi, 1.6),
        ("cos", -1e6, 1e6, 2.6),
        ("tan", 0.0, math.pi / 2, 3.2),
        ("tan", -1e6, 1e6, 4.2),
    ],
)
def test_error_stays_within_what_the_documentation_states(name, low, high, bound_ulp):
    # Reference: the C library's long double functions, through numpy.
    x = np.concatenate([np.linspace(low, high, 10_001), np.random.default_rng(7).uniform(low, high, 10_000)])
    exact = getattr(np, name)(x.astype(np.longdouble))
    rounded = exact.astype(np.float64)
    off = np.abs(getattr(mathematics, name)(x) - exact)
    nonzero = rounded != 0.0
    assert (off[nonzero] / np.spacing(np.abs(rounded[nonzero]))).max() <= bound_ulp
    assert (off[~nonzero] == 0.0).all()


def test_exact_values():
    n = np.arange(-1022, 1024)
    assert np.array_equal(mathematics.exp2(n), np.ldexp(1.0, n))
    assert np.array_equal(mathematics.log2(np.ldexp(1.0, n)), n)
    assert mathematics.log2(5e-324) == -1074.0
    assert mathematics.ratio(0.0) == 1.0
    assert mathematics.sin(0.0) == mathematics.tan(0.0) == 0.0
    assert mathematics.cos(0.0) == 1.0


def test_edges_of_the_range():
    assert mathematics.exp2(-1022.5) == 0.0
    assert mathematics.exp2(-np.inf) == 0.0
    assert mathematics.exp2(1024.0) == np.inf
    assert mathematics.log2(0.0) == -np.inf
    assert mathematics.log2(np.inf) == np.inf
    assert np.isnan(mathematics.log2(-1.0))
    assert np.isnan(mathematics.exp2(np.nan))
    assert np.isnan(mathematics.log2(np.nan))


def test_ratio_is_a_twentieth_power_of_ten():
    db = np.linspace(-150.0, 60.0, 4_201)
    assert np.allclose(mathematics.ratio(db), 10.0 ** (db / 20.0), rtol=2e-14, atol=0.0)


def test_shape_is_kept():
    assert mathematics.sin(np.zeros((3, 4))).shape == (3, 4)
    assert mathematics.sin(1.0).shape == ()
