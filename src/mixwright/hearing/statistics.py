# SPDX-License-Identifier: Apache-2.0
"""Figures of a layer over a stretch of the song, from what was heard of it."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from mixwright.hearing.attribution import Taken
from mixwright.hearing.bands import PLACES, band_edges_hz, bands_of_places
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, BAND_CELLS, CELL_S, CUED, STRICT, Heard
from mixwright.hearing.phon import phon_from_sone
from mixwright.model.hearing import HeardBand, LayerLoudness, Range, TakenBy
from mixwright.model.ranges import OTHERS

#: Who takes less of a loss is told with the others.
LEAST_FRACTION = 0.03
#: So many are named in a band; what rounding leaves for the others is nobody's.
_MOST_IN_BAND, _TRACE = 3, 1e-4
#: A layer that sounds for less of a second has no share there.
_LEAST_SOUNDING = 0.1
#: Long-term loudness rises and falls with these coefficients per ms (ISO 532-3:2023).
_ATTACK_PER_MS, _RELEASE_PER_MS = 0.01, 0.00133


def active(heard: Heard, stretch: slice = slice(None)) -> np.ndarray:
    """Return in which cells of a stretch a layer sounds."""
    return np.asarray(heard.total[ALONE, stretch] > ACTIVE_SONE)


def loudness_of(heard: Heard, stretch: slice = slice(None)) -> LayerLoudness:
    """Return the loudness of a layer over the cells of a stretch in which it sounds, no figures without any."""
    sounding = active(heard, stretch)
    if not sounding.any():
        return LayerLoudness()
    alone, strict, cued = heard.total[:, stretch][:, sounding].mean(axis=1, dtype=np.float64).tolist()
    # The shared filters are a little wider than a layer's own: what is left may seem louder than what there is.
    strict, cued = min(strict, alone), min(cued, alone)
    return LayerLoudness(
        alone_sone=alone,
        alone_phon=float(phon_from_sone(alone)),
        in_mix_sone=Range(cued=cued, strict=strict),
        in_mix_phon=Range(cued=float(phon_from_sone(cued)), strict=float(phon_from_sone(strict))),
        share=Range(cued=cued / alone, strict=strict / alone),
    )


def bands_of(
    heard: Heard, taken: Sequence[Taken], weights: Sequence[float], layer: int, stretch: slice = slice(None)
) -> tuple[HeardBand, ...]:
    """Return the loudness of a layer in every band, means over the cells of bands in which it sounds, and who takes it.

    Figures are short, as there are many of them: five digits, and the three that take most.

    Parameters
    ----------
    heard : Heard
    taken, weights, layer
        as for `taken_by`, in the same stretch of the song
    stretch : slice
        which cells
    """
    first, end, _ = stretch.indices(heard.total.shape[1])
    whole = slice(-(-first // BAND_CELLS), end // BAND_CELLS)  # cells of bands
    cells = slice(whole.start * BAND_CELLS, whole.stop * BAND_CELLS)
    sounding = active(heard, cells).reshape(-1, BAND_CELLS).any(axis=1)
    if not sounding.any():
        return ()
    mean = heard.bands[:, whole][:, sounding].mean(axis=1, dtype=np.float64)
    takers = _takers_by_band(taken, weights, layer)
    edges = band_edges_hz()
    return tuple(
        HeardBand(
            low_hz=_short(low),
            high_hz=_short(high),
            alone_sone=_short(mean[ALONE, k]),
            in_mix_sone=Range(
                cued=_short(min(mean[CUED, k], mean[ALONE, k])), strict=_short(min(mean[STRICT, k], mean[ALONE, k]))
            ),
            taken_by=named_takers(taken[0].layers, takers[:, k], _MOST_IN_BAND) if taken else (),
        )
        for k, (low, high) in enumerate(itertools.pairwise(edges))
    )


def kept_by_second(heard: Heard) -> tuple[int | None, ...]:
    """Return for every second which percentage of a layer's loudness the mix leaves, cued, or None where it is silent.

    A second counts where the layer sounds for at least a tenth of it, and then by the cells in which it sounds.
    """
    sounding = active(heard)
    length = len(sounding)
    # A last cell that only begins beyond a whole second is counted with it.
    firsts = np.ceil(np.arange(0.0, (length - 1) * CELL_S) / CELL_S - 1e-9).astype(int)
    alone, cued, counted = (
        np.add.reduceat(np.where(sounding, row, 0.0).astype(np.float64), firsts)
        for row in (heard.total[ALONE], np.minimum(heard.total[CUED], heard.total[ALONE]), np.ones(length))
    )
    enough = counted >= _LEAST_SOUNDING * np.diff(firsts, append=length)
    share = 100.0 * cued / np.maximum(alone, 1e-9)
    return tuple(round(one) if known else None for one, known in zip(share.tolist(), enough.tolist(), strict=True))


def peak_sone(heard: Heard) -> float:
    """Return the 95th percentile of the short-term loudness alone where the layer sounds."""
    return float(np.percentile(heard.total[ALONE, active(heard)], 95.0))


def most_long_term_sone(layers: Sequence[Heard]) -> np.ndarray:
    """Return the most of the long-term loudness alone of each layer, that of a phrase."""
    attack, release = (1.0 - (1.0 - k) ** (1000.0 * CELL_S) for k in (_ATTACK_PER_MS, _RELEASE_PER_MS))
    alone = np.stack([heard.total[ALONE] for heard in layers], axis=1).astype(np.float64)
    state, most = np.zeros(alone.shape[1]), np.zeros(alone.shape[1])
    for now in alone:
        state += np.where(now > state, attack, release) * (now - state)
        np.maximum(most, state, out=most)
    return most


def taken_by(taken: Sequence[Taken], weights: Sequence[float], layer: int) -> tuple[TakenBy, ...]:
    """Return who takes what a layer loses over some stretches, most first; the cued reading.

    Parameters
    ----------
    taken : sequence of Taken
    weights : sequence of float
        how long each of them is
    layer : int
        its place among the layers
    """
    return named_takers(taken[0].layers, _takers_by_band(taken, weights, layer).sum(axis=1)) if taken else ()


def named_takers(layers: Sequence[str], taken_sone: np.ndarray, most: int | None = None) -> tuple[TakenBy, ...]:
    """Return who takes how much of a loss, most first, from what each layer takes; small parts are told together.

    So are all but the `most` that take most.
    """
    whole = float(taken_sone.sum())
    if whole <= 0.0:
        return ()
    fractions = taken_sone / whole
    told = np.flatnonzero(fractions >= LEAST_FRACTION)
    order = told[np.argsort(-fractions[told], kind="stable")][:most]
    named = [TakenBy(track=layers[k], fraction=_short(fractions[k])) for k in order.tolist()]
    rest = _short(1.0 - sum(one.fraction for one in named))
    return (*named, TakenBy(track=OTHERS, fraction=rest)) if rest > _TRACE else tuple(named)


def _short(value: float) -> float:
    return float(f"{value:.5g}")


def _takers_by_band(taken: Sequence[Taken], weights: Sequence[float], layer: int) -> np.ndarray:
    """Return what each layer takes from one in every band, ``(layers, bands)``; only their proportions mean a thing."""
    by_place = (weight * part.cued[layer] for part, weight in zip(taken, weights, strict=True))
    return bands_of_places(sum(by_place, np.zeros((1, PLACES))))


def correlated(taken: Sequence[Taken], weights: Sequence[float], layer: int) -> float:
    """Return the share of a layer's loss in places where its maskers are correlated."""
    loss = sum(float(weight * part.loss_cued[layer].sum()) for part, weight in zip(taken, weights, strict=True))
    marked = sum(
        float(weight * (part.loss_cued[layer] * part.correlated[layer]).sum())
        for part, weight in zip(taken, weights, strict=True)
    )
    return marked / loss if loss > 0.0 else 0.0
