# SPDX-License-Identifier: Apache-2.0
"""How a song is arranged; layers that nobody would miss are told after the mix was measured without them."""

from __future__ import annotations

import functools
from collections.abc import Collection, Mapping

import numpy as np

from mixwright.hearing.components import components
from mixwright.hearing.fader import Sketch
from mixwright.hearing.feed import Source
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, CELL_S, Heard
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel
from mixwright.ledger.arrangement import arrangement_of, covered_everywhere
from mixwright.meter.measure import Meter
from mixwright.model.arrangement import Arrangement, NeverHeard
from mixwright.model.levels import Levels
from mixwright.model.song import Song, changed

#: A layer is never heard where the mix without it differs by less, in LU, and in every third-octave in dB.
LEAST_LU, LEAST_DB = 0.2, 0.5
#: Around where a layer sounds this much is measured, so that windows of 400 ms hold it.
_AROUND_S = 0.2

#: A sketch that says so many times LEAST_DB is believed; it is of some hundred moments.
_SURELY, _NOTHING = 2.0, 1e-3

#: The mix itself, beside the ids of its layers.
WHOLE = ""


def arrangement(
    song: Song,
    layers: Mapping[str, Heard],
    returns: Collection[str],
    audio: Mapping[str, Source],
    cancel: Cancel | None = None,
) -> Arrangement:
    """Return the arrangement of a song, with the layers that are never heard.

    Parameters
    ----------
    song : Song
    layers : mapping of Heard
    returns : collection of str
        those that are returns of sends
    audio : mapping of Source
        of all of them as they stand in the mix, and of the mix, :data:`WHOLE`, to which they add up
    cancel
        the switch to stop
    """
    covered = [id_ for id_, heard in layers.items() if covered_everywhere(heard) and not _surely_missed(heard.sketch)]
    missed = _without({id_: layers[id_] for id_ in covered}, audio, song.rate_hz, cancel)
    never_heard = tuple(one for one in missed if one is not None)
    return changed(arrangement_of(layers, song.sections, returns), never_heard=never_heard)


def _surely_missed(sketch: Sketch) -> bool:
    """Tell whether the mix without a layer is another one by its sketch: well beyond LEAST_DB in a third-octave.

    The components of the ear stand for the third-octaves that they lie in, with the weight of the ear's transmission,
    which is much the same within one.
    """
    third_octaves = np.unique(np.round(10.0 * np.log10(components().hz)), return_inverse=True)[1]
    mix, rest = (np.bincount(third_octaves, sketch.mean(power.sum(axis=0).T)) for power in (sketch.mix, sketch.rest))
    change_db = np.abs(10.0 * np.log10((rest + _NOTHING) / (mix + _NOTHING)))
    return bool(change_db.max() > _SURELY * LEAST_DB)


def _without(
    layers: Mapping[str, Heard], audio: Mapping[str, Source], rate_hz: int, cancel: Cancel | None
) -> list[NeverHeard | None]:
    """Measure the mix without each layer beside the mix, where that sounds; None where that is a difference.

    The mix is rendered once for all of them.
    """
    from scipy import ndimage  # slow to load

    around = np.ones(2 * round(_AROUND_S / CELL_S) + 1, dtype=bool)
    sounding = {id_: ndimage.binary_dilation(one.total[ALONE] > ACTIVE_SONE, around) for id_, one in layers.items()}
    if not sounding:
        return []
    cells = np.flatnonzero(np.any(list(sounding.values()), axis=0))
    first, end = (round(cell * CELL_S * rate_hz) for cell in (cells[0], cells[-1] + 1))
    meters = {id_: (Meter(rate_hz, 2, true_peak=False), Meter(rate_hz, 2, true_peak=False)) for id_ in layers}
    sources = {id_: iter(audio[id_](first, end)) for id_ in layers}

    def push(id_: str, mix: np.ndarray, at: np.ndarray) -> None:
        (cancel or Cancel()).check()
        layer, kept = next(sources[id_]), sounding[id_][at]
        if kept.any():
            whole, without = meters[id_]
            whole.push(mix[kept])
            without.push((mix - layer)[kept])

    with Team() as team:
        for mix in audio[WHOLE](first, end):
            at = np.minimum((np.arange(first, first + len(mix)) / (rate_hz * CELL_S)).astype(np.intp), cells[-1])
            first += len(mix)
            team.do(functools.partial(push, id_, mix, at) for id_ in layers)
    return [_difference(id_, whole.result(), without.result()) for id_, (whole, without) in meters.items()]


def _difference(id_: str, whole: Levels, without: Levels) -> NeverHeard | None:
    if whole.integrated_lufs is None or without.integrated_lufs is None:
        return None
    loudness = abs(whole.integrated_lufs - without.integrated_lufs)
    bands = [
        (np.inf if after is None else abs(before - after), hz)
        for hz, before, after in zip(whole.third_octave_hz, whole.third_octave_db, without.third_octave_db, strict=True)
        if before is not None
    ]
    most_db, most_hz = max(bands, default=(0.0, 0.0))
    if loudness >= LEAST_LU or most_db >= LEAST_DB:
        return None
    return NeverHeard(
        layer=id_, loudness_lu=round(loudness, 3), third_octave_db=round(float(most_db), 3), third_octave_hz=most_hz
    )
