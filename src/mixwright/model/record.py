# SPDX-License-Identifier: Apache-2.0
"""The base of all data: frozen, keyword-only, strict about keys."""

from __future__ import annotations

from typing import Annotated

import msgspec

#: A lower-case slug: letters, digits, single hyphens.
Id = Annotated[str, msgspec.Meta(pattern="^[a-z0-9]+(-[a-z0-9]+)*$", max_length=80)]


class Record(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A frozen record without behaviour beyond its own fields; equal by value.

    Subclasses say ``frozen=True, kw_only=True`` themselves: the second is not passed on.
    """
