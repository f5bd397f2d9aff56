# SPDX-License-Identifier: Apache-2.0
"""Findings: where a lead or a support loses more than its place may, because of whom, furthest outside first."""

from __future__ import annotations

import functools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from mixwright.hearing.fader import Sketch, joined
from mixwright.hearing.heard import BAND_CELLS, CELL_S, CUED, Hearing
from mixwright.hearing.places import WORKING_DB_SPL
from mixwright.hearing.statistics import named_takers
from mixwright.jobs.pool import in_order
from mixwright.ledger.arrangement import covered_everywhere
from mixwright.ledger.rise import GAINS_DB, Rise
from mixwright.ledger.spots import SAME, Spot, by_filter, filters_between, narrowed, spot_at, spots
from mixwright.ledger.tolerances import (
    BAND,
    LEFT,
    LOUD_DB_SPL,
    LOW_END_HZ,
    QUIET_DB_SPL,
    RETURN,
    STEP,
    VOICE_HZ,
    WHOLE,
)
from mixwright.model.ledger import Finding, FindingKind, finding_id
from mixwright.model.ranges import Range, TakenBy
from mixwright.model.song import LeftAsIs, Section, changed
from mixwright.model.words import Place

#: Nothing is told of a layer that sounds for less in a section.
LEAST_S = 1.0
#: More than this, in dB, makes a covered layer no more covered.
_COVERED_DB = 12.0
#: What a lead takes of a layer that is none counts so much: it is to lie in front.
_BY_LEAD = 0.5
#: So many frames tell whether a finding is one at another listening level.
_FRAMES_ELSEWHERE = 48


@dataclass(frozen=True)
class LedgerRow:
    """What a song says of a layer: its place, and where another one holds; whether it is the return of a send."""

    id: str
    place: Place
    place_in: Mapping[str, Place] = field(default_factory=dict)
    is_return: bool = False

    def place_at(self, section: str) -> Place:
        """Return its place in a section."""
        return self.place_in.get(section, self.place)


def ledger_of(
    hearing: Hearing,
    rows: Sequence[LedgerRow],
    sections: Sequence[Section],
    *,
    listening_level_db_spl: float = WORKING_DB_SPL,
    left: Sequence[LeftAsIs] = (),
    workers: int | None = None,
) -> tuple[Finding, ...]:
    """Return what stands outside the tolerances, from what was heard: the furthest first, what was left as is last.

    Parameters
    ----------
    hearing : Hearing
        all layers of the mix, with sections' edges among those of its stretches
    rows : sequence of LedgerRow
        what is known of each of `hearing.layers`; the tracks of a source are one layer, and so raise nothing against
        each other
    sections : sequence of Section
        in order; none: the whole song is one, without a name
    listening_level_db_spl : float
        at which it was heard
    left : sequence of LeftAsIs
        findings that were left as they are
    workers : int, optional
        threads; the result does not depend on it

    Notes
    -----
    A layer is told as a whole where it would have to rise by more than its place may (`tolerances.WHOLE`). It is told
    in a band where what one layer takes of it costs it more than `tolerances.BAND`. The cost is on the same scale: of
    the rise that the layer as a whole needs, as much as the part of its loss that this layer takes in this band; of it
    counts by which part it stands out from both sides, and what lies in an octave (`spots.Spot.counts`). Where more
    than half of what there is in a band is left, less counts (`tolerances.LEFT`). Loss that is spread over many layers,
    or over all of the scale, is density, and told as a whole alone. A bed may melt: it is never told.
    """
    parts = sections or whole_song(hearing.stretches[-1].end_s)
    found = [*only_covered(hearing, rows)]
    found += [
        one
        for part in parts
        for one in section_findings(hearing, rows, part, listening_level_db_spl=listening_level_db_spl, workers=workers)
    ]
    return judged(found, left)


def whole_song(end_s: float) -> tuple[Section, ...]:
    """Return a song that is heard until `end_s` as one section without a name."""
    return (Section(name="", start_s=0.0, end_s=max(end_s, CELL_S)),)


