# SPDX-License-Identifier: Apache-2.0
"""What muting one layer would give back to others: heard anew, through the filters that the mix without it sets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from mixwright.app.listening import Row, layer_audio, layers_of
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.app.told import check_known, layer_ids
from mixwright.engine.returns import feeding_tracks
from mixwright.errors import SettingError, StateError, printable
from mixwright.hearing.hear import hear
from mixwright.hearing.places import calibration_db
from mixwright.hearing.statistics import loudness_of
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.hearing import HeardWithout, HearingResult
from mixwright.model.ranges import Range
from mixwright.model.song import changed


def without(
    song: Path,
    heard: HearingResult,
    layers: Sequence[str],
    left_out: str,
    *,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> HearingResult:
    """Hear layers in the mix without another one, and return what was heard with that beside it.

    The gains that compressors and the limiter logged stay as they are: it is the masking alone that is told.

    Parameters
    ----------
    song : Path
        The song folder.
    heard : HearingResult
        of the same song, from `measure`
    layers : sequence of str
        ids of layers or of tracks, or names; layers that nothing is heard of are passed over
    left_out : str
        the same of the layer that is muted
    report, cancel
        progress and stop switch

    Raises
    ------
    SettingError
        where no layer is called so, or none of them is heard besides
    StateError
        where nothing was heard of the song
    """
    ids = layer_ids(heard.layers)
    check_known((left_out, *layers), ids, "layer", "without")
    if heard.calibrated_lufs is None:
        raise StateError("the mix is silent or shorter than 0.4 s: nothing is heard of it")
    muted = ids[left_out]
    before = {layer.id: layer for layer in heard.layers}
    wanted = [one for one in dict.fromkeys(ids[name] for name in layers) if one != muted and before[one].share]
    if not wanted:
        raise SettingError(
            "no layer is left to be heard without it",
            where=f"--without {printable(left_out)}",
            hint="name another one that sounds with --track",
        )
    with open_song(song, Making(), report=report, cancel=cancel) as session:
        rows = tuple(_rows_without(session, muted))
        audio = layer_audio(session, rows, report=report, cancel=cancel)
        wanted = [one for one in wanted if one in audio]

        def mix(start: int, end: int) -> Iterator[np.ndarray]:
            for blocks in zip(*(source(start, end) for source in audio.values()), strict=True):
                yield np.sum(blocks, axis=0)

        found = hear(
            {one: audio[one] for one in wanted},
            mix,
            rate_hz=session.graph.rate_hz,
            frames=session.graph.frames,
            offset_db=calibration_db(heard.calibrated_lufs, heard.listening_level_db_spl, heard.listening),
            listening=heard.listening,
            report=report,
            cancel=cancel,
        )
    told = []
    for one in wanted:
        then, now = loudness_of(found.layers[one]).in_mix_phon, before[one].in_mix_phon
        if then is not None and now is not None:
            told.append(HeardWithout(track=one, without=muted, in_mix_phon=then, gives_back_phon=_less(then, now)))
    return changed(heard, without=tuple(told))


def _rows_without(session: Session, muted: str) -> Iterator[Row]:
    """Yield the other layers, the returns as they are without what a muted layer sends to them."""
    rows = layers_of(session.song, session.graph)
    silent_tracks = frozenset(track for row in rows if row.id == muted for track in row.tracks)
    for row in rows:
        feeds = frozenset() if row.tracks else feeding_tracks(session.graph, row.id)
        if row.id == muted or (feeds and feeds <= silent_tracks):
            continue
        yield replace(row, tracks=tuple(sorted(feeds - silent_tracks))) if feeds & silent_tracks else row


def _less(then: Range, now: Range) -> Range:
    def difference(one: float | None, other: float | None) -> float | None:
        return None if one is None or other is None else max(0.0, one - other)

    return Range(cued=difference(then.cued, now.cued), strict=difference(then.strict, now.strict))
