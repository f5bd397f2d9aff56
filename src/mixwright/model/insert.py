# SPDX-License-Identifier: Apache-2.0
"""What every insert of a strip has: processors stand in a strip in any order, each as often as wanted."""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.record import Record

WorksOn = Literal["both", "middle", "side", "left", "right"]


class Insert(Record, frozen=True, kw_only=True, tag_field="processor"):
    """One processor in a strip, after its filters and before its fader.

    `on = false` bypasses it; its latency stays. `mix` is how much of what it makes is heard beside what goes in, lined
    up. `gain_db` comes after both: what keeps its loudness, so that better is never louder. `sections` empty: the whole
    song; otherwise it is heard in them alone, blended in and out at their edges. `works_on`: one part of a stereo
    signal; middle and side are half the sum and half the difference of left and right. Of a mono track left and middle
    are all, right and side nothing.
    """

    on: bool = True
    mix: Annotated[float, Meta(ge=0.0, le=1.0)] = 1.0
    gain_db: Annotated[float, Meta(ge=-60.0, le=60.0)] = 0.0
    sections: tuple[str, ...] = ()
    works_on: WorksOn = "both"


class KeyedInsert(Insert, frozen=True, kw_only=True):
    """A processor that follows a signal: its own where `key` is empty, or a track, source, group or send.

    Keys are tapped after the inserts and before the fader.
    """

    key: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """Everybody whom it listens to beside itself."""
        return (self.key,) if self.key else ()