def section_findings(
    hearing: Hearing,
    rows: Sequence[LedgerRow],
    section: Section,
    *,
    listening_level_db_spl: float = WORKING_DB_SPL,
    workers: int | None = None,
) -> tuple[Finding, ...]:
    """Return what stands outside the tolerances in one section, in no order; as `ledger_of`."""
    order = {row.id: row for row in rows}
    known = [order[id_] for id_ in hearing.layers]
    heard = (
        _Heard(hearing, known, index, section, listening_level_db_spl)
        for index, row in enumerate(known)
        if row.place_at(section.name) != "bed"
    )
    return tuple(finding for made in in_order(_Heard.findings, heard, workers) for finding in made)


def only_covered(hearing: Hearing, rows: Sequence[LedgerRow]) -> Iterator[Finding]:
    """Yield the leads and supports of which next to nothing is heard wherever they sound; over the song."""
    order = {row.id: row for row in rows}
    known = [order[id_] for id_ in hearing.layers]
    (song,) = whole_song(hearing.stretches[-1].end_s)
    for index, row in enumerate(known):
        heard = hearing.layers[row.id]
        if row.place != "bed" and len(heard.sketch) and covered_everywhere(heard):
            yield from _Heard(hearing, known, index, song, WORKING_DB_SPL).only_covered()


def as_heard_now(hearing: Hearing, rows: Sequence[LedgerRow], section: Section, finding: Finding) -> Finding | None:
    """Return a finding with the figures that it has in another hearing, outside its tolerance or inside.

    Parameters
    ----------
    hearing, rows, section
        as for `section_findings`; of the layers that take, `finding.taker` alone needs to be one by itself
    finding : Finding
        of that section; of kinds that one layer by itself does not tell there is none

    Returns
    -------
    Finding or None
        its `excess_db` is below 0 inside the tolerance; None where the layer is a bed or hardly sounds
    """
    ids = list(hearing.layers)
    order = {row.id: row for row in rows}
    known = [order[id_] for id_ in ids]
    if finding.track not in ids or finding.taker not in (None, *ids) or finding.kind == "brighter":
        return None
    return _Heard(hearing, known, ids.index(finding.track), section, WORKING_DB_SPL).again(finding)


def judged(findings: Iterable[Finding], left: Sequence[LeftAsIs] = ()) -> tuple[Finding, ...]:
    """Return the findings, the furthest outside first, those that were left as they are marked, and last.

    A layer that is only ever covered is told once, and not as covered in every section.
    """
    found = list(findings)
    once = {finding.track for finding in found if finding.kind == "only_covered"}
    marked = (_judged(one, left) for one in found if one.kind != "covered" or one.track not in once)
    return tuple(sorted(marked, key=lambda one: (one.verdict == "left as is", -one.excess_db, one.id)))


def _judged(finding: Finding, left: Sequence[LeftAsIs]) -> Finding:
    """Return the finding, marked where it was left as it is and has not grown by more than a step since."""
    stays = any(old.covers(finding) and cued_db(finding.size_db) <= old.size_db + STEP.db for old in left)
    return changed(finding, verdict="left as is") if stays else finding


def cued_db(size: Range) -> float:
    """Return a size by the cued reading; the highest fader where it lies beyond."""
    return GAINS_DB[-1] if size.cued is None else size.cued


def _same(one: Finding, other: Finding) -> bool:
    """Tell whether two bands of a layer, of which one takes most, are about one: the smaller lies half in the other."""
    most = {by.caused_by[0].track for by in (one, other) if by.caused_by}
    if len(most) > 1 or one.band_hz is None or other.band_hz is None:
        return False
    (a, b), (c, d) = one.band_hz, other.band_hz
    return math.log(min(b, d) / max(a, c)) >= SAME * min(math.log(b / a), math.log(d / c))


