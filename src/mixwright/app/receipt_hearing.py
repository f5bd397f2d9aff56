# SPDX-License-Identifier: Apache-2.0
"""One stretch of a section heard without moves and with them, at equal loudness of the mix."""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.app.receipt_audio import Excerpt, Variant
from mixwright.app.receipt_spans import Purpose, Span
from mixwright.hearing.fader import Fader
from mixwright.hearing.hear import Ear, hear_stretch
from mixwright.hearing.heard import CUED, HeardStretch, Hearing, heard_of
from mixwright.hearing.heard_from import heard_span
from mixwright.hearing.places import calibration_db
from mixwright.hearing.rough import band_powers, expected_phon
from mixwright.hearing.statistics import loudness_of
from mixwright.jobs.pool import Team, in_order
from mixwright.jobs.progress import Cancel, Job, silent
from mixwright.ledger.findings import LEAST_S, LedgerRow, as_heard_now
from mixwright.model.hearing import LayerLoudness, Listening
from mixwright.model.ledger import Finding, finding_id
from mixwright.model.ranges import OTHERS, Range
from mixwright.model.receipts import Part, ReceiptLayer, ReceiptSpan
from mixwright.model.song import Section, changed

#: So many layers are heard by themselves for a move, and so many of those that it moves; layers that are expected to
#: change by less than this are not.
MOST_ROWS, MOST_MOVED, LEAST_PHON = 8, 4, 0.1
#: A layer that gains less by a move brings no finding of its own back without it.
_GAINS_PHON = 0.3


@dataclass(frozen=True)
class Setting:
    """How a song is heard: calibrated so that a loudness of the mix plays at a level, and what each row is to it."""

    calibrated_lufs: float
    level_db_spl: float
    listening: Listening
    ledger: tuple[LedgerRow, ...]

    @property
    def offset_db(self) -> float:
        """As from `places.calibration_db`."""
        return calibration_db(self.calibrated_lufs, self.level_db_spl, self.listening)


@dataclass(frozen=True, eq=False)
class _Chosen:
    """What is heard of one move in a stretch: in which mix, raised by how much, which rows."""

    purpose: Purpose
    excerpt: Excerpt
    shift_lu: float
    rows: tuple[str, ...]
    others: int
    others_phon: float | None


