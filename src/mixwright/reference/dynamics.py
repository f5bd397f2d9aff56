# SPDX-License-Identifier: Apache-2.0
"""Dynamics: peaks beside loudness, over the song and from moment to moment, by octave, and how hits stand out."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixwright.meter.measure import psr_db
from mixwright.model.profile import OCTAVES_HZ, Values
from mixwright.reference.span import Floats, Span
from mixwright.units import db_from_ratio

#: Crest is taken in pieces of three hops, about a second (De Man et al. 2014: windows of 1 s).
_CREST_HOPS = 3
#: Pieces, and moments after a hit, this far below the loudest twentieth tell of pauses.
_PAUSE_DB, _QUIET_DB = 30.0, 20.0
#: A rise is taken over two short hops, about 43 ms; the largest twentieth of all moments is that of hits.
_RISE_HOPS, _HITS = 2, 95.0
#: What lasts: the median over so many short windows, about 0.19 s (median filtering: FitzGerald 2010).
_LASTS = 9


def dynamics_values(span: Span) -> Values:
    """Return the figures of dynamics of a part of a song."""
    loudness = span.loudness_lufs
    peak = db_from_ratio(span.true_peak)
    attack, percussion = _hits(span)
    return {
        "integrated_lufs": (loudness,),
        "plr_db": (None if loudness is None or peak is None else peak - loudness,),
        "psr_db": (_psr(span),),
        "crest_octaves_db": _crest(span),
        "attack_db": attack,
        "percussion_percent": (percussion,),
    }


def _psr(span: Span) -> float | None:
    """Return the median peak-to-short-term-loudness ratio of the 3 s windows that lie in the span."""
    series = psr_db(span.traces.peaks, span.traces.loudness)
    inside = series[round(10.0 * span.start_s) : max(0, round(10.0 * span.end_s) - 30) + 1]
    inside = inside[~np.isnan(inside)]
    return float(np.median(inside)) if len(inside) else None


def _crest(span: Span) -> tuple[float | None, ...]:
    """Return peak over mean square in each octave, in dB: the mean of pieces of a second; a steady sine has 3.01."""
    at = span.traces.long_s[:-1]
    inside = (at >= span.start_s) & (at < span.end_s)
    peak, mean = span.traces.crest_peak[inside], span.traces.crest_mean[inside]
    pieces = len(peak) // _CREST_HOPS
    if pieces == 0:
        return (None,) * len(OCTAVES_HZ)
    peak = peak[: pieces * _CREST_HOPS].reshape(pieces, _CREST_HOPS, -1).max(axis=1).astype(np.float64)
    mean = mean[: pieces * _CREST_HOPS].reshape(pieces, _CREST_HOPS, -1).mean(axis=1).astype(np.float64)
    floor = np.percentile(mean, 95.0, axis=0) * 10.0 ** (-_PAUSE_DB / 10.0)
    found: list[float | None] = []
    for octave in range(peak.shape[1]):
        sounds = (mean[:, octave] > floor[octave]) & (mean[:, octave] > 0.0)
        ratio = 2.0 * peak[sounds, octave] / mean[sounds, octave]
        found.append(float(np.mean(10.0 * np.log10(ratio))) if len(ratio) else None)
    return tuple(found)


def _hits(span: Span) -> tuple[tuple[float | None, ...], float | None]:
    """Return how far the level jumps at hits in bottom, middle and top, in dB, and the share of what does not last."""
    at, short = span.traces.short_s, span.traces.short
    power = short[(at >= span.start_s) & (at < span.end_s)].astype(np.float64)
    if len(power) < 4 * _LASTS:
        return (None, None, None), None
    three = np.stack([power[:, 0], power[:, 1:-1].sum(axis=1), power[:, -1]], axis=1)
    return tuple(_rise(band) for band in three.T), _sudden(power)


def _rise(power: Floats) -> float | None:
    loud = float(np.percentile(power, _HITS))
    if loud <= 0.0:
        return None
    level = 10.0 * np.log10(np.maximum(power, loud * 1e-4))
    rise = (level[_RISE_HOPS:] - level[:-_RISE_HOPS])[level[_RISE_HOPS:] > 10.0 * np.log10(loud) - _QUIET_DB]
    if len(rise) < 20:
        return None
    return float(np.mean(rise[rise >= np.percentile(rise, _HITS)]))


def _sudden(power: npt.NDArray[np.float64]) -> float | None:
    """Return the energy above what lasts, band by band, over all of it, in per cent; bands are weighted by energy."""
    lasts = np.median(np.lib.stride_tricks.sliding_window_view(power, _LASTS, axis=0), axis=2)
    now = power[_LASTS // 2 : _LASTS // 2 + len(lasts)]
    total = float(now.sum())
    return 100.0 * float(np.maximum(now - lasts, 0.0).sum()) / total if total > 0.0 else None
