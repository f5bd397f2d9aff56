# SPDX-License-Identifier: Apache-2.0
"""Width: side beside middle, correlation of left and right, and what a mono sum loses."""

from __future__ import annotations

import math

import numpy as np

from mixwright.model.profile import OCTAVES_HZ, Values
from mixwright.reference.span import Floats, Span
from mixwright.units import db_from_power

#: What is left of equal channels after cancelling is rounding of float32, not signal.
_ROUNDING = 1e-10


def width_values(span: Span) -> Values:
    """Return the figures of width; None where there is no side, or no middle.

    Formulas: correlation = sum(LR) / sqrt(sum L^2 sum R^2); the mono sum (L+R)/2 on both sides loses
    10 log10(2 middle / (L^2 + R^2)), 0 dB where both channels are equal, 3.01 dB where they have nothing in common.
    """
    traces = span.traces
    mid, side, both, lean = (span.mean(part) for part in (traces.mid, traces.side, traces.both, traces.left_less_right))
    # Thirds of an octave overlap a little: ratios of sums over all of them are those of the sum of bands.
    middle, sides, all_ = float(mid.sum()), float(side.sum()), float(both.sum())
    left, right = all_ + float(lean.sum()), all_ - float(lean.sum())
    apart = left * right > (_ROUNDING * all_) ** 2 and all_ > 0.0
    return {
        "side_to_mid_db": (_ratio_db(sides, middle),),
        "side_to_mid_octaves_db": tuple(_ratio_db(s, m) for s, m in zip(_octaves(side), _octaves(mid), strict=True)),
        "correlation": ((middle - sides) / math.sqrt(left * right) if apart else None,),
        "mono_loss_db": (db_from_power(all_ / middle) if middle > _ROUNDING * all_ and sides > 0.0 else None,),
    }


def _octaves(thirds: Floats) -> list[float]:
    """Return octaves as sums of their three thirds: 25, 31.5, 40 Hz and so on."""
    return [float(thirds[3 * i + 1 : 3 * i + 4].sum()) for i in range(len(OCTAVES_HZ))]


def _ratio_db(side: float, mid: float) -> float | None:
    known = mid > _ROUNDING * side and side > _ROUNDING * mid
    return 10.0 * float(np.log10(side / mid)) if known else None
