# SPDX-License-Identifier: Apache-2.0
"""Errors of the C core's elementary functions: `python benchmarks/mathematics_errors.py` writes docs/mathematics.md.

Reference: numpy's extended precision (64-bit mantissa, the C library's long double functions), on x86-64.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from mixwright.native import mathematics

PAGE = Path(__file__).resolve().parents[1] / "docs" / "mathematics.md"
POINTS = 400_000

#: function, what it is used for, lowest and highest argument, logarithmic spacing
RANGES = (
    ("exp2", "ramps of a few dB", -1.0, 1.0, False),
    ("exp2", "levels from -200 to +200 dB", -33.3, 33.3, False),
    ("exp2", "whole range", -1022.0, 1023.9, False),
    ("log2", "near 1", 0.9, 1.1, False),
    ("log2", "whole range", 1e-150, 1e150, True),
    ("sin", "filter design, pans", 0.0, np.pi, False),
    ("sin", "large angles", -1e6, 1e6, False),
    ("cos", "filter design, pans", 0.0, np.pi, False),
    ("cos", "large angles", -1e6, 1e6, False),
    ("tan", "filter design", 0.0, np.pi / 2, False),
    ("tan", "large angles", -1e6, 1e6, False),
)


def arguments(low: float, high: float, logarithmic: bool, seed: int, count: int = POINTS) -> np.ndarray:
    """Return a grid and random points of a range."""
    places = np.concatenate([np.linspace(0.0, 1.0, count // 2), np.random.default_rng(seed).random(count // 2)])
    return low * (high / low) ** places if logarithmic else low + (high - low) * places


def error_ulp(name: str, x: np.ndarray) -> tuple[float, float]:
    """Return the largest error in units of the last place, and relative to the value."""
    exact = getattr(np, name)(x.astype(np.longdouble))
    given = getattr(mathematics, name)(x)
    off = np.abs(given.astype(np.longdouble) - exact)
    rounded = exact.astype(np.float64)
    here = rounded != 0.0
    ulp = float((off[here] / np.spacing(np.abs(rounded[here]))).max())
    return ulp, float((off[here] / np.abs(exact[here])).max())


def table() -> str:
    """Return the rows of the table."""
    lines = [
        "| function | used for | arguments | largest error, units in the last place | relative |",
        "|---|---|---|---|---|",
    ]
    for seed, (name, use, low, high, logarithmic) in enumerate(RANGES):
        ulp, relative = error_ulp(name, arguments(low, high, logarithmic, seed))
        lines.append(f"| {name} | {use} | {low:.6g} to {high:.6g} | {ulp:.2f} | {relative:.2g} |")
    return "\n".join(lines)


TEXT = """# Elementary functions of the C core

Libraries differ in the last bits of `exp`, `log`, `sin`: a render would differ with the platform. Whatever is used
while rendering (gains from dB, pans, filter design) therefore comes from `csrc/mathematics.c`: range reduction and
Taylor series in plain double arithmetic, without fused operations. The square root is exact everywhere by IEEE 754.

Exact by construction: 2^n for whole n, log2 of powers of two, 0 dB = 1, sin 0 = tan 0 = 0, cos 0 = 1. Results of exp2
below the smallest normal number are 0.

Errors against extended precision ({points} points a row, half on a grid, half at random); this page is written by
`python benchmarks/mathematics_errors.py`:

{table}
"""


if __name__ == "__main__":
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(TEXT.format(points=POINTS, table=table()), encoding="utf-8")
    sys.stdout.write(PAGE.read_text(encoding="utf-8"))
