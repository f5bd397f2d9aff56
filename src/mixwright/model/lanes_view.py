# SPDX-License-Identifier: Apache-2.0
"""What the page shows of automation: the lanes that are kept, and what may have one."""

from __future__ import annotations

from mixwright.model.lane import Lane
from mixwright.model.record import Record


class ViewedParameter(Record, frozen=True, kw_only=True):
    """Something that a lane may move: from where to where it goes, in which unit, and what holds without a lane.

    `tried`: the page can try it out at once; the others are heard once they are rendered.
    """

    parameter: str
    name: str
    low: float
    high: float
    unit: str
    usual: float
    tried: bool = False


class ViewedTarget(Record, frozen=True, kw_only=True):
    """A track, source, group, the return of a send, or the mix, and what of it a lane may move."""

    id: str
    name: str
    parameters: tuple[ViewedParameter, ...]


class LanesView(Record, frozen=True, kw_only=True):
    """All lanes that are kept, and all that may have one, in the order of the song."""

    lanes: tuple[Lane, ...]
    targets: tuple[ViewedTarget, ...]