class _Heard:
    """One layer in one section, as heard."""

    def __init__(
        self, hearing: Hearing, rows: Sequence[LedgerRow], index: int, section: Section, level_db_spl: float
    ) -> None:
        self._rows, self._index, self._section, self._level = rows, index, section, level_db_spl
        self._place = rows[index].place_at(section.name)
        self._heard = hearing.layers[rows[index].id]
        self._inside = hearing.inside(section.start_s, section.end_s)
        self._stretches = [hearing.stretches[k] for k in self._inside]
        self._origin = hearing.stretches[0].first  # of a part of a song it is not 0
        self._parts = [hearing.taken[k] for k in self._inside]

    def findings(self) -> list[Finding]:
        """Return what lies outside the tolerances of the layer's place here."""
        active_s = sum(self._heard.stretches[k].active_s for k in self._inside)
        if active_s < LEAST_S or not len(self._sketch):
            return []
        bands = [*self._returns(), *self._bands()]
        worst_db = max((one.excess_db for one in bands), default=0.0)
        # Where a band says more precisely what is amiss, the layer as a whole is not told beside it.
        found = [*(one for one in self._whole() if one.excess_db > worst_db), *bands]
        return [changed(one, depends_on_level=self._flips(one)) for one in found]

    def again(self, finding: Finding) -> Finding | None:
        """Return a finding of this layer with the figures that it has here; None where nothing is told of the layer."""
        active_s = sum(self._heard.stretches[k].active_s for k in self._inside)
        if active_s < LEAST_S or not len(self._sketch) or self._place == "bed":
            return None
        if finding.band_hz is None or finding.taker is None:
            size, tolerance = self._rise.db(), WHOLE[self._place].db
            return self._finding("covered", slice(0, len(self._rise.alone)), None, size, tolerance, cued_db(size))
        where = filters_between(*finding.band_hz)
        taker = [row.id for row in self._rows].index(finding.taker)
        if finding.kind == "voice_filled":
            cost_db, tolerance = self._cost_db(self._rise, where, taker), RETURN.db
        else:
            spot = spot_at(taker, where, self._rise.alone, self._rise.lost, self._taken)
            cost_db, tolerance = spot.counts * self._missed_db(self._rise, where, taker), BAND[self._place].db
        size = self._rise.db(where)
        return self._finding(finding.kind, where, finding.band_hz, size, tolerance, cost_db, taker)

    @functools.cached_property
    def _sketch(self) -> Sketch:
        return joined([self._heard.stretches[k].sketch for k in self._inside])

    @functools.cached_property
    def _rise(self) -> Rise:
        return Rise(self._sketch)

    @functools.cached_property
    def _taken(self) -> np.ndarray:
        """What each layer takes, filter by filter (layers, FILTERS)."""
        lengths = [stretch.length_s for stretch in self._stretches]
        return by_filter(sum(w * part.cued[self._index] for w, part in zip(lengths, self._parts, strict=True)))

    def _whole(self) -> Iterator[Finding]:
        tolerance = WHOLE[self._place].db
        size = self._rise.db()
        if cued_db(size) > tolerance:
            yield self._finding("covered", slice(0, len(self._rise.alone)), None, size, tolerance, cued_db(size))

    def only_covered(self) -> Iterator[Finding]:
        """Tell of the layer as one that is only ever covered."""
        size, tolerance = self._rise.db(), WHOLE[self._place].db
        yield self._finding("only_covered", slice(0, len(self._rise.alone)), None, size, tolerance, cued_db(size))

    def _bands(self) -> Iterator[Finding]:
        tolerance = BAND[self._place].db
        found: list[Finding] = []
        for spot in spots(self._rise.alone, self._rise.lost, self._taken):
            if self._filled_by_return(spot):
                continue
            cost_db = spot.counts * self._missed_db(self._rise, spot.filters, spot.taker)
            if cost_db > tolerance:
                kind: FindingKind = "low_pile_up" if spot.band_hz[1] <= LOW_END_HZ else "covered_band"
                size = self._rise.db(spot.filters)
                found.append(self._finding(kind, spot.filters, spot.band_hz, size, tolerance, cost_db, spot.taker))
        kept: list[Finding] = []
        for one in sorted(found, key=lambda one: -one.excess_db):
            if not any(_same(one, other) for other in kept):
                kept.append(one)
        yield from kept

    def _returns(self) -> Iterator[Finding]:
        """Return which returns fill the range of a lead."""
        if self._place != "lead":
            return
        where = filters_between(*VOICE_HZ)
        for taker, row in enumerate(self._rows):
            cost_db = self._cost_db(self._rise, where, taker) if row.is_return else 0.0
            if cost_db > RETURN.db:
                size = self._rise.db(where)
                made = self._finding("voice_filled", where, VOICE_HZ, size, RETURN.db, cost_db, taker)
                by = tuple(one for one in made.caused_by if one.track == row.id)
                yield changed(made, caused_by=by or (TakenBy(track=row.id, fraction=0.0),))

    def _filled_by_return(self, spot: Spot) -> bool:
        """Tell whether a band is what a return fills of a lead: told as that, or within its tolerance."""
        low_hz, high_hz = spot.band_hz
        inside = VOICE_HZ[0] <= low_hz and high_hz <= VOICE_HZ[1]
        return self._place == "lead" and inside and self._rows[spot.taker].is_return

    def _cost_db(self, rise: Rise, where: slice, taker: int) -> float:
        """Return how much of the rise that the layer needs as a whole is due to what one takes in a band."""
        took = rise.lost * self._taken[taker] / np.maximum(self._taken.sum(axis=0), 1e-12)
        of = float(took[where].sum() / max(float(rise.lost.sum()), 1e-12))
        place = self._rows[taker].place_at(self._section.name)
        yields = _BY_LEAD if place == "lead" and self._place != "lead" else 1.0
        return min(cued_db(rise.db()), _COVERED_DB) * of * yields

    def _missed_db(self, rise: Rise, where: slice, taker: int) -> float:
        """Return what counts of that cost: less where more than `tolerances.LEFT` of the band is left."""
        left = float(rise.left[CUED][where].sum() / max(float(rise.alone[where].sum()), 1e-12))
        return self._cost_db(rise, where, taker) * min(max(1.0 - left, 0.0) / (1.0 - LEFT), 1.0) ** 2

    def _finding(
        self,
        kind: FindingKind,
        where: slice,
        band_hz: tuple[float, float] | None,
        size: Range,
        tolerance_db: float,
        counted_db: float,
        taker: int | None = None,
    ) -> Finding:
        first, end = (cell - self._origin for cell in (self._stretches[0].first, self._stretches[-1].end))
        blocks = slice(first // BAND_CELLS, -(-end // BAND_CELLS))
        start_s, end_s = narrowed(self._heard.bands[:, blocks], where, self._stretches[0].start_s)
        track, rise = self._rows[self._index].id, self._rise
        ids = [row.id for row in self._rows]
        left = {reading: float(min(one[where].sum(), rise.alone[where].sum())) for reading, one in rise.left.items()}
        strict, cued = (left[reading] for reading in sorted(left))
        return Finding(
            id=finding_id(kind, track, self._section.name, band_hz),
            kind=kind,
            track=track,
            section=self._section.name,
            start_s=max(start_s, self._section.start_s),
            end_s=min(end_s, self._section.end_s),
            band_hz=band_hz,
            size_db=size,
            tolerance_db=tolerance_db,
            excess_db=counted_db - tolerance_db,
            caused_by=named_takers(ids, self._taken[:, where].sum(axis=1)),
            taker=None if taker is None else ids[taker],
            alone_sone=float(rise.alone[where].sum()),
            in_mix_sone=Range(cued=cued, strict=strict),
        )

    def _flips(self, finding: Finding) -> bool:
        """Tell whether a finding lies outside at one of a quiet and a loud listening level alone."""
        return self._outside_at(finding, QUIET_DB_SPL) != self._outside_at(finding, LOUD_DB_SPL)

    def _outside_at(self, finding: Finding, level_db_spl: float) -> bool:
        rise = self._elsewhere[level_db_spl]
        if finding.band_hz is None or finding.taker is None:
            return cued_db(rise.db()) > finding.tolerance_db
        where = filters_between(*finding.band_hz)
        taker = [row.id for row in self._rows].index(finding.taker)
        cost_db = self._cost_db if finding.kind == "voice_filled" else self._missed_db
        now_db = cost_db(self._rise, where, taker)
        # What counts of the cost counts of it at any level.
        counts = (finding.excess_db + finding.tolerance_db) / now_db if now_db > 0.0 else 1.0
        return counts * cost_db(rise, where, taker) > finding.tolerance_db

    @functools.cached_property
    def _elsewhere(self) -> dict[float, Rise]:
        """The layer as it is heard at a quiet and a loud listening level, from fewer frames."""
        sketch = self._sketch.thinned(_FRAMES_ELSEWHERE)
        return {at: Rise(sketch.louder(at - self._level)) for at in (QUIET_DB_SPL, LOUD_DB_SPL)}
