# SPDX-License-Identifier: Apache-2.0
"""Backing voices that are brighter than the lead: told where that was asked for, since it may be meant."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from mixwright.ledger.tolerances import BRIGHTER
from mixwright.model.ledger import Finding, finding_id
from mixwright.model.levels import Levels
from mixwright.model.ranges import Range

#: Bright is the first over the second: where consonants and presence lie, and the body of a voice (common practice).
BRIGHT_HZ, BODY_HZ = (2000.0, 8000.0), (200.0, 1600.0)
#: Nominal limits stand for exact mid-bands.
_NOMINAL = 1.02


class Sung(NamedTuple):
    """A voice as it stands in the mix, and when it sounds, in seconds from the start."""

    levels: Levels
    start_s: float
    end_s: float


def brightness_db(levels: Levels) -> float | None:
    """Return the power from 2 to 8 kHz over that from 200 Hz to 1.6 kHz, in dB; None where either is nothing."""
    hz = np.asarray(levels.third_octave_hz, dtype=np.float64)
    power = np.array([0.0 if db is None else 10.0 ** (db / 10.0) for db in levels.third_octave_db])
    bright, body = (
        float(power[(hz >= low / _NOMINAL) & (hz <= high * _NOMINAL)].sum()) for low, high in (BRIGHT_HZ, BODY_HZ)
    )
    return 10.0 * math.log10(bright / body) if bright > 0.0 and body > 0.0 else None


def brighter(leads: Mapping[str, Sung], backing: Mapping[str, Sung]) -> tuple[Finding, ...]:
    """Return the backing voices that are brighter than every lead by more than `tolerances.BRIGHTER`, over the song."""
    of_leads = {id_: brightness_db(one.levels) for id_, one in leads.items()}
    known = {id_: value for id_, value in of_leads.items() if value is not None}
    if not known:
        return ()
    lead = max(known, key=lambda id_: known[id_])
    found = []
    for id_, one in backing.items():
        own = brightness_db(one.levels)
        if own is None or own - known[lead] <= BRIGHTER.db:
            continue
        size_db = own - known[lead]
        found.append(
            Finding(
                id=finding_id("brighter", id_, "", BRIGHT_HZ),
                kind="brighter",
                track=id_,
                section="",
                start_s=one.start_s,
                end_s=one.end_s,
                band_hz=BRIGHT_HZ,
                size_db=Range(cued=size_db, strict=size_db),
                tolerance_db=BRIGHTER.db,
                excess_db=size_db - BRIGHTER.db,
                taker=lead,
            )
        )
    return tuple(found)
