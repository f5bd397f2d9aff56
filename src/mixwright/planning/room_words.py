# SPDX-License-Identifier: Apache-2.0
"""Moves that make room as they are proposed: what each is worth, what fails without it, and what it costs, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from mixwright.model.ledger import Finding
from mixwright.model.results import PlannedMove
from mixwright.planning.candidate import Candidate
from mixwright.planning.foretold import COST_DB, Foretold
from mixwright.planning.limits import CUT_DB, EVIDENCE, LEVEL_DB, STRONG_BOOST_DB, TILT_DB
from mixwright.planning.search import Pick
from mixwright.units import band_words

#: So many costs of a move are told, the largest.
_MOST_COSTS = 3
#: By how much a layer stands apart from other sections where that is told, in dB.
TOLD_DB = 2.0


def planned_move(
    pick: Pick,
    told: Foretold,
    findings: Mapping[str, Finding],
    ids: Sequence[str],
    names: Mapping[str, str],
    strength: float,
    apart_db: float | None = None,
) -> PlannedMove:
    """Return a move as it is proposed.

    Parameters
    ----------
    pick, told
        the move, and what it is expected to do
    findings : mapping
        by id
    ids : sequence of str
        of the rows
    names : mapping
        names of layers, groups and sends by id
    strength : float
    apart_db : float, optional
        by how much what it moves stands higher in its section than in the others, or, below 0, lower
    """
    candidate = pick.candidate
    finding = findings.get(candidate.finding)
    fields = dict(candidate.move(pick.values))
    best = told.gains[0] if told.gains else None
    predicted: dict[str, float | None] = {}
    if best is not None:
        predicted = {"cued_phon_change": round(best.phon, 2), "fader_equivalent_db": round(best.fader_db, 2)}
    return PlannedMove(
        **fields,  # type: ignore[arg-type]
        state="proposed",
        strength=strength,
        by="plan",
        reason=_reason(candidate, pick, told, finding, ids, names) + _beside_others(candidate, apart_db, names),
        evidence=EVIDENCE.get(candidate.why, ""),
        predicted=predicted,
        without_it=_without_it(told, findings, ids, names),
        costs=tuple(_costs(told, ids, names)),
        finding=candidate.finding,
    )


def _place(finding: Finding, names: Mapping[str, str]) -> str:
    """Return who and where: ``Lead vox at 1.2 to 2.7 kHz in chorus 2``."""
    name = names.get(finding.track, finding.track)
    band = f" at {band_words(*finding.band_hz, ' to ')}" if finding.band_hz is not None else ""
    return f"{name}{band}" + (f" in {finding.section}" if finding.section else "")


def _reason(
    candidate: Candidate,
    pick: Pick,
    told: Foretold,
    finding: Finding | None,
    ids: Sequence[str],
    names: Mapping[str, str],
) -> str:
    if not told.gains or finding is None:
        return ""
    best = told.gains[0]
    who = names.get(ids[best.row], ids[best.row])
    where = f" in {best.section}" if best.section else ""
    reason = f"Worth about {max(best.fader_db, 0.0):.1f} dB of fader to {who}{where}, the model expects"
    if finding.taker is not None and finding.band_hz is not None:
        taker = names.get(finding.taker, finding.taker)
        reason += f": {taker} takes most of what it loses at {band_words(*finding.band_hz, ' to ')}"
    strong = " This is a strong move." if _is_strong(candidate, pick) else ""
    return f"{reason}.{strong}"


def _beside_others(candidate: Candidate, apart_db: float | None, names: Mapping[str, str]) -> str:
    """Return what the other sections say of a move: nothing where it leads away from them."""
    gain_db = candidate.settings[0].first if candidate.settings else 0.0
    if apart_db is None or abs(apart_db) < TOLD_DB or apart_db * gain_db >= 0.0:
        return ""
    name = names.get(candidate.target, candidate.target)
    way = "higher" if apart_db > 0.0 else "lower"
    return f" {name} stands about {abs(apart_db):.0f} dB {way} there than in the sections that are most alike."


def _is_strong(candidate: Candidate, pick: Pick) -> bool:
    gain = candidate.all_settings(pick.values).get("gain_db", 0.0)
    if candidate.kind in ("level", "tilt"):
        return abs(gain) > (LEVEL_DB if candidate.kind == "level" else TILT_DB).value
    return candidate.kind == "shape" and (gain >= STRONG_BOOST_DB.value or gain < -CUT_DB.value)


def _without_it(told: Foretold, findings: Mapping[str, Finding], ids: Sequence[str], names: Mapping[str, str]) -> str:
    back = [findings[id_] for id_ in sorted(told.comes_back, key=lambda one: -told.comes_back[one]) if id_ in findings]
    if back:
        more = f", and {len(back) - 1} more" if len(back) > 1 else ""
        return f"Without it this stays outside its tolerance: {_place(back[0], names)}{more}."
    if told.gains:
        best = told.gains[0]
        where = f" in {best.section}" if best.section else ""
        name = names.get(ids[best.row], ids[best.row])
        return f"Without it {name} is {max(best.phon, 0.0):.1f} phon softer in the mix{where}."
    return ""


def _costs(told: Foretold, ids: Sequence[str], names: Mapping[str, str]) -> list[str]:
    """Return what the moved layers lose of their level, and what others lose in the mix, the largest first."""
    moved = [(-db, row) for row, db in told.moved_db.items() if db < -COST_DB]
    lost = list(told.lost_phon.items())
    own = [f"{names.get(ids[row], ids[row])} {db:.1f} dB of its level" for db, row in sorted(moved, reverse=True)]
    others = [
        f"{names.get(ids[row], ids[row])} {phon:.1f} phon in the mix"
        for row, phon in sorted(lost, key=lambda one: (-one[1], one[0]))
    ]
    return [*own[:_MOST_COSTS], *others[:_MOST_COSTS]]
