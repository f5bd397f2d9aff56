# SPDX-License-Identifier: Apache-2.0
"""Inserts that lower what stands in somebody's way, by what they hear; the rules stand in `engine.processors.keyed`.

Levels of a key are those of its mean power over both sides in dBFS, before its fader.
"""

from __future__ import annotations

from typing import Annotated, Literal

from msgspec import Meta

from mixwright.model.insert import KeyedInsert
from mixwright.model.record import Record
from mixwright.model.words import Role

Pace = Literal["word", "phrase"]
Hz = Annotated[float, Meta(ge=20.0, le=24000.0)]
LookAheadMs = Annotated[float, Meta(ge=0.0, le=20.0)]
AttackMs = Annotated[float, Meta(ge=1.0, le=500.0)]
HoldMs = Annotated[float, Meta(ge=0.0, le=2000.0)]
ReleaseMs = Annotated[float, Meta(ge=5.0, le=3000.0)]
KeyDb = Annotated[float, Meta(ge=-90.0, le=0.0)]
NearDb = Annotated[float, Meta(ge=3.0, le=60.0)]

#: What is held rather than spoken or struck, and follows a voice by the phrase.
HELD_ROLES: frozenset[Role] = frozenset({"pad", "strings", "organ", "return"})


class DipBand(Record, frozen=True, kw_only=True):
    """One band of a dip: a bell around `hz`, at most `most_db` deep.

    `pace` *word* follows syllables, *phrase* goes on through gaps under about 0.4 s; without one it is what is usual
    for the layer (`usual_pace`). It sets the times that are not given here: `attack_ms` and `release_ms`, in which the
    dip goes all the way, and `hold_ms`, for which it stays after the key.
    """

    hz: Hz
    q: Annotated[float, Meta(ge=0.1, le=20.0)] = 1.0
    most_db: Annotated[float, Meta(ge=0.0, le=24.0)] = 3.0
    pace: Pace | None = None
    attack_ms: AttackMs | None = None
    hold_ms: HoldMs | None = None
    release_ms: ReleaseMs | None = None


class Dip(KeyedInsert, frozen=True, kw_only=True, tag="dip"):
    """Bands lowered while a key sounds, and by no more than is in its way.

    `form` *excess*: by how much the layer, together with `against` where that is named, stands in the band over the
    key, plus `margin_db`: what the faders do differently, and how far below the key it shall lie. *threshold*: by how
    much the key stands in the band over `threshold_db`. The key sounds where it is louder than `key_above_db` and less
    than `near_db` below its own recent maximum.
    """

    bands: Annotated[tuple[DipBand, ...], Meta(min_length=1, max_length=6)]
    form: Literal["excess", "threshold"] = "excess"
    margin_db: Annotated[float, Meta(ge=-60.0, le=60.0)] = 12.0
    threshold_db: KeyDb = -40.0
    against: str = ""
    key_above_db: KeyDb = -45.0
    near_db: NearDb = 14.0
    look_ahead_ms: LookAheadMs = 8.0

    @property
    def keys(self) -> tuple[str, ...]:
        """Everybody whom it listens to beside itself."""
        return tuple(name for name in (self.key, self.against) if name)


class DuckRule(Record, frozen=True, kw_only=True):
    """What a duck does: lower the layer from `low_hz` to `high_hz` by `depth_db`; without an edge it is open there.

    `by` *level*: while the key is louder than `above_db` and less than `near_db` below its own recent maximum. *hits*:
    at each hit of such a level, one that rises by `rise_db` over what was before. The key is heard from `key_low_hz` to
    `key_high_hz`. `hold_ms` after the key, or after the hit, it is given back; `attack_ms` and `release_ms` are for all
    of the depth.
    """

    by: Literal["level", "hits"] = "level"
    low_hz: Hz | None = None
    high_hz: Hz | None = None
    depth_db: Annotated[float, Meta(ge=0.0, le=60.0)] = 3.0
    key_low_hz: Hz | None = None
    key_high_hz: Hz | None = None
    above_db: KeyDb = -35.0
    near_db: NearDb = 14.0
    rise_db: Annotated[float, Meta(ge=1.0, le=40.0)] = 3.0
    attack_ms: AttackMs = 5.0
    hold_ms: HoldMs = 20.0
    release_ms: ReleaseMs = 120.0


class Duck(KeyedInsert, frozen=True, kw_only=True, tag="duck"):
    """A layer, or bands of it, lowered under a key; never under a hit that it carries itself."""

    rules: Annotated[tuple[DuckRule, ...], Meta(min_length=1, max_length=4)]
    look_ahead_ms: LookAheadMs = 5.0


class Peaks(KeyedInsert, frozen=True, kw_only=True, tag="peaks"):
    """Narrow bands lowered by what stands out of their neighbours by more than `allowed_db`, at most by `most_db`.

    `bands` of equal width lie between `low_hz` and `high_hz`; neighbours are as many to either side, up to
    `width_oct` away. `attack_ms` and `release_ms` are for all of `most_db`.
    """

    low_hz: Hz = 200.0
    high_hz: Hz = 8000.0
    bands: Annotated[int, Meta(ge=8, le=40)] = 32
    allowed_db: Annotated[float, Meta(ge=0.0, le=40.0)] = 6.0
    width_oct: Annotated[float, Meta(ge=0.1, le=3.0)] = 1.0
    most_db: Annotated[float, Meta(ge=0.0, le=18.0)] = 6.0
    attack_ms: AttackMs = 10.0
    release_ms: ReleaseMs = 150.0
    look_ahead_ms: LookAheadMs = 0.0


def usual_pace(role: Role) -> Pace:
    """Return the pace of a dip on a layer: pads and returns follow phrases."""
    return "phrase" if role in HELD_ROLES else "word"
