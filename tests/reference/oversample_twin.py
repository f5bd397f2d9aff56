# SPDX-License-Identifier: Apache-2.0
"""Oversampling in plain steps: zeros put in and convolutions by scipy, with filters from their formulas."""

from __future__ import annotations

import numpy as np
from scipy.signal import upfirdn

LATE = {2: 61, 4: 69, 8: 72}


def half_band(half, beta):
    n = np.arange(1 - 2 * half, 2 * half)
    h = 0.5 * np.sinc(n / 2) * np.kaiser(4 * half - 1, beta)
    odd = n % 2 == 1
    h[odd] *= 0.5 / h[odd].sum()
    return h


def filters(factor):
    """Half-bands on the way up, the one at the lowest rate first."""
    return [half_band(21, 10.7), half_band(8, 11.8), half_band(6, 13.0)][: factor.bit_length() - 1]


def sharp():
    """The last filter on the way down."""
    h = np.sinc(2 * 22 / 96 * np.arange(-80, 81)) * np.kaiser(161, 10.4)
    return h / h.sum()


def up(x, factor):
    for h in filters(factor):
        x = np.concatenate([[0.0], upfirdn(2.0 * h, x, up=2)])[: 2 * len(x)]
    return x


def down(x, factor):
    for h in filters(factor)[:0:-1]:
        x = upfirdn(h, np.concatenate([[0.0], x]), down=2)[: len(x) // 2]
    return upfirdn(sharp(), x, down=2)[: len(x) // 2]
