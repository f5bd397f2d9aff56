# SPDX-License-Identifier: Apache-2.0
"""What is wrong with a section, and what it would be worth to mend it: told in phon, with derivatives."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.hearing.bands import PLACE_FILTERS, PLACES
from mixwright.ledger.spots import filters_between
from mixwright.ledger.tolerances import LEFT
from mixwright.model.ledger import Finding
from mixwright.model.words import Place
from mixwright.planning.audible import Heard
from mixwright.planning.powers import phon

#: Over how many phon a limit is rounded, so that there are slopes to go by.
ROUND_PHON = 0.5
#: A finding is mended where it lies this far inside its tolerance, so that it is no finding when it is measured: in
#: phon of a layer as a whole, and as a part of the tolerance in a band.
INSIDE_PHON, INSIDE_PART = 0.5, 0.3
#: A lead that is short as a whole is brought this far inside, in phon: at the very edge it still has to be listened
#: for. What a support loses up to here is free where a lead is raised that was short: it is to be in front. Ours.
LEAD_INSIDE_PHON, LEAD_RAISED_FREE_PHON = 1.5, 2.0
#: What a phon outside the tolerance counts, by place: a lead in front of all.
WHOLE_WEIGHT: dict[Place, float] = {"lead": 1.0, "support": 0.7, "bed": 0.0}
#: What a band counts, in phon, that lies outside by 1.7 times its tolerance.
BAND_WEIGHT = 2.0
#: What it counts, in phon, that a layer or a band lies outside at all, beside by how much: a band where place is not
#: asked, a layer as a whole times `WHOLE_WEIGHT`.
OUTSIDE_PHON = 1.5
#: A finding counts in full that lies outside by so much as the mix stands: a part of the tolerance of a band, dB of a
#: layer as a whole; one that is hardly one this part of it.
_WORTH_PART, _WORTH_DB, _LEAST_WORTH = 0.5, 1.0, 0.6
#: What a phon lost by another lead or support counts, and what of it is free: less than what listeners repeat
#: (Ma, Reiss & Black 2014: about 2 dB, a few tenths of which add up unheard).
LOSS_WEIGHT: dict[Place, float] = {"lead": 1.0, "support": 0.6, "bed": 0.0}
LOSS_FREE_PHON = 0.5
#: So much lost counts twice what it is.
LOSS_FAR_PHON = 2.0
#: Of what a layer loses that is moved since it is in the way, this part counts, and twice that so far.
BLAMED_PART, BLAMED_FAR_PHON = 0.3, 6.0
#: What a layer may gain before it stands out; what it gains beyond counts as what it loses, twice that so far.
RISE_FREE_PHON, RISE_FAR_PHON = 5.0, 6.0
#: Who takes no more than the first part of what is lost in the findings of a section is not in the way; who takes the
#: second or more is what is in the way.
BLAMED = 0.2, 0.5
#: What a phon counts that a lead or support gains which is not moved itself, and over how many phon that wears off:
#: whoever is in the way of one is often in that of others.
GAIN_WEIGHT, GAIN_PHON = 0.25, 2.5
#: What a dB counts by which a bed is moved, beyond what is free: it may melt, but would be missed.
BED_WEIGHT, BED_FREE_DB = 0.08, 1.0
#: What a phon counts by which a lead or support comes nearer to how it would be heard if what is moved stood as in the
#: other sections, by its place, and over how many phon that wears off.
APART_WEIGHT, APART_ROUND_PHON = 0.4, 1.0
_LEAST = 1e-9


def hinge(value: float, rounded: float = ROUND_PHON) -> tuple[float, float]:
    """Return what of a value lies above 0, with its derivative: 0, then a parabola over `rounded`, then straight."""
    if value <= 0.0:
        return 0.0, 0.0
    if value < rounded:
        return value * value / (2.0 * rounded), value / rounded
    return value - rounded / 2.0, 1.0


def worth(finding: Finding) -> float:
    """Return what a finding counts, 0.6 to 1: in full where it lies well outside as the mix stands."""
    if finding.kind == "only_covered":
        return 1.0
    part = finding.excess_db / (_WORTH_DB if finding.band_hz is None else finding.tolerance_db * _WORTH_PART)
    return _LEAST_WORTH + (1.0 - _LEAST_WORTH) * min(max(part, 0.0), 1.0)


def at_all(value: float, rounded: float) -> tuple[float, float]:
    """Return what it counts that a value of 0 or more is above 0 at all, 0 to 1, with its derivative."""
    left = math.exp(-value / rounded)
    return 1.0 - left, left / rounded


@dataclass(eq=False)
class Part:
    """A sum over terms, and its derivatives `by` what is heard.

    `wrong` of it is findings, less what leads and supports gain; `apart` by how much moves take these further from how
    they would be heard if what is moved stood as in other sections.
    """

    wrong: float
    harm: float
    apart: float
    by: Heard


@dataclass(frozen=True, eq=False)
class Moved:
    """What moves do in a section: `rows` that they move themselves, and what speaks from other sections.

    `apart`: by how much each row would change in phon if those that are moved in this section alone stood in it as they
    do elsewhere; None where that is not known. `lead_raised`: whether a lead that is short as a whole is raised there.
    """

    rows: Collection[int] = ()
    apart: np.ndarray | None = None
    lead_raised: bool = False


@dataclass(frozen=True, eq=False)
class WholeTerm:
    """A layer as a whole: ``w * (x + OUTSIDE_PHON * (1 - exp(-x / ROUND_PHON)))``, in phon.

    ``x = hinge(alone' - raised' + offset + inside_phon)``: by how much it lies outside. ``w`` is
    what its place counts, of a finding times its `worth`. That it lies outside at all counts beside by how much.

    alone' is its loudness alone with the moves, raised' that in the mix with its fader up by what its place tolerates:
    the ledger's own question, whether it needs more than that to be as loud as alone (`ledger.tolerances.WHOLE`).
    `offset`: what makes of this model's answer the ledger's, as the mix stands.
    """

    row: int
    place: Place
    offset: float
    finding: Finding | None = None
    inside_phon: float = 0.0

    def outside_phon(self, heard: Heard) -> float:
        """Return how far it lies outside, in phon; below 0 inside."""
        k = self.row
        return self.offset + phon(float(heard.alone[k].sum()))[0] - phon(float(heard.raised[k].sum()))[0]

    def add_to(self, part: Part, heard: Heard, moved: Moved) -> None:  # noqa: ARG002
        """Add value and derivatives."""
        k = self.row
        alone, by_alone = phon(float(heard.alone[k].sum()))
        raised, by_raised = phon(float(heard.raised[k].sum()))
        value, slope = hinge(alone - raised + self.offset + self.inside_phon)
        weight = WHOLE_WEIGHT[self.place] * (worth(self.finding) if self.finding else 1.0)
        outside, by_value = at_all(value, ROUND_PHON)
        part.wrong += weight * (value + OUTSIDE_PHON * outside)
        slope *= weight * (1.0 + OUTSIDE_PHON * by_value)
        part.by.alone[k] += slope * by_alone
        part.by.raised[k] -= slope * by_raised


@dataclass(frozen=True, eq=False)
class BandTerm:
    """A band that one layer takes of another, in phon.

    ``worth * (BAND_WEIGHT * log(1 + x) + OUTSIDE_PHON * (1 - exp(-2 x / INSIDE_PART)))`` where
    ``x = hinge(cost / tolerance - 1 + INSIDE_PART)``, rounded over 0.3. So the last step to the tolerance counts most:
    a band that is half mended is told again.

    The cost in dB is that of `ledger.findings`: of the rise that the layer as a whole needs as much as the part of its
    loss that this one takes there, less where more than half of the band is left:
    ``scale * gap * part * min((1 - left) / (1 - LEFT), 1)^2``. The rise goes with the `gap` of the layer alone over
    what is left of it, in phon; what does not move is in `scale`, which makes it the ledger's cost as the mix stands.
    """

    row: int
    share: int
    where: slice
    scale: float
    tolerance_db: float
    counts_left: bool
    finding: Finding

    def cost_db(self, heard: Heard) -> float:
        """Return the cost in dB of fader."""
        return self._cost(heard)[0]

    def outside_part(self, heard: Heard) -> float:
        """Return how far it lies outside, in tolerances; below 0 inside."""
        return self.cost_db(heard) / self.tolerance_db - 1.0

    def add_to(self, part: Part, heard: Heard, moved: Moved) -> None:  # noqa: ARG002
        """Add value and derivatives."""
        cost, by_alone, by_cued, by_took = self._cost(heard)
        over = cost / self.tolerance_db - 1.0 + INSIDE_PART
        value, slope = hinge(over, 0.3)
        outside, by_value = at_all(value, INSIDE_PART / 2.0)
        weight = worth(self.finding)
        part.wrong += weight * (BAND_WEIGHT * math.log1p(value) + OUTSIDE_PHON * outside)
        by = weight * (BAND_WEIGHT / (1.0 + value) + OUTSIDE_PHON * by_value) * slope / self.tolerance_db
        part.by.alone[self.row] += by * by_alone
        part.by.cued[self.row] += by * by_cued
        part.by.took[self.share] += by * by_took

    def _cost(self, heard: Heard) -> tuple[float, np.ndarray, np.ndarray, np.ndarray]:
        alone, cued, took = heard.alone[self.row], heard.cued[self.row], heard.took[self.share]
        alone_phon, by_alone_sone = phon(float(alone.sum()))
        cued_phon, by_cued_sone = phon(float(cued.sum()))
        gap = max(alone_phon - cued_phon, 0.0)
        lost = np.maximum(alone - cued, 0.0)
        whole = max(float(lost.sum()), _LEAST)
        part = float(took[self.where].sum()) / whole
        here_alone, here_cued = float(alone[self.where].sum()), float(cued[self.where].sum())
        counts, by_left = self._counts(here_cued / max(here_alone, _LEAST))
        cost = self.scale * gap * part * counts
        sign = 1.0 if gap > 0.0 else 0.0
        by_alone = np.full(PLACES, sign * self.scale * part * counts * by_alone_sone)
        by_cued = np.full(PLACES, -sign * self.scale * part * counts * by_cued_sone)
        fewer = np.where(lost > 0.0, cost / whole, 0.0)
        by_alone -= fewer
        by_cued += fewer
        by_left *= self.scale * gap * part / max(here_alone, _LEAST)
        by_alone[self.where] -= by_left * here_cued / max(here_alone, _LEAST)
        by_cued[self.where] += by_left
        by_took = np.zeros(PLACES)
        by_took[self.where] = self.scale * gap * counts / whole
        return cost, by_alone, by_cued, by_took

    def _counts(self, left: float) -> tuple[float, float]:
        """Return what counts by what is left of the band, and the derivative by that."""
        if not self.counts_left or left <= LEFT:
            return 1.0, 0.0
        missing = max(1.0 - left, 0.0) / (1.0 - LEFT)
        return missing * missing, -2.0 * missing / (1.0 - LEFT)


@dataclass(frozen=True, eq=False)
class LossTerm:
    """What a lead or support loses and gains in the mix, in phon cued, at equal loudness of the mix.

    Harm is ``w * (x + x^2 / far)`` with ``x = hinge(before - now - LOSS_FREE_PHON)``, ``w`` what its place counts, and
    far LOSS_FAR_PHON: a layer that loses much is no more what it was, so that grows faster than what it loses.

    A layer that is moved itself, and is to `blame`, is to lose: of it BLAMED_PART of ``w`` counts, and BLAMED_FAR_PHON
    is far. In between, by where `blame` lies in BLAMED. Whether it still is heard as well as its place asks, its
    `WholeTerm` says.

    What a layer gains that is not moved itself is taken off what is wrong: ``w * GAIN_WEIGHT * GAIN_PHON * (1 -
    exp(-y / GAIN_PHON))`` with ``y = now - before`` where it is above 0. This corner is rounded over ROUND_PHON to both
    sides alike, so that slopes tell of gains as the mix stands, too, where the term is 0.

    A layer that gains more than RISE_FREE_PHON stands out, moved or not: harm is ``w * (z + z^2 / RISE_FAR_PHON)`` with
    ``z = hinge(now - before - RISE_FREE_PHON)``.

    Where it is known how rows that are moved stand in other sections, `a` is by how much this row would change if these
    stood so here, too (`Moved.apart`). What it loses or gains on the way there is neither loss nor standing out, gains
    are not counted by themselves, and `Part.apart` is ``w * APART_WEIGHT * (f(now - before - a) - f(a))`` with
    ``f(x) = sqrt(x^2 + APART_ROUND_PHON^2)``.

    `blame`: which part of what is lost in the findings of the section this layer takes, 0 to 1.
    """

    row: int
    place: Place
    before_phon: float
    blame: float = 0.0

    def add_to(self, part: Part, heard: Heard, moved: Moved) -> None:
        """Add value and derivatives."""
        now, slope = phon(float(heard.cued[self.row].sum()))
        weight, far_phon = LOSS_WEIGHT[self.place], LOSS_FAR_PHON
        lost_weight = weight
        apart = 0.0 if moved.apart is None else float(moved.apart[self.row])
        change = now - self.before_phon
        if self.row in moved.rows:
            low, high = BLAMED
            to_blame = min(max((self.blame - low) / (high - low), 0.0), 1.0)
            far_phon += (BLAMED_FAR_PHON - LOSS_FAR_PHON) * to_blame
            lost_weight = weight * (1.0 - (1.0 - BLAMED_PART) * to_blame)
        elif moved.apart is None:
            gained, by_change = _gained(change)
            part.wrong -= weight * gained
            part.by.cued[self.row] -= weight * by_change * slope
        if moved.apart is not None:
            near = math.hypot(change - apart, APART_ROUND_PHON)
            part.apart += weight * APART_WEIGHT * (near - math.hypot(apart, APART_ROUND_PHON))
            part.by.cued[self.row] += weight * APART_WEIGHT * (change - apart) / near * slope
        free = LEAD_RAISED_FREE_PHON if moved.lead_raised and self.place != "lead" else LOSS_FREE_PHON
        value, by = hinge(min(apart, 0.0) - change - free)
        part.harm += lost_weight * value * (1.0 + value / far_phon)
        part.by.cued[self.row] -= lost_weight * (1.0 + 2.0 * value / far_phon) * by * slope
        rise, by_rise = hinge(change - max(apart, 0.0) - RISE_FREE_PHON)
        part.harm += weight * rise * (1.0 + rise / RISE_FAR_PHON)
        part.by.cued[self.row] += weight * (1.0 + 2.0 * rise / RISE_FAR_PHON) * by_rise * slope


#: What is left of the weight of a gain where nothing changes: the corner is rounded.
_NO_GAIN = math.exp(-hinge(ROUND_PHON / 2.0)[0] / GAIN_PHON)


def _gained(change_phon: float) -> tuple[float, float]:
    """Return what a change of loudness counts as a gain, 0 where there is none, with its derivative."""
    gain, by = hinge(change_phon + ROUND_PHON / 2.0)
    left = math.exp(-gain / GAIN_PHON)
    return GAIN_WEIGHT * GAIN_PHON * (_NO_GAIN - left), GAIN_WEIGHT * left * by


def blamed(findings: Sequence[Finding], index: Mapping[str, int]) -> dict[int, float]:
    """Return which part of what is lost in the findings of a section each row takes, of what layers named take.

    `index`: the rows by their ids.
    """
    taken: dict[int, float] = {}
    for one in findings:
        for by in one.caused_by:
            if by.track in index:
                taken[index[by.track]] = taken.get(index[by.track], 0.0) + by.fraction
    whole = max(sum(taken.values()), _LEAST)
    return {row: one / whole for row, one in taken.items()}


Term = WholeTerm | BandTerm | LossTerm


def added_up(terms: Sequence[Term], heard: Heard, moved: Moved | None = None) -> Part:
    """Return the sum of terms with its derivatives."""
    moved = moved or Moved()
    names = ("alone", "cued", "raised", "took")
    part = Part(0.0, 0.0, 0.0, Heard(*(np.zeros_like(getattr(heard, name)) for name in names)))
    for term in terms:
        term.add_to(part, heard, moved)
    return part


def places_between(low_hz: float, high_hz: float) -> slice:
    """Return the places, one at least, that a band of filters covers."""
    filters = filters_between(low_hz, high_hz)
    first = min(filters.start // PLACE_FILTERS, PLACES - 1)
    return slice(first, max(first + 1, -(-filters.stop // PLACE_FILTERS)))
