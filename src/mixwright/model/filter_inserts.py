# SPDX-License-Identifier: Apache-2.0
"""Inserts that filter."""

from __future__ import annotations

from typing import Annotated

from msgspec import Meta

from mixwright.model.filters import EqBand, Pass
from mixwright.model.insert import Insert


class Filters(Insert, frozen=True, kw_only=True, tag="filters"):
    """A high-pass, a low-pass and bands of an equaliser, as in the strip itself, anywhere among the inserts."""

    high_pass: Pass | None = None
    low_pass: Pass | None = None
    bands: Annotated[tuple[EqBand, ...], Meta(max_length=16)] = ()
