# SPDX-License-Identifier: Apache-2.0
"""All kinds of inserts; in song.toml `processor` says which one it is."""

from __future__ import annotations

from typing import TypeAlias

from mixwright.model.filter_inserts import Filters

#: Each family adds its own: ``Filters | Compressor | ...``
AnyInsert: TypeAlias = Filters
