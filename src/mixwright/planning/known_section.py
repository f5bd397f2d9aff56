# SPDX-License-Identifier: Apache-2.0
"""One section as a plan knows it: what it weighs there, and how far that lies outside as the mix stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from mixwright.ledger.findings import LEAST_S, LedgerRow
from mixwright.ledger.tolerances import WHOLE
from mixwright.model.ledger import Finding
from mixwright.model.words import Place
from mixwright.planning.audible import Audible, Heard, Share
from mixwright.planning.excited import Excited
from mixwright.planning.powers import phon
from mixwright.planning.standing import Standing
from mixwright.planning.terms import (
    INSIDE_PHON,
    LEAD_INSIDE_PHON,
    BandTerm,
    LossTerm,
    Term,
    WholeTerm,
    blamed,
    places_between,
)

#: Rows that lie further inside than this, in phon, are not asked whether they still do.
_FAR_INSIDE_PHON = 6.0
#: What the ear's model of a plan differs by from the ledger is taken over up to here: phon, and a factor.
_MOST_OFFSET_PHON, _MOST_SCALE = 6.0, 60.0
#: Who takes more than this part of a band is what is in the way of it.
_MOST_TAKEN = 0.6
#: So far outside a layer as a whole is believed to lie, and so many phon are a dB of its fader, at least and at most.
_MOST_EXCESS_DB, _PHON_PER_DB = 12.0, (0.3, 1.5)


@dataclass(eq=False)
class Essential:
    """Where a row of a section is itself, bool (frames, PLACES); so much of it static shapes may take."""

    where: np.ndarray
    limit_db: float


@dataclass(frozen=True, eq=False)
class Known:
    """One section as the plan knows it: `weight` is its part of the mix's energy.

    `before`: what was heard of `audible.judged` before any move; `places`: of each row what it is for in this section;
    `terms` are of leads and supports; `short_leads`: the rows of leads that a finding calls too soft as a whole;
    `standing`: of rows that stand apart from where they stand in other sections.
    """

    audible: Audible
    before: Heard
    places: Mapping[int, Place]
    terms: Sequence[Term]
    essential: Mapping[int, Essential]
    weight: float
    short_leads: frozenset[int] = frozenset()
    standing: Mapping[int, Standing] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """The name of the section."""
        return self.audible.section.name


def known_section(
    excited: Excited,
    rows: Sequence[LedgerRow],
    findings: Sequence[Finding],
    kept: Mapping[int, float],
    energy: Mapping[str, float] | None,
    essential: Mapping[tuple[str, int], Essential],
) -> Known:
    """Return a section with its terms: those of findings lie as far outside as the ledger says, as the mix stands.

    Parameters as of `objective.Objective`.
    """
    section = excited.section
    facts = {row.id: row for row in rows}
    index = {id_: k for k, id_ in enumerate(excited.rows) if id_ in facts}
    places: dict[int, Place] = {k: facts[id_].place_at(section.name) for id_, k in index.items()}
    judged = [k for k, place in places.items() if place != "bed" and excited.active_s[k] >= LEAST_S]
    of = [one for one in findings if one.section in ("", section.name) and index.get(one.track) in judged]
    shares = {Share(index[one.track], index[one.taker]): None for one in of if one.band_hz and one.taker in index}
    tolerated = {row: WHOLE[places[row]].db for row in judged}
    audible = Audible(excited, judged, tolerated, tuple(shares))
    before = audible.still(0.0)[0]
    terms: list[Term] = []
    for k, row in enumerate(judged):
        own = [one for one in of if index[one.track] == row]
        terms += _whole_term(k, places[row], tolerated[row], before, own)
    for one in of:
        if one.band_hz and one.taker in index:
            share = list(shares).index(Share(index[one.track], index[one.taker]))
            where = places_between(*one.band_hz)
            counts_left = one.kind != "voice_filled"
            term = BandTerm(audible.at[index[one.track]], share, where, 1.0, one.tolerance_db, counts_left, one)
            scale = min((one.excess_db + one.tolerance_db) / max(term.cost_db(before), 1e-6), _MOST_SCALE)
            terms.append(replace(term, scale=scale))
    asked = {judged[one.row]: tolerated[judged[one.row]] for one in terms if isinstance(one, WholeTerm)}
    stands = _louder(excited, kept) if kept else excited
    audible = Audible(stands, judged, asked, tuple(shares))
    heard = audible.still(0.0)[0]
    inside = [one for one in terms if isinstance(one, WholeTerm) and one.finding is None]
    audible.spare({judged[one.row]: -one.outside_phon(heard) - one.inside_phon for one in inside})
    blame = blamed(of, index)
    terms += [
        LossTerm(k, places[row], phon(float(heard.cued[k].sum()))[0], blame.get(row, 0.0))
        for k, row in enumerate(judged)
    ]
    held = {row: one for (name, row), one in essential.items() if name == section.name}
    weight = (energy or {}).get(section.name, section.end_s - section.start_s)
    short = {judged[one.row] for one in terms if isinstance(one, WholeTerm) and one.inside_phon > 0.0}
    short |= {index[one.track] for one in of if one.kind == "only_covered"}
    leads = frozenset(row for row in short if places[row] == "lead")
    return Known(audible, before, places, tuple(terms), held, weight, leads)


def _whole_term(k: int, place: Place, tolerated_db: float, heard: Heard, of: Sequence[Finding]) -> Iterator[WholeTerm]:
    """Yield the term of a layer as a whole, where it lies outside or not far inside."""
    alone, in_mix, up = (phon(float(one[k].sum()))[0] for one in (heard.alone, heard.cued, heard.raised))
    finding = next((one for one in of if one.kind == "covered"), None)
    if finding is not None:
        by_db = min(max((up - in_mix) / tolerated_db, _PHON_PER_DB[0]), _PHON_PER_DB[1])
        wanted = min(max(finding.excess_db, 0.0), _MOST_EXCESS_DB) * by_db
        offset = min(max(wanted - (alone - up), -_MOST_OFFSET_PHON), _MOST_OFFSET_PHON)
        yield WholeTerm(k, place, offset, finding, LEAD_INSIDE_PHON if place == "lead" else INSIDE_PHON)
    elif alone - up > -_FAR_INSIDE_PHON:
        # Of a lead that is told in bands the ledger does not say that it is short as a whole, too: where it is not one
        # layer that takes the band, that is what it is.
        spread = [one for one in of if one.caused_by and one.caused_by[0].fraction <= _MOST_TAKEN]
        near = place == "lead" and bool(spread) and alone - up > -LEAD_INSIDE_PHON
        yield WholeTerm(k, place, -max(alone - up, 0.0), None, LEAD_INSIDE_PHON if near else 0.0)


def _louder(excited: Excited, kept: Mapping[int, float]) -> Excited:
    """Return a section in which some rows are louder."""
    gain = np.ones((len(excited.rows), 1, 1, 1), dtype=np.float32)
    for row, db in kept.items():
        gain[row] = 10.0 ** (db / 10.0)
    power = excited.k_power * gain
    whole = np.float32(power.sum(dtype=np.float64))
    return replace(excited, own=excited.own * gain, alone=excited.alone * gain, k_power=power / whole)
