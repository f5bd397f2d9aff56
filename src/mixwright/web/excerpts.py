# SPDX-License-Identifier: Apache-2.0
"""Excerpts of the mix as pages ask for them, the last ones kept at hand for the ranges that a player asks for."""

from __future__ import annotations

import math
import threading
from collections import OrderedDict

from starlette.datastructures import QueryParams

from mixwright.app.playable import Audio, Playable
from mixwright.errors import SettingError

#: So many are kept: 23 MB for a minute of stereo at 48 kHz.
_KEPT = 8


class Excerpts:
    """Renders excerpts of one song, one after another."""

    def __init__(self, playable: Playable) -> None:
        self._playable = playable
        self._guard = threading.Lock()
        self._session: object = None
        self._kept: OrderedDict[tuple[object, ...], Audio] = OrderedDict()

    def asked(self, query: QueryParams) -> Audio:
        """Return the excerpt that a query names.

        `start_s` and `end_s`; `track`, repeatable: these alone; `move`, repeatable: these moves and no others sound
        (`move=` alone: none). `lane=TARGET/PARAMETER`: without that lane.

        Raises
        ------
        SettingError
            where a time is no number, or as from `Playable.excerpt`
        """
        start_s, end_s = number_of(query, "start_s"), number_of(query, "end_s")
        tracks = tuple(query.getlist("track"))
        moves = tuple(filter(None, query.getlist("move"))) if "move" in query else None
        target, _, parameter = query.get("lane", "").partition("/")
        lane = (target, parameter) if parameter else None
        key = start_s, end_s, tracks, moves, lane
        with self._guard:
            session = self._playable.session()
            if session is not self._session:
                self._session = session
                self._kept.clear()
            if key not in self._kept:
                self._kept[key] = self._playable.excerpt(start_s, end_s, tracks=tracks, moves=moves, without_lane=lane)
            self._kept.move_to_end(key)
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
            return self._kept[key]


def number_of(query: QueryParams, name: str) -> float:
    """Return a time in seconds, or a frequency in Hz, that a query names.

    Raises
    ------
    SettingError
        where it is no number
    """
    try:
        number = float(query.get(name, ""))
    except ValueError:
        number = math.nan
    if not math.isfinite(number):
        raise SettingError(f"{name} is no number", hint="give seconds of the song, or Hz")
    return number
