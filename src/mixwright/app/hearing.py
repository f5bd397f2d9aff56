# SPDX-License-Identifier: Apache-2.0
"""Every layer of a song as it is heard: alone, and in the mix."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from mixwright.app.arrangement import WHOLE, arrangement
from mixwright.app.keys import MEASURED_BY, RENDERED_BY
from mixwright.app.ledger import findings_of, ledger_rows, line_of
from mixwright.app.listening import (
    HEARD_BY,
    Row,
    calibrated,
    followed,
    hearing_of,
    keep_calibration,
    layer_audio,
    layers_of,
    leads_of,
    voices_of,
)
from mixwright.app.session import Session
from mixwright.errors import SettingError
from mixwright.hearing.constants import CUED_DB, STRICT_DB
from mixwright.hearing.heard import CELL_S, Heard, Hearing
from mixwright.hearing.lyric import phrases_of
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.places import HIGHEST_DB_SPL, LOWEST_DB_SPL, WORKING_DB_SPL
from mixwright.hearing.rise import rises_db
from mixwright.hearing.statistics import (
    active,
    bands_of,
    correlated,
    kept_by_second,
    loudness_of,
    most_long_term_sone,
    peak_sone,
    taken_by,
)
from mixwright.jobs.cache import code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.ledger.findings import judged
from mixwright.model.hearing import HeardLayer, HeardSection, HearingResult, LayerLoudness, Listening, Phrase, Range
from mixwright.model.song import Song, changed

#: Said of layers without figures.
SILENT_MIX, NEVER_SOUNDS = "the mix is silent or shorter than 0.4 s", "never louder than 0.05 sone"


def heard(
    session: Session,
    *,
    listening_level_db_spl: float = WORKING_DB_SPL,
    listening: Listening = "headphones",
    report: Report = silent,
    cancel: Cancel | None = None,
) -> HearingResult:
    """Hear every source of the mix, and the return of every send that is fed, alone and in the mix; kept in the cache.

    Each is heard as it stands in the mix: after strip, fader, position and group, with the logged gains of bus
    compressors and the limiter. A source is heard without its sends: their returns are layers of their own. All of them
    add up to the mix. What is muted is no layer.

    Parameters
    ----------
    session : Session
    listening_level_db_spl : float
        at which the integrated loudness of the mix plays
    listening : {"headphones", "loudspeakers"}
    report, cancel
        progress and stop switch

    Raises
    ------
    SettingError
        where the listening level is out of range
    """
    if not LOWEST_DB_SPL <= listening_level_db_spl <= HIGHEST_DB_SPL:
        raise SettingError(
            f"a listening level of {listening_level_db_spl:g} dB SPL",
            hint=f"allowed: {LOWEST_DB_SPL:g} to {HIGHEST_DB_SPL:g}",
        )
    song = session.song
    rows = layers_of(song, session.graph)
    level_db_spl = float(listening_level_db_spl)
    loudness = session.measured(cancel=cancel)[0].integrated_lufs
    pinned = None if loudness is None else calibrated(session, loudness, level_db_spl)
    # What was heard of the stretches is kept by itself: to change a name or a place takes no new hearing.
    parts = [(row.id, row.tracks) for row in rows], [(part.start_s, part.end_s) for part in song.sections]
    follows = followed(session)
    known = ledger_rows(song, rows, follows)
    facts = [(row.place, sorted(row.place_in.items())) for row in known], [part.name for part in song.sections]
    marks = voices_of(song, rows), sorted(follows), *facts
    code = code_hash("mixwright.hearing", "mixwright.ledger", "mixwright.app", *RENDERED_BY, *MEASURED_BY)
    key = session.cache.key("heard", session.graph.identity(), *parts, *marks, pinned, level_db_spl, listening, code)

    def make() -> HearingResult:
        result = HearingResult(
            layers=tuple(_without(row, SILENT_MIX) for row in rows),
            listening_level_db_spl=level_db_spl,
            listening=listening,
            k_offset_db=Range(cued=CUED_DB, strict=STRICT_DB),
            calibrated_lufs=pinned,
        )
        if pinned is None or not rows:
            return result
        hearing, curves, kept = hearing_of(
            session,
            rows,
            calibrated_lufs=pinned,
            listening_level_db_spl=level_db_spl,
            listening=listening,
            report=report,
            cancel=cancel,
        )
        whole = Row(WHOLE, "", "bed", (), session.graph)
        audio = {
            **layer_audio(session, rows, cancel=cancel),
            **layer_audio(session, [whole], workers=None, cancel=cancel),
        }
        returns = [row.id for row in rows if not row.tracks]
        parts: dict[str, Callable[[], object]] = {
            "findings": lambda: findings_of(session, hearing, known, level_db_spl, report=report, cancel=cancel),
            "arrangement": lambda: arrangement(song, hearing.layers, returns, audio, kept, session.cache, cancel),
            "voice_line": lambda: line_of(session, hearing, follows),
            "layers": lambda: _layers(song, rows, hearing, curves),
            "phrases": lambda: _phrases(song, rows, hearing),
        }
        made = zip(parts, in_order(lambda part: part(), parts.values()), strict=True)
        return changed(
            result,
            **dict(made),
            stretches=kept,
            heard_by=code_hash(*HEARD_BY),
        )

    result = _named(session.cache.record(key, HearingResult, make), rows, song)
    if pinned is not None:
        keep_calibration(session, pinned, level_db_spl)
    return result


def _layers(
    song: Song, rows: Sequence[Row], hearing: Hearing, curves: Sequence[Sequence[np.ndarray]]
) -> tuple[HeardLayer, ...]:
    """Return what is told of the layers."""
    longest = most_long_term_sone([hearing.layers[row.id] for row in rows])
    return tuple(
        _layer(song, row, k, hearing, float(longest[k]), [part[k] for part in curves]) for k, row in enumerate(rows)
    )


def _phrases(song: Song, rows: Sequence[Row], hearing: Hearing) -> tuple[Phrase, ...]:
    """Return the phrases of all voices."""
    lyrics = ((voice, hearing.layers[voice].lyric) for voice in voices_of(song, rows))
    phrases = (phrase for voice, lyric in lyrics if lyric is not None for phrase in phrases_of(lyric, voice, CELL_S))
    return tuple(sorted(phrases, key=lambda phrase: phrase.start_s))


def _layer(
    song: Song,
    row: Row,
    index: int,
    hearing: Hearing,
    phrase_sone: float,
    curves: Sequence[np.ndarray],
) -> HeardLayer:
    one = hearing.layers[row.id]
    whole = loudness_of(one)
    if whole.alone_sone is None:
        return _without(row, NEVER_SOUNDS)
    lengths = [stretch.length_s for stretch in hearing.stretches]
    sections = []
    for part in song.sections:
        cells = slice(round(part.start_s / CELL_S), round(part.end_s / CELL_S))
        inside = hearing.inside(part.start_s, part.end_s)
        taken = [hearing.taken[k] for k in inside], [lengths[k] for k in inside], index
        sections.append(
            HeardSection(
                name=part.name,
                active_s=_seconds(one, cells),
                taken_by=taken_by(*taken),
                bands=bands_of(one, *taken, cells),
                **as_fields(loudness_of(one, cells)),
            )
        )
    return HeardLayer(
        id=row.id,
        name=row.name,
        place=row.place,
        tracks=row.tracks,
        active_s=_seconds(one, slice(None)),
        peak_phon=float(phon_from_sone(peak_sone(one))),
        phrase_phon=float(phon_from_sone(phrase_sone)),
        fader_equivalent_db=_fader_equivalent(one, curves),
        taken_by=taken_by(hearing.taken, lengths, index),
        correlated=correlated(hearing.taken, lengths, index),
        sections=tuple(sections),
        bands=bands_of(one, hearing.taken, lengths, index),
        kept=kept_by_second(one),
        **as_fields(whole),
    )


def _fader_equivalent(one: Heard, curves: Sequence[np.ndarray]) -> Range | None:
    """Return by how many dB a layer would have to rise to be heard as loud as it is alone."""
    strict, cued = rises_db(curves, [part.active_s for part in one.stretches]).tolist()
    if math.isnan(cued):
        return None
    return Range(cued=cued if math.isfinite(cued) else None, strict=strict if math.isfinite(strict) else None)


def as_fields(loudness: LayerLoudness) -> dict[str, Any]:
    """Return the figures of a loudness by name, for a record that holds them among others."""
    return {name: getattr(loudness, name) for name in LayerLoudness.__struct_fields__}


def _seconds(one: Heard, cells: slice) -> float:
    return round(float(np.count_nonzero(active(one, cells))) * CELL_S, 3)


def _without(row: Row, why: str) -> HeardLayer:
    return HeardLayer(id=row.id, name=row.name, place=row.place, tracks=row.tracks, active_s=0.0, why=why)


def _named(result: HearingResult, rows: Sequence[Row], song: Song) -> HearingResult:
    """Return the result with the names and places that the layers have now, and the phrases of the lead of now."""
    layers = tuple(
        changed(layer, name=row.name, place=row.place) for layer, row in zip(result.layers, rows, strict=True)
    )
    leads = leads_of(song)
    phrases = tuple(phrase for phrase in result.phrases if phrase.layer in leads)
    why = "" if phrases else _why_no_phrases(song, rows)
    findings = judged(result.findings, song.left_as_is)
    guessed = bool(result.voice_line) and not song.lead
    return changed(
        result,
        layers=layers,
        phrases=phrases,
        why_no_phrases=why,
        followed_by_guess=guessed,
        findings=findings,
    )


def _why_no_phrases(song: Song, rows: Sequence[Row]) -> str:
    if not song.lead:
        return "the lead is not confirmed"
    leads = leads_of(song)
    if leads.isdisjoint(row.id for row in rows):
        return "the lead is muted"
    if leads.isdisjoint(voices_of(song, rows)):
        return "the lead is no voice by its role"
    return "the voice of the lead never sounds for as long as a phrase"
