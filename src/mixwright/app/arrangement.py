# SPDX-License-Identifier: Apache-2.0
"""How a song is arranged; layers that nobody would miss are told after the mix was measured without them."""

from __future__ import annotations

import functools
from collections.abc import Collection, Iterator, Mapping, Sequence

import numpy as np

from mixwright.app.keys import MEASURED_BY
from mixwright.hearing.components import components
from mixwright.hearing.fader import Sketch
from mixwright.hearing.feed import Source
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, CELL_S, Heard
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import Team
from mixwright.jobs.progress import Cancel
from mixwright.ledger.arrangement import arrangement_of, covered_everywhere
from mixwright.meter.loudness import Loudness
from mixwright.meter.measure import Meter
from mixwright.model.arrangement import Arrangement, NeverHeard
from mixwright.model.hearing import KeptStretch
from mixwright.model.record import Record
from mixwright.model.song import Song, changed

#: A layer is never heard where the mix without it differs by less, in LU, and in every third-octave in dB.
LEAST_LU, LEAST_DB = 0.2, 0.5
#: Around where a layer sounds this much is measured, so that windows of 400 ms hold it.
_AROUND_S = 0.2
#: A part of the song that is measured by itself is at least so long.
_LEAST_S = 20.0

#: A sketch that says so many times LEAST_DB is believed; it is of some hundred moments.
_SURELY, _NOTHING = 2.0, 1e-3

#: The mix itself, beside the ids of its layers.
WHOLE = ""


def arrangement(
    song: Song,
    layers: Mapping[str, Heard],
    returns: Collection[str],
    audio: Mapping[str, Source],
    stretches: Sequence[KeptStretch],
    cache: Cache,
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
    stretches : sequence of KeptStretch
        of the song, by which is kept what was measured of each
    cache : Cache
    cancel
        the switch to stop
    """
    covered = [id_ for id_, heard in layers.items() if covered_everywhere(heard) and not _surely_missed(heard.sketch)]
    measured = _without({id_: layers[id_] for id_ in covered}, audio, song.rate_hz, stretches, cache, cancel)
    missed = (_difference(id_, parts, song.rate_hz) for id_, parts in measured.items())
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


class _Part(Record, frozen=True, kw_only=True):
    """The mix in a part of the song, and without a layer: energy of sub-blocks, and power of third-octaves."""

    frames: int
    hz: tuple[float, ...]
    energy: tuple[tuple[float, ...], tuple[float, ...]]
    power: tuple[tuple[float, ...], tuple[float, ...]]


def _without(
    layers: Mapping[str, Heard],
    audio: Mapping[str, Source],
    rate_hz: int,
    stretches: Sequence[KeptStretch],
    cache: Cache,
    cancel: Cancel | None,
) -> dict[str, list[_Part]]:
    """Measure the mix without each layer beside the mix, where that layer sounds, part by part and kept."""
    from scipy import ndimage  # slow to load

    around = np.ones(2 * round(_AROUND_S / CELL_S) + 1, dtype=bool)
    sounding = {id_: ndimage.binary_dilation(one.total[ALONE] > ACTIVE_SONE, around) for id_, one in layers.items()}
    found: dict[str, list[_Part]] = {id_: [] for id_ in layers}
    code = code_hash(*MEASURED_BY, __name__)
    for run in _runs(stretches):
        cells = run[0].first, run[-1].end
        here = {id_: where for id_, one in sounding.items() if (where := one[slice(*cells)]).any()}
        heard = [one.key for one in run]
        keys = {
            id_: cache.key("missed", heard, id_, np.packbits(where).tobytes().hex(), code)
            for id_, where in here.items()
        }
        known = {id_: old for id_, key in keys.items() if (old := cache.known(key, _Part)) is not None}
        unknown = [id_ for id_ in keys if id_ not in known]
        made = _measured(unknown, here, audio, rate_hz, cells, cancel) if unknown else {}
        for id_, measured in made.items():
            cache.put(keys[id_], measured)
        for id_, measured in {**known, **made}.items():
            found[id_].append(measured)
    return found


def _runs(stretches: Sequence[KeptStretch]) -> Iterator[Sequence[KeptStretch]]:
    """Yield the stretches of the song in runs that are long enough for a spectrum."""
    first = 0
    for k, one in enumerate(stretches):
        long_enough = (one.end - stretches[first].first) * CELL_S >= _LEAST_S
        left_s = (stretches[-1].end - one.end) * CELL_S
        if (long_enough and left_s >= _LEAST_S) or one is stretches[-1]:
            yield stretches[first : k + 1]
            first = k + 1


def _measured(
    layers: Sequence[str],
    sounding: Mapping[str, np.ndarray],
    audio: Mapping[str, Source],
    rate_hz: int,
    cells: tuple[int, int],
    cancel: Cancel | None,
) -> dict[str, _Part]:
    """Measure a part of the song once for all layers; `sounding`: in which cells of it each does."""
    first, end = (round(cell * CELL_S * rate_hz) for cell in cells)
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
            at = np.minimum((np.arange(first, first + len(mix)) / (rate_hz * CELL_S)).astype(np.intp), cells[1] - 1)
            first += len(mix)
            team.do(functools.partial(push, id_, mix, at - cells[0]) for id_ in layers)
    return {id_: _part(*both) for id_, both in meters.items()}


def _part(whole: Meter, without: Meter) -> _Part:
    both = whole, without
    energy = tuple(tuple(meter.loudness().energy.tolist()) for meter in both)
    levels = [meter.result() for meter in both]
    power = tuple(tuple(0.0 if db is None else 10.0 ** (db / 10.0) for db in one.third_octave_db) for one in levels)
    return _Part(
        frames=whole.frames,
        hz=levels[0].third_octave_hz,
        energy=(energy[0], energy[1]),
        power=(power[0], power[1]),
    )


def _difference(id_: str, parts: Sequence[_Part], rate_hz: int) -> NeverHeard | None:
    """Return a layer that nobody would miss, None where the mix without it is another one."""
    whole, without = (
        Loudness(rate_hz, np.concatenate([np.empty(0), *(part.energy[k] for part in parts)])).integrated_lufs()
        for k in range(2)
    )
    if whole is None or without is None:
        return None
    loudness = abs(whole - without)
    frames = np.array([part.frames for part in parts], dtype=np.float64)
    before, after = (frames @ np.array([part.power[k] for part in parts]) for k in range(2))
    with np.errstate(divide="ignore"):
        change_db = np.where(before > 0.0, np.abs(10.0 * np.log10(after / np.where(before > 0.0, before, 1.0))), 0.0)
    most = int(change_db.argmax())
    if loudness >= LEAST_LU or change_db[most] >= LEAST_DB:
        return None
    return NeverHeard(
        layer=id_,
        loudness_lu=round(loudness, 3),
        third_octave_db=round(float(change_db[most]), 3),
        third_octave_hz=parts[0].hz[most],
    )
