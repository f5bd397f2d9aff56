# SPDX-License-Identifier: Apache-2.0
"""What static findings alone make of a planted masker: of those of the changed mix, the one whose band lost most anew.

A finding is a view of one run. Its band is cut from all that a layer loses there, whatever of it was lost before; what
lies inside its tolerance is none. That is why what grew is read from the difference (`mixwright.ledger.growth`).
"""

from __future__ import annotations

from planted_trials import Heard, Named

from mixwright.hearing.fader import joined
from mixwright.ledger.findings import cued_db
from mixwright.ledger.rise import Rise
from mixwright.ledger.spots import filters_between
from mixwright.ledger.tolerances import STEP
from mixwright.model.ledger import Finding

#: What grew by less did not.
LEAST_GROWTH = 0.01


def static_grew_most(before: Heard, after: Heard) -> Named | None:
    """Return the finding in a band of which most is missed that was heard before, compared in the same band."""
    told = (one for one in after.findings if one.band_hz is not None)
    most = max(((_missed(one, before), one) for one in told), key=lambda one: one[0], default=None)
    if most is None or most[0] < LEAST_GROWTH:
        return None
    grew, one = most
    return Named(one.track, one.section, one.band_hz, tuple(by.track for by in one.caused_by), grew)


def new_findings(before: Heard, after: Heard) -> tuple[Finding, ...]:
    """Return findings of which nothing was told of that layer, section and band, and whose size grew by a step."""
    fresh = (one for one in after.findings if not any(_meet(one, old) for old in before.findings))
    return tuple(one for one in fresh if _grew_db(one, before) > STEP.db)


def _missed(finding: Finding, before: Heard) -> float:
    """Return by which part of all that a layer is alone its loss in a band grew, times the share left there then.

    By the dB of its tolerance, which a lead has less of.
    """
    then = _rise(finding, before)
    if then is None:
        return 1.0
    where = _where(finding)
    left = finding.in_mix_sone.cued if finding.in_mix_sone is not None else None
    lost, alone = float(then.lost[where].sum()), float(then.alone[where].sum())
    had = 1.0 - lost / alone if alone > 0.0 else 1.0
    more = (finding.alone_sone or 0.0) - (left or 0.0) - lost
    return had * more / float(then.alone.sum()) / finding.tolerance_db


def _grew_db(finding: Finding, before: Heard) -> float:
    then = _rise(finding, before)
    return cued_db(finding.size_db) - (cued_db(then.db(_where(finding))) if then is not None else 0.0)


def _where(finding: Finding) -> slice:
    return slice(None) if finding.band_hz is None else filters_between(*finding.band_hz)


def _rise(finding: Finding, before: Heard) -> Rise | None:
    if finding.track not in before.hearing.layers:
        return None
    spans = {part.name: (part.start_s, part.end_s) for part in before.sections}
    stretches = before.hearing.layers[finding.track].stretches
    inside = before.hearing.inside(*spans.get(finding.section, (0.0, float("inf"))))
    sketch = joined([stretches[k].sketch for k in inside])
    return Rise(sketch) if len(sketch) else None


def _meet(one: Finding, other: Finding) -> bool:
    if (one.track, one.section) != (other.track, other.section):
        return False
    if one.band_hz is None or other.band_hz is None:
        return one.band_hz is other.band_hz
    return min(one.band_hz[1], other.band_hz[1]) > max(one.band_hz[0], other.band_hz[0])
