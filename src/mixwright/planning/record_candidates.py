# SPDX-License-Identifier: Apache-2.0
"""Small moves that could bring a figure of the mix nearer to the records, by the layers that carry it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from mixwright.meter.loudness import k_gain
from mixwright.model.profile import THIRDS_HZ
from mixwright.model.words import MoveKind
from mixwright.planning import limits
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.clash import Target, lighter_side, side_of
from mixwright.planning.excited import Excited
from mixwright.planning.known import KnownSong
from mixwright.planning.record_figures import RecordFigures
from mixwright.planning.shape_candidates import bell_of
from mixwright.reference.stretches import Stretch

#: So many layers are asked, those that carry most. Who holds less than the first part of a band does not carry it, who
#: has more than the second part of its energy there lives there; a group is asked that holds more than the third.
_CARRIERS, _CARRIES, _LIVES_THERE, _GROUP_PART = 3, 0.15, 0.5, 0.5
#: What the figures are about that have no band of their own, in Hz.
_FIGURE_HZ = {"low_end_db": (20.0, 160.0), "top_end_db": (5000.0, 16000.0)}


def record_candidates(
    aim: Stretch, song: KnownSong, sections: Sequence[Excited], figures: RecordFigures
) -> Iterator[Candidate]:
    """Yield what could bring in what lies outside; nothing that is locked or decided, no lead and no return.

    A band: a bell on who carries it, or the level of who has most of its energy there, in its section. Width: wide
    layers narrowed or widened, layers of one channel out of the centre. Contrast: levels in the softest or the loudest
    section. The slope follows from bands.

    Parameters
    ----------
    aim : Stretch
    song, sections
        its layers in the order of the rows of every section
    figures : RecordFigures
    """
    found = _Found(song, sections, figures, aim)
    figure = aim.furthest.figure
    if figure == "side_to_mid_db":
        made = found.width()
    elif figure == "contrast_loudness_lu":
        made = found.contrast()
    elif figure == "slope_db_oct":
        return
    else:
        made = found.band(*_FIGURE_HZ.get(figure, (aim.low_hz or 0.0, aim.high_hz or 0.0)))
    for one in made:
        if found.free(one):
            yield one


class _Found:
    """The candidates for one stretch."""

    def __init__(self, song: KnownSong, sections: Sequence[Excited], figures: RecordFigures, aim: Stretch) -> None:
        self._song, self._sections, self._figures = song, sections, figures
        self._row, self._less = aim.furthest, aim.furthest.outside > 0.0
        led = [row.is_return or "lead" in (row.place, *row.place_in.values()) for row in song.rows]
        self._targets = [Target(row.id, (k,), row) for k, row in enumerate(song.rows) if not led[k]]
        groups = [Target(one.id, song.members(one.id), one) for one in song.groups if one.id not in song.split]
        self._groups = [one for one in groups if len(one.rows) > 1 and not any(led[k] for k in one.rows)]

    def free(self, one: Candidate) -> bool:
        """Tell whether a candidate is neither locked nor decided."""
        song = self._song
        bound = {kind for of in song.groups if of.id == one.target for kind in of.bound}
        bound |= {kind for row in one.rows for kind in song.rows[row].bound}
        allowed = one.kind not in bound and (one.kind == "level" or not song.levels_only)
        return allowed and one.move(one.first)["id"] not in song.decided

    def band(self, low_hz: float, high_hz: float) -> Iterator[Candidate]:
        at = np.array(THIRDS_HZ)
        inside = ((at >= low_hz) & (at <= high_hz)).astype(np.float64)
        hz, q = bell_of(low_hz, high_hz, limits.CUT_Q.value)
        energy = self._figures.energy_of(self._row.section)
        for target in self._carriers(energy @ inside):
            own = energy[list(target.rows)].sum(axis=0)
            yield self._made("shape", target, self._gain(less=self._less), {"hz": hz, "q": q}, self._row.section)
            if float(own @ inside) > _LIVES_THERE * float(own.sum()):
                yield self._made("level", target, self._gain(less=self._less), section=self._row.section)

    def width(self) -> Iterator[Candidate]:
        if self._row.section:
            return
        power = self._figures.energy_of("").sum(axis=1)
        side = power * np.array(self._figures.side_share)
        end = limits.RECORDS_NARROW.value if self._less else limits.RECORDS_WIDTH.value
        for target in self._carriers(side):
            if target.is_wide:
                setting = Setting("width", 1.0, min(1.0, end), max(1.0, end), 0.5 * (1.0 + end))
                known = {"correlation": 1.0 - 2.0 * target.of.side_share}
                yield self._made("width", target, setting, known=known)
        for target in () if self._less else self._carriers(power):
            longest = max(self._sections, key=lambda one: float(one.active_s[target.rows[0]]))
            row = target.placeable(longest)
            if row is not None:
                to = side_of(row.pan, lighter_side(longest, target.rows))
                end = min(max(row.pan + to * limits.RECORDS_PAN.value, -1.0), 1.0)
                setting = Setting("pan", row.pan, min(row.pan, end), max(row.pan, end), 0.5 * (row.pan + end))
                yield self._made("pan", target, setting, known={"from_pan": row.pan, "law": self._song.law})

    def contrast(self) -> Iterator[Candidate]:
        stands = self._figures.contrast_lu
        ends = (min(stands, key=stands.__getitem__), max(stands, key=stands.__getitem__)) if stands else ()
        for section, less in zip(ends, (not self._less, self._less), strict=False):
            for target in self._carriers(self._figures.energy_of(section) @ k_gain(THIRDS_HZ)):
                yield self._made("level", target, self._gain(less=less), section=section)

    def _carriers(self, held: np.ndarray) -> list[Target]:
        """Return who holds most of something: the smallest group that holds more than half, then layers."""
        share = held / max(float(held.sum()), 1e-30)
        layers = [one for one in self._targets if share[one.rows[0]] >= _CARRIES]
        layers = sorted(layers, key=lambda one: (-share[one.rows[0]], one.rows[0]))[:_CARRIERS]
        around = [one for one in self._groups if float(share[list(one.rows)].sum()) > _GROUP_PART]
        return [*sorted(around, key=lambda one: (len(one.rows), one.id))[:1], *layers]

    def _gain(self, *, less: bool) -> Setting:
        end = limits.RECORDS_DB.value * (-1.0 if less else 1.0)
        return Setting("gain_db", 0.0, min(0.0, end), max(0.0, end), 0.5 * end)

    def _made(
        self,
        kind: MoveKind,
        target: Target,
        setting: Setting,
        fixed: dict[str, float] | None = None,
        section: str = "",
        known: dict[str, float] | None = None,
    ) -> Candidate:
        return Candidate(
            kind=kind,
            target=target.id,
            sections=(section,) if section else (),
            rows=target.rows,
            settings=(setting,),
            fixed=fixed or {},
            known=known or {},
            price_share=limits.RECORDS_PART.value,
            why="records",
        )
