# SPDX-License-Identifier: Apache-2.0
"""All kinds of inserts; in song.toml `processor` says which one it is."""

from __future__ import annotations

from typing import TypeAlias

from mixwright.model.colour_inserts import BassHarmonics, LowEnd, Saturation, Width
from mixwright.model.dynamics_inserts import Clipper, Compressor, DeEsser, Expander, Levels, Transients
from mixwright.model.filter_inserts import Filters
from mixwright.model.keyed_inserts import Dip, Duck, Peaks

#: Each family adds its own.
AnyInsert: TypeAlias = (
    Filters
    | Compressor
    | Expander
    | Transients
    | DeEsser
    | Levels
    | Clipper
    | Dip
    | Duck
    | Peaks
    | Saturation
    | BassHarmonics
    | LowEnd
    | Width
)