class SpanHeard:
    """A stretch of the song with its moves, beside which it is heard without each.

    Parameters
    ----------
    span : Span
    whole : Variant
        the song with its moves
    setting : Setting
    cancel : Cancel, optional
    """

    def __init__(self, span: Span, whole: Variant, setting: Setting, cancel: Cancel | None = None) -> None:
        self._span, self._setting, self._cancel = span, setting, cancel
        self._rate_hz = whole.graph.rate_hz
        self._with = Excerpt(whole, heard_span(span.stretch, self._rate_hz), cancel=cancel)
        edges = span.stretch.start_s, span.stretch.end_s
        self._inner = tuple(min(round(at * self._rate_hz), self._with.end) for at in edges)
        self._chosen: dict[str, _Chosen] = {}
        self._bands: dict[str, np.ndarray] = {}

    def take(self, move: str, without: Variant, purpose: Purpose) -> bool:
        """Look at the mix without a move and choose what is worth hearing; False where nothing sounds.

        The mix with all moves is heard by `receipt` once, with all the rows that were chosen until then.
        """
        excerpt = Excerpt(without, (self._with.first, self._with.end), self._with, self._cancel)
        now, then = self._lufs, excerpt.lufs(*self._inner)
        if now is None or then is None:
            return False
        shift = now - then
        expected = self._expected(excerpt, purpose, shift)
        rows = self._worth(expected, purpose)
        left = [abs(phon) for id_, phon in expected.items() if id_ not in rows]
        self._chosen[move] = _Chosen(purpose, excerpt, shift, rows, len(left), round(max(left), 1) if left else None)
        return True

    @functools.cached_property
    def _lufs(self) -> float | None:
        return self._with.lufs(*self._inner)

    def _powers(self, name: str, audio: np.ndarray) -> np.ndarray:
        """Return the band powers of a row as it is with all moves, or of the mix (""), worked out once."""
        if name not in self._bands:
            self._bands[name] = band_powers(audio, self._rate_hz)
        return self._bands[name]

    def _expected(self, excerpt: Excerpt, purpose: Purpose, shift_lu: float) -> dict[str, float]:
        """Return by about how many phon each row that sounds is louder with the move."""
        mix_now, mix_then = self._powers("", self._with.mix), band_powers(excerpt.mix, self._rate_hz)
        ids = [row.id for row in self._setting.ledger]

        def one(id_: str) -> float | None:
            now = self._powers(id_, self._with.row(id_))
            audio = excerpt.roughly(id_)
            then = now if audio is self._with.row(id_) else band_powers(audio, self._rate_hz)
            if not max(now.max(initial=0.0), then.max(initial=0.0)) > 1e-9:
                return None
            return expected_phon(then, now, mix_then, mix_now, shift_lu)

        self._with.make(ids)
        excerpt.make([id_ for id_ in purpose.moved if id_ in excerpt.other_rows])
        found = dict(zip(ids, in_order(one, ids), strict=True))
        return {id_: phon for id_, phon in found.items() if phon is not None}

    def _worth(self, expected: Mapping[str, float], purpose: Purpose) -> tuple[str, ...]:
        """Return the rows worth hearing, the victim first, then what is moved, then those that lose most."""

        def most_first(ids: Sequence[str]) -> list[str]:
            # What a move costs is asked of it, what it gives to others is not: losses count double.
            return sorted(ids, key=lambda id_: (-abs(expected[id_]) * (2.0 if expected[id_] < 0.0 else 1.0), id_))

        takers = [one.taker for one in purpose.findings if one.taker and one.section == self._span.section]
        first = [id_ for id_ in (purpose.victim, *takers) if id_ is not None and id_ in expected]
        moved = most_first([id_ for id_ in purpose.moved if id_ in expected])[:MOST_MOVED]
        rows = list(dict.fromkeys([*first, *moved]))[:MOST_ROWS]
        others = [id_ for id_ in expected if id_ not in rows and abs(expected[id_]) >= LEAST_PHON]
        return (*rows, *most_first(others)[: MOST_ROWS - len(rows)])

    def receipt(self, move: str) -> ReceiptSpan:
        """Return what is heard of a move that was taken; once, and after all were."""
        after = self._all_heard
        chosen = self._chosen.pop(move)  # its audio is needed no longer
        before = self._heard(chosen.excerpt, chosen.rows, chosen.shift_lu)
        layers = tuple(
            self._layer(
                id_, _part(id_, chosen.purpose), before.layers[id_].stretches[0], after.layers[id_].stretches[0]
            )
            for id_ in chosen.rows
        )
        return ReceiptSpan(
            section=self._span.section,
            start_s=round(self._span.stretch.start_s, 3),
            end_s=round(min(self._span.stretch.end_s, self._inner[1] / self._rate_hz), 3),
            shift_lu=_short(chosen.shift_lu),
            excerpt=self._with.is_excerpt or chosen.excerpt.is_excerpt,
            layers=layers,
            back=tuple(self._back(chosen.purpose, layers, before, after)),
            others=chosen.others,
            others_phon=chosen.others_phon,
        )

    @functools.cached_property
    def _all_heard(self) -> Hearing:
        """The mix with all moves, as far as any of them asks for it."""
        asked = {id_ for chosen in self._chosen.values() for id_ in chosen.rows}
        return self._heard(self._with, [row.id for row in self._setting.ledger if row.id in asked], 0.0)

    def _heard(self, excerpt: Excerpt, rows: Sequence[str], raised_db: float) -> Hearing:
        """Hear rows of a mix by themselves and what is left of it as one."""
        excerpt.make(rows)
        audio = {id_: excerpt.row(id_) for id_ in rows}
        rest = excerpt.mix.astype(np.float64)
        for one in audio.values():
            rest -= one
        sources = {id_: excerpt.source(one) for id_, one in {**audio, OTHERS: rest.astype(np.float32)}.items()}
        setting, stretch = self._setting, self._span.stretch
        cancel = self._cancel or Cancel()
        with Team() as team:
            job = Job("hearing", 1.0, silent, cancel)  # told by who asks for receipts
            ear = Ear(self._rate_hz, setting.offset_db + raised_db, setting.listening, team, job, cancel)
            layers, taken = hear_stretch(sources, excerpt.source(excerpt.mix), stretch, ear)
        heard = {id_: heard_of([one]) for id_, one in layers.items()}
        return Hearing(layers=heard, stretches=(stretch,), taken=(taken,))

    def _layer(self, id_: str, part: Part, before: HeardStretch, after: HeardStretch) -> ReceiptLayer:
        sounds = max(before.active_s, after.active_s) >= LEAST_S
        was, now = (loudness_of(heard_of([one])) if sounds else LayerLoudness() for one in (before, after))
        change = _difference(now, was)
        fader_db = None
        if change is not None and abs(change.cued or 0.0) >= LEAST_PHON and was.in_mix_sone and now.in_mix_sone:
            fader_db = self._fader_db(before, was.in_mix_sone.cued or 0.0, now.in_mix_sone.cued or 0.0)
        return ReceiptLayer(
            id=id_,
            part=part,
            before_phon=_short_range(was.in_mix_phon),
            after_phon=_short_range(now.in_mix_phon),
            change_phon=_short_range(change),
            fader_db=None if fader_db is None else _short(fader_db),
        )

    def _fader_db(self, before: HeardStretch, was_sone: float, now_sone: float) -> float | None:
        """Return at which fader a layer would be as loud in the mix without the move as it is with it."""
        if not len(before.sketch) or was_sone <= 1e-4 or now_sone <= 1e-4:
            return None
        fader = Fader(before.sketch, self._cancel)
        # The sketch stands for the stretch but for rounding: it is asked for the ratio.
        wanted = fader.loudness(0.0, CUED) * now_sone / was_sone
        return fader.equivalent_db(wanted, CUED) if wanted > 1e-4 else None

    def _back(self, purpose: Purpose, layers: Sequence[ReceiptLayer], before: Hearing, after: Hearing) -> list[Finding]:
        """Return the findings that lie outside their tolerance without the move and inside it with it."""
        section = Section(name=self._span.section, start_s=self._span.stretch.start_s, end_s=self._span.stretch.end_s)
        rows = (*self._setting.ledger, LedgerRow(OTHERS, "bed"))
        asked = [one for one in purpose.findings if one.section == section.name and one.kind != "covered"]
        for layer in layers:
            gains = layer.change_phon is not None and (layer.change_phon.cued or 0.0) >= _GAINS_PHON
            if gains or layer.id == purpose.victim:
                asked.append(_covered(layer.id, section))
        found = []
        for one in asked:
            then = as_heard_now(before, rows, section, one)
            if then is None or then.excess_db <= 0.0:
                continue
            now = as_heard_now(after, rows, section, one)
            if now is None or now.excess_db <= 0.0:
                found.append(changed(then, caused_by=()))
        return found


