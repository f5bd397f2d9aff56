# SPDX-License-Identifier: Apache-2.0
"""Room below full scale, as one level move on the master."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from mixwright.model.move_settings import MOVE_SETTINGS
from mixwright.model.moves import move_id
from mixwright.model.results import PlannedMove, Spread
from mixwright.model.song import MASTER

#: Peaks of a mix that goes on to mastering lie between these: common practice, no source.
PEAKS_DBTP = (-6.0, -3.0)
#: A mix that peaks above this is lowered: the ceiling of EBU R 128 for production.
CEILING_DBTP = -1.0
_PRACTICE = "common practice, no source"


def propose_headroom(now_dbtp: float | None, then_dbtp: float | None, *, limited: bool = False) -> PlannedMove | None:
    """Propose to lower the master where the mix would peak above -1 dBTP, so that it peaks near -3 dBTP.

    It is heard as level alone, so that strength does not scale it: it is what the mix needs with the other moves at
    their strength.

    Parameters
    ----------
    now_dbtp, then_dbtp : float or None
        True peak of the mix as it stands, and rendered with the other moves; both without the limiter.
    limited : bool
        Whether a limiter follows: it is told that the peaks are those that come into it.

    Returns
    -------
    PlannedMove or None
        None where there is room already, or nothing sounds.
    """
    if now_dbtp is None or then_dbtp is None or then_dbtp <= CEILING_DBTP:
        return None
    where, key = (" before the limiter", "true_peak_before_limiter_dbtp") if limited else ("", "true_peak_dbtp")
    gain_db = max(MOVE_SETTINGS["level"]["gain_db"].low, round(PEAKS_DBTP[1] - then_dbtp, 1))
    return PlannedMove(
        id=move_id("level", MASTER, ()),
        kind="level",
        target=MASTER,
        sections=(),
        settings={"gain_db": gain_db},
        state="proposed",
        strength=1.0,
        by="plan",
        reason=f"Lower the master by {-gain_db:.1f} dB: the mix would peak at {then_dbtp:+.1f} dBTP{where}.",
        evidence=(
            f"Peaks of {PEAKS_DBTP[0]:g} to {PEAKS_DBTP[1]:g} dBTP leave room for what follows: {_PRACTICE}. "
            f"EBU R 128 allows {CEILING_DBTP:g} dBTP in production."
        ),
        spread=Spread(low=PEAKS_DBTP[0], high=PEAKS_DBTP[1], unit="dbtp", source=_PRACTICE),
        measured={key: round(now_dbtp, 2)},
        predicted={key: round(then_dbtp + gain_db, 2), "mix_change_lu": None if limited else gain_db},
        without_it=f"Without it the mix peaks at {then_dbtp:+.1f} dBTP{where}.",
    )


def lowered(moves: Sequence[PlannedMove], master_db: float, *, limited: bool = False) -> tuple[PlannedMove, ...]:
    """Return moves whose predictions of absolute level include a change of the master by `master_db`.

    Before a limiter it cannot be said what comes out of it then: they have no such predictions.
    """
    return tuple(
        msgspec.structs.replace(
            move,
            predicted={
                key: _shifted(value, master_db, limited) if key in _ABSOLUTE else value
                for key, value in move.predicted.items()
            },
        )
        for move in moves
    )


def _shifted(value: float | None, master_db: float, limited: bool) -> float | None:
    if master_db == 0.0:
        return value
    return None if value is None or limited else round(value + master_db, 2)


_ABSOLUTE = ("integrated_lufs", "mix_change_lu")
