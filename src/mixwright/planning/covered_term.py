# SPDX-License-Identifier: Apache-2.0
"""What is wrong with a layer of which next to nothing is heard wherever it sounds: told of the song as one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from mixwright.ledger.arrangement import COVERED
from mixwright.ledger.findings import LedgerRow
from mixwright.model.ledger import Finding
from mixwright.model.words import Place
from mixwright.planning.audible import Heard
from mixwright.planning.known_section import Known
from mixwright.planning.powers import phon
from mixwright.planning.terms import INSIDE_PHON, OUTSIDE_PHON, ROUND_PHON, WHOLE_WEIGHT, Part, at_all, hinge, worth

#: It is believed to lie outside by so much at least, in phon: the ledger says that it does.
_LEAST_OUTSIDE_PHON = 0.3


@dataclass(frozen=True)
class Sounding:
    """Where a layer sounds: section and row of `Audible.judged` by number, and which part of its time that is."""

    section: int
    row: int
    part: float


@dataclass(frozen=True, eq=False)
class CoveredTerm:
    """A layer that is only ever covered: ``w * (x + OUTSIDE_PHON * (1 - exp(-x / ROUND_PHON)))``, in phon.

    ``x = hinge(phon(COVERED * alone) - phon(cued) + offset + INSIDE_PHON)`` with the mean loudness, alone and in the
    mix, of all the time in which it sounds: `ledger.arrangement.covered_everywhere` asks whether more than COVERED of
    it is heard. ``w`` as of `terms.WholeTerm`. `offset` makes of this model's answer the ledger's, as the mix stands.
    Whether it lies inside its tolerance in each section by itself, the terms of the sections say.
    """

    finding: Finding
    place: Place
    where: Sequence[Sounding]
    offset: float

    def outside_phon(self, heard: Mapping[int, Heard]) -> float:
        """Return how far it lies outside, in phon, by what is heard of every section in which it sounds."""
        return self._outside(heard)[0]

    def cued_phon(self, heard: Mapping[int, Heard]) -> float:
        """Return how loud it is in the mix, cued, in phon."""
        return phon(self._mean(heard, "cued"))[0]

    def add_to(self, parts: Sequence[Part], heard: Mapping[int, Heard]) -> None:
        """Add value and derivatives to the sums of the sections, all of the value to the first in which it sounds."""
        over, by_alone, by_cued = self._outside(heard)
        value, slope = hinge(over + INSIDE_PHON)
        outside, by_value = at_all(value, ROUND_PHON)
        weight = WHOLE_WEIGHT[self.place] * worth(self.finding)
        parts[self.where[0].section].wrong += weight * (value + OUTSIDE_PHON * outside)
        slope *= weight * (1.0 + OUTSIDE_PHON * by_value)
        for one in self.where:
            by = parts[one.section].by
            by.alone[one.row] += slope * by_alone * one.part
            by.cued[one.row] += slope * by_cued * one.part

    def _outside(self, heard: Mapping[int, Heard]) -> tuple[float, float, float]:
        """Return how far it lies outside, and the derivatives by both mean loudnesses, per sone."""
        asked, by_asked = phon(COVERED * self._mean(heard, "alone"))
        cued, by_cued = phon(self._mean(heard, "cued"))
        return asked - cued + self.offset, COVERED * by_asked, -by_cued

    def _mean(self, heard: Mapping[int, Heard], name: str) -> float:
        return float(sum(one.part * getattr(heard[one.section], name)[one.row].sum() for one in self.where))


def covered_terms(
    sections: Sequence[Known], rows: Sequence[LedgerRow], findings: Sequence[Finding]
) -> Iterator[CoveredTerm]:
    """Yield the terms of leads and supports that findings call only ever covered.

    Parameters
    ----------
    sections : sequence of Known
        of the whole song
    rows, findings
        as of `objective.Objective`
    """
    places = {row.id: row.place for row in rows}
    heard = {k: known.before for k, known in enumerate(sections)}
    for finding in findings:
        if finding.kind != "only_covered" or places.get(finding.track, "bed") == "bed":
            continue
        sounding = []
        for k, known in enumerate(sections):
            excited = known.audible.excited
            row = excited.rows.index(finding.track)
            if row in known.audible.at:
                sounding.append((k, known.audible.at[row], float(excited.active_s[row])))
        whole_s = sum(seconds for *_, seconds in sounding)
        if whole_s > 0.0:
            where = tuple(Sounding(k, row, seconds / whole_s) for k, row, seconds in sounding)
            term = CoveredTerm(finding, places[finding.track], where, 0.0)
            yield replace(term, offset=_told_phon(finding) - term.outside_phon(heard))


def _told_phon(finding: Finding) -> float:
    """Return how far the ledger says that the layer lies outside."""
    if finding.alone_sone is None or finding.in_mix_sone is None or finding.in_mix_sone.cued is None:
        return _LEAST_OUTSIDE_PHON
    told = phon(COVERED * finding.alone_sone)[0] - phon(finding.in_mix_sone.cued)[0]
    return max(told, _LEAST_OUTSIDE_PHON)