def _covered(track: str, section: Section) -> Finding:
    """Return a layer's being covered as a whole as what is asked of another hearing."""
    return Finding(
        id=finding_id("covered", track, section.name),
        kind="covered",
        track=track,
        section=section.name,
        start_s=section.start_s,
        end_s=section.end_s,
        band_hz=None,
        size_db=Range(cued=None, strict=None),
        tolerance_db=0.0,
        excess_db=0.0,
    )


def _part(id_: str, purpose: Purpose) -> Part:
    if id_ == purpose.victim:
        return "victim"
    return "moved" if id_ in purpose.moved else "other"


def _difference(now: LayerLoudness, was: LayerLoudness) -> Range | None:
    if now.in_mix_phon is None or was.in_mix_phon is None:
        return None
    pairs = {name: (getattr(now.in_mix_phon, name), getattr(was.in_mix_phon, name)) for name in ("cued", "strict")}
    return Range(**{name: None if None in pair else pair[0] - pair[1] for name, pair in pairs.items()})


def _short(value: float) -> float:
    return round(value, 3) + 0.0


def _short_range(found: Range | None) -> Range | None:
    if found is None:
        return None
    cued, strict = (None if value is None else _short(value) for value in (found.cued, found.strict))
    return Range(cued=cued, strict=strict)
