# SPDX-License-Identifier: Apache-2.0
"""How loud the returns of sends are beside what feeds them."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path

import numpy as np

from mixwright.app.keys import MEASURED_BY, RENDERED_BY
from mixwright.app.session import Session
from mixwright.engine.graph import MixGraph, bus
from mixwright.engine.render import render
from mixwright.engine.returns import fed_by, feeding_tracks, return_alone, without_sends
from mixwright.jobs.array_file import write_array
from mixwright.jobs.cache import code_hash
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.meter.loudness import (
    ABSOLUTE_GATE_LUFS,
    GATE_HOP_SUB_BLOCKS,
    SUB_BLOCKS_PER_S,
    Loudness,
    lufs_from_power,
)
from mixwright.meter.measure import Meter
from mixwright.model.results import SendLevel, SendSection

#: Windows in which what feeds the send is this far below its mean loudness do not count (EBU Tech 3341's gate).
_GATE_LU = 10.0
_WINDOW_S = 0.4


def send_levels(session: Session, *, report: Report = silent, cancel: Cancel | None = None) -> tuple[SendLevel, ...]:
    """Measure every send that something feeds, wet beside dry.

    *Wet* is the return of the send as it stands in the mix, *dry* are the tracks that feed it (by themselves or through
    their group) as they stand in the mix without any send; both with the gains of the bus compressors and the limiter.
    The figure is the one of De Man, McNally & Reiss 2017: the mean of the differences wet minus dry of their momentary
    loudness (400 ms windows, here every 100 ms). Counted are windows in which the dry passes the two gates of
    integrated loudness (-70 LUFS; 10 LU below the mean) and the wet lies above -70 LUFS; how the study gated is not
    known here. The study took all reverb of a mix beside all of its dry sound: for a send that only some tracks feed,
    the figure is that of these tracks.
    """
    fed = [send for send in session.song.sends if fed_by(session.graph, bus(send.id, "send"))]
    job = Job("measuring sends", max(1, len(fed)), report, cancel)
    sends = frozenset(bus(send.id, "send") for send in session.song.sends)
    found = []
    for send in fed:
        key = bus(send.id, "send")
        wet = _loudness(session, return_alone(session.graph, key), None, report, cancel)
        dry = _loudness(
            session, without_sends(session.graph, sends), feeding_tracks(session.graph, key), report, cancel
        )
        found.append(
            SendLevel(
                id=send.id,
                name=send.name,
                reverb=None if send.reverb is None else send.reverb.kind,
                wet_to_dry_lu=wet_to_dry_lu(wet, dry),
                fed_by=tuple(name.removeprefix("group ") for name in fed_by(session.graph, key)),
                sections=tuple(
                    SendSection(name=part.name, wet_to_dry_lu=wet_to_dry_lu(wet, dry, part.start_s, part.end_s))
                    for part in session.song.sections
                ),
            )
        )
        job.step()
    return tuple(found)


def wet_to_dry_lu(wet: Loudness, dry: Loudness, start_s: float = 0.0, end_s: float | None = None) -> float | None:
    """Return the mean difference of momentary loudness in LU; None where no window of the time range counts."""
    powers = [one.momentary_power[::GATE_HOP_SUB_BLOCKS] for one in (wet, dry)]
    returned, fed = map(lufs_from_power, powers)
    loud = fed > ABSOLUTE_GATE_LUFS
    if not loud.any():
        return None
    gate_lufs = float(lufs_from_power(powers[1][loud].mean())) - _GATE_LU
    at_s = np.arange(len(fed)) * (GATE_HOP_SUB_BLOCKS / SUB_BLOCKS_PER_S)
    within = (at_s >= start_s) & (at_s + _WINDOW_S <= (np.inf if end_s is None else end_s))
    counted = within & loud & (fed > gate_lufs) & (returned > ABSOLUTE_GATE_LUFS)
    return float((returned - fed)[counted].mean()) if counted.any() else None


def _loudness(
    session: Session, graph: MixGraph, tracks: Collection[str] | None, report: Report, cancel: Cancel | None
) -> Loudness:
    """Measure a part of the mix once for the settings it depends on: with dynamics, on the whole mix."""
    curves = session.curves(report=report, cancel=cancel)
    whole = session.graph.identity() if curves is not None else ()
    key = session.cache.key("return", graph.identity(tracks), whole, code_hash(*RENDERED_BY, *MEASURED_BY))

    def make(path: Path) -> None:
        meter = Meter(session.song.rate_hz, 2, spectrum=False, true_peak=False)
        for block in render(
            graph, session.audio, tracks=tracks, curves=curves, cache=session.cache, report=silent, cancel=cancel
        ):
            meter.push(block)
        write_array(path, meter.loudness().energy)

    return Loudness(session.song.rate_hz, session.cache.array(key, make))
