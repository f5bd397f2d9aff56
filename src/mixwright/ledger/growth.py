# SPDX-License-Identifier: Apache-2.0
"""What grew since an earlier ledger: findings beside what was heard in the same band before, told then or not."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from mixwright.hearing.fader import joined
from mixwright.hearing.heard import Hearing
from mixwright.ledger.findings import cued_db
from mixwright.ledger.rise import Rise
from mixwright.ledger.spots import filters_between
from mixwright.ledger.tolerances import STEP
from mixwright.model.ledger import Finding
from mixwright.model.song import Section


@dataclass(frozen=True)
class Growth:
    """A finding, and how it was before.

    `told`: that it was told before, of the same layer and section, in a band that meets its own. `grew_db`: by how much
    its size grew (cued). `missed`: by which part of the loudness that the layer has alone its loss in that band grew,
    times the share that had been left there: what was covered anyhow is missed less;
    by the dB of its tolerance, which a lead has less of.
    """

    finding: Finding
    told: bool
    grew_db: float
    missed: float

    @property
    def is_new(self) -> bool:
        """Tell whether it was not told before, and is not there merely because a little more was enough."""
        return not self.told and self.grew_db > STEP.db


def growth(
    findings: Sequence[Finding], before: Hearing, told: Sequence[Finding], sections: Sequence[Section]
) -> Iterator[Growth]:
    """Yield how findings grew over what was heard before; what was within its tolerance then has its real size.

    Parameters
    ----------
    findings : sequence of Finding
        of now
    before : Hearing
        what was heard then, with the same sections; a layer that was not there lost nothing
    told : sequence of Finding
        the ledger of then
    sections : sequence of Section
    """
    spans = {part.name: (part.start_s, part.end_s) for part in sections}
    rises: dict[tuple[str, str], Rise | None] = {}
    for one in findings:
        at = one.track, one.section
        if at not in rises:
            rises[at] = _rise(before, one.track, *spans.get(one.section, (0.0, math.inf)))
        yield _growth(one, rises[at], any(_meet(one, old) for old in told))


def _rise(before: Hearing, layer: str, start_s: float, end_s: float) -> Rise | None:
    if layer not in before.layers:
        return None
    stretches = before.layers[layer].stretches
    sketch = joined([stretches[k].sketch for k in before.inside(start_s, end_s)])
    return Rise(sketch) if len(sketch) else None


def _growth(finding: Finding, then: Rise | None, told: bool) -> Growth:
    where = slice(None) if finding.band_hz is None else filters_between(*finding.band_hz)
    left = finding.in_mix_sone.cued if finding.in_mix_sone is not None else None
    lost_now = (finding.alone_sone or 0.0) - (left or 0.0)
    if then is None:
        return Growth(finding, told, cued_db(finding.size_db), 1.0)
    lost, alone = float(then.lost[where].sum()), float(then.alone[where].sum())
    had = 1.0 - lost / alone if alone > 0.0 else 1.0
    missed = had * (lost_now - lost) / float(then.alone.sum()) / finding.tolerance_db
    return Growth(finding, told, cued_db(finding.size_db) - cued_db(then.db(where)), missed)


def _meet(one: Finding, other: Finding) -> bool:
    if (one.track, one.section) != (other.track, other.section):
        return False
    if one.band_hz is None or other.band_hz is None:
        return one.band_hz is other.band_hz
    return min(one.band_hz[1], other.band_hz[1]) > max(one.band_hz[0], other.band_hz[0])
