# SPDX-License-Identifier: Apache-2.0
"""What a change buried: of which layer more is lost than before, where, when, in which band, because of whom."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.fader import joined
from mixwright.hearing.heard import ALONE, CUED, LAYER, STRICT, HeardStretch, Hearing, Stretch
from mixwright.hearing.scale import STEP_CAM
from mixwright.hearing.statistics import LEAST_FRACTION, named_takers
from mixwright.ledger.findings import LEAST_S, LedgerRow, cued_db, whole_song
from mixwright.ledger.rise import Rise
from mixwright.ledger.spots import FAINT, HELD, by_filter, cut, edges_hz, narrowed
from mixwright.ledger.tolerances import GROWTH
from mixwright.model.ledger import Growth
from mixwright.model.song import Section
from mixwright.model.words import Place

#: The others have grown in a filter where what they add is this part of what was there: 0.4 dB.
_MORE = 0.1
#: A band goes on to both sides as far as there is this part of what is lost anew at its peak.
_EDGE = 0.65
#: Two neighbours of which the lower peak is that part of the higher are one band, unless there is less than this part
#: of the lower one somewhere between them.
_DIP = 0.5
#: Partials of a chord lie further apart than filters: what is lost anew is smoothed over a Cam to both sides, so that
#: dips between them do not cut a band in two.
_SMOOTH = np.hanning(9)[1:-1] / np.hanning(9).sum()
#: Nothing counts of a band that holds up to the first part of the layer, and all from the second on.
_HOLDS = (HELD, 0.12)
#: A layer of which this part had been left in a band was heard there: all counts. Else in proportion to what was left.
_HEARD = 0.5
#: And where up to this part had been left it is told after all others.
_COVERED = 0.4
#: Where no more than this part of what is left of a layer is lost anew, no fader is asked: about 0.15 dB.
_LEAST_PART = 0.01


def growth(
    then: Hearing, now: Hearing, rows: Sequence[LedgerRow], sections: Sequence[Section] = ()
) -> tuple[Growth, ...]:
    """Return of which layers more is lost now than then by more than a step, what is missed most first.

    Parameters
    ----------
    then, now : Hearing
        the same part of the song before and after a change; sections that are not cut into the same stretches in both
        are left out, and layers that do not sound in both
    rows : sequence of LedgerRow
        what is known of the layers of now; of a bed nothing is told
    sections : sequence of Section
        in order; none: all that was heard is one, without a name

    Notes
    -----
    Filter by filter, of what sounds of the layer both then and now (the less of both), that part which is lost now and
    was not lost then, where others have grown: what a layer loses because its own fader went down is no news to
    whoever moved it. Bands are cut from this difference, smoothed, as those of findings are from a loss. Who took it:
    each layer that takes anything there, by the energy that it adds.

    The size is the rise of the layer as a whole that would make up for what it lost anew in the band. It counts in
    proportion to what had been left there, up to half, as what was covered anyhow is missed less; and less where the
    band holds less than 0.12 of the layer, down to nothing at 0.05. Inside `tolerances.GROWTH` nothing is
    told. The order is by this over the step, where what had been covered by more than half comes later, and by more
    than three fifths last.
    """
    places = {row.id: row for row in rows}
    found: list[Growth] = []
    for section in sections or whole_song(now.stretches[-1].end_s):
        before, after = (_Inside(one, one.inside(section.start_s, section.end_s)) for one in (then, now))
        if not after.numbers or after.stretches != before.stretches:
            continue
        for layer in now.layers:
            place = places[layer].place_at(section.name) if layer in places else "bed"
            if layer in then.layers and place != "bed":
                found += _of_layer(before, after, layer, section, place)
    return tuple(sorted(found, key=_order))


def _order(one: Growth) -> tuple[float, float, str, str]:
    """Return what is sorted by: steps, less the more had been covered; and steps alone where most had been."""
    steps = 1.0 + one.excess_db / one.step_db
    return -steps * _ramp(one.share_before, _COVERED, _HEARD), -steps, one.track, one.section


@dataclass(frozen=True, eq=False)
class _Inside:
    """What was heard in the stretches of a section, by their numbers."""

    hearing: Hearing
    numbers: Sequence[int]

    @property
    def stretches(self) -> list[Stretch]:
        """When they are."""
        return [self.hearing.stretches[k] for k in self.numbers]

    def of(self, layer: str) -> list[HeardStretch]:
        """Return what was heard of a layer."""
        return [self.hearing.layers[layer].stretches[k] for k in self.numbers]

    @functools.cached_property
    def excited(self) -> Mapping[str, np.ndarray]:
        """How much each layer excites each filter, mean over all of the time."""
        length_s = np.array([one.length_s for one in self.stretches]).sum()
        return {
            id_: sum(one.active_s * one.patterns[LAYER].astype(float) for one in self.of(id_)) / length_s
            for id_ in self.hearing.layers
        }


@dataclass(frozen=True, eq=False)
class _Part:
    """A layer in a section, filter by filter: loudness alone, and which part of it is lost, by reading.

    `taken`: which part of its loss each layer takes (layers, FILTERS). `excited`: by each layer, mean over the section
    (layers, FILTERS); nothing by itself.
    """

    alone: np.ndarray
    lost: Mapping[int, np.ndarray]
    taken: np.ndarray
    excited: Mapping[str, np.ndarray]


def _of_layer(then: _Inside, now: _Inside, layer: str, section: Section, place: Place) -> Iterator[Growth]:
    parts, old_parts = now.of(layer), then.of(layer)
    if min(sum(part.active_s for part in one) for one in (parts, old_parts)) < LEAST_S:
        return
    part, old = _part(now, layer), _part(then, layer)
    kept = np.minimum(part.alone, old.alone)
    added = _added(part, old)
    grew = added.sum(axis=0) > _MORE * sum(old.excited.values())
    more = {row: np.where(grew, kept * (part.lost[row] - old.lost[row]), 0.0) for row in (STRICT, CUED)}
    shares = added / np.maximum(added.sum(axis=0), 1e-30) * np.maximum(more[CUED], 0.0)
    heard = kept >= FAINT * kept.max()
    least = _LEAST_PART * float((part.alone * (1.0 - part.lost[CUED])).sum())
    rise: Rise | None = None
    curve = np.where(heard, np.maximum(more[CUED], 0.0) / np.sqrt(np.maximum(kept, 1e-12)), 0.0)
    for band in _bands(np.where(curve > 0.0, np.convolve(curve, _SMOOTH, "same"), 0.0)):
        if float(more[CUED][band].sum()) < least:
            continue
        rise = rise or Rise(joined([one.sketch for one in parts]))
        size = rise.making_up_db(float(more[STRICT][band].sum()), float(more[CUED][band].sum()))
        share, was = (float(1.0 - np.average(one.lost[CUED][band], weights=kept[band])) for one in (part, old))
        holds = float(kept[band].sum() / kept.sum())
        counts = min(was / _HEARD, 1.0) * _ramp(holds, *_HOLDS)
        excess_db = cued_db(size) * counts - GROWTH[place].db
        if excess_db > 0.0:
            start_s, end_s = narrowed(_more_in_bands(parts, old_parts), band, now.stretches[0].start_s)
            yield Growth(
                track=layer,
                section=section.name,
                start_s=max(start_s, section.start_s),
                end_s=min(end_s, section.end_s),
                band_hz=edges_hz(band),
                size_db=size,
                step_db=GROWTH[place].db,
                excess_db=excess_db,
                share=share,
                share_before=was,
                caused_by=named_takers(list(now.hearing.layers), shares[:, band].sum(axis=1)),
            )


def _bands(curve: np.ndarray) -> list[slice]:
    """Return the bands of what is lost anew (FILTERS,), from low to high; a shallow dip does not part two."""
    found: list[slice] = []
    for band in sorted(cut(curve, _EDGE, _EDGE), key=lambda band: band.start):
        if found:
            below = found[-1]
            lower, higher = sorted(float(curve[one].max()) for one in (below, band))
            dip = float(curve[below.stop - 1 : band.start + 1].min())
            if lower >= _EDGE * higher and dip >= _DIP * lower:
                found[-1] = slice(below.start, band.stop)
                continue
        found.append(band)
    return found


def _ramp(part: float, none: float, full: float) -> float:
    """Return 0 up to one part and 1 from another on."""
    return min(max((part - none) / (full - none), 0.0), 1.0)


def _part(inside: _Inside, layer: str) -> _Part:
    """Return a layer in the stretches of a section."""
    hearing, heard = inside.hearing, inside.of(layer)
    lengths_s = np.array([one.length_s for one in inside.stretches])
    active_s = np.array([one.active_s for one in heard])
    patterns = np.tensordot(active_s / active_s.sum(), [one.patterns for one in heard], axes=1).astype(float)
    alone = STEP_CAM * patterns[ALONE]
    left = {row: STEP_CAM * patterns[row] / np.maximum(alone, 1e-12) for row in (STRICT, CUED)}
    index = list(hearing.layers).index(layer)
    taken = by_filter(np.tensordot(lengths_s, [hearing.taken[k].cued[index] for k in inside.numbers], axes=1))
    return _Part(
        alone=alone,
        lost={row: np.clip(1.0 - one, 0.0, 1.0) for row, one in left.items()},
        taken=taken / np.maximum(taken.sum(axis=0), 1e-12),
        excited={**inside.excited, layer: np.zeros_like(alone)},
    )


def _added(part: _Part, old: _Part) -> np.ndarray:
    """Return by how much more each layer excites the filters, of those that take something there (layers, FILTERS)."""
    more = [one - old.excited.get(id_, 0.0) for id_, one in part.excited.items()]
    return np.where(part.taken >= LEAST_FRACTION, np.maximum(more, 0.0), 0.0)


def _more_in_bands(parts: Sequence[HeardStretch], before: Sequence[HeardStretch]) -> np.ndarray:
    """Return what is lost now and what was then, where `spots.narrowed` looks for what there is and what is left."""
    now, then = (np.concatenate([part.bands for part in one], axis=1) for one in (parts, before))
    lost = (np.maximum(one[ALONE] - one[CUED], 0.0) for one in (now, then))
    more = np.zeros_like(now)
    more[ALONE], more[CUED] = lost
    return more
