# SPDX-License-Identifier: Apache-2.0
"""How a song is arranged: who does what where, what two layers share, what a section lacks beside its neighbours."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence

import numpy as np

from mixwright.hearing.bands import BANDS, band_edges_hz
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, CELL_S, CUED, Heard
from mixwright.ledger.motion import Moved, band_cells_of, cells_of, moved
from mixwright.ledger.wall import WALL_HZ, excitation_power, holes
from mixwright.model.arrangement import HIGH_HZ, LOW_HZ, Arrangement, Job, MissingJob, SharedPlace, Twins
from mixwright.model.song import Section

#: Two layers share a place from here on; so many pairs are told of each section.
LEAST_SHARED, _MOST_SHARED = 0.5, 12
#: Strikes within this of each other are one to the ear (about 30 to 40 ms: Bregman; from memory).
TOGETHER_S = 0.032
#: Twins share this much, and this part of their strikes.
TWIN_SHARED, TWIN_STRIKES = 0.75, 0.7
#: Nothing is told of layers that sound together for less, or of strikes where there are fewer.
_LEAST_S, _LEAST_STRIKES = 2.0, 4
#: Of what two layers share this part lies in the range that is told: the middle of it.
_MOST = 0.6
#: Of a layer that is covered everywhere less than this share is heard, cued.
COVERED = 0.1
#: A layer does a job in a section where it sounds for this part of it, and this share of it is heard, cued.
_SOUNDS, _HEARD = 0.5, 0.25
#: A pulse has this many strikes a second, and a layer is in a range with this part of its loudness.
_PULSE_PER_S, _PART = 1.0, 0.3
#: A section lacks high or low where it has less than this part of what both beside it have, and that is heard.
_LACKS = 0.25


def arrangement_of(
    layers: Mapping[str, Heard], sections: Sequence[Section], returns: Collection[str] = ()
) -> Arrangement:
    """Return the arrangement of a song, from what was heard of its layers.

    Parameters
    ----------
    layers : mapping
        all layers of the mix, by id; the tracks of a source are one
    sections : sequence of Section
        in order of time; without any, nothing is told
    returns : collection of str
        layers that are returns of sends: what they share with what feeds them is meant, and not told

    Notes
    -----
    `never_heard` needs the mix without a layer, and is left empty: see mixwright.app.arrangement.
    """
    if not sections:
        return Arrangement()
    found = {
        (part.name, id_): one
        for id_, heard in layers.items()
        for part, one in zip(sections, moved(heard, id_, sections), strict=True)
    }
    power = {id_: excitation_power(heard.bands[ALONE]) for id_, heard in layers.items()}
    shares = _shares({id_: one for id_, one in power.items() if id_ not in returns}, found, sections)
    return Arrangement(
        sections=tuple(part.name for part in sections),
        motion=tuple(found[part.name, id_].motion for id_ in layers for part in sections),
        shared=_shared(layers, found, sections, shares),
        holes=holes(power.values(), sections),
        missing=_missing(layers, found, sections),
        twins=_twins(found, sections, shares),
    )


def covered_everywhere(heard: Heard) -> bool:
    """Tell whether next to nothing is heard of a layer wherever it sounds: it may be one that nobody would miss."""
    alone, cued = heard.total[ALONE], heard.total[CUED]
    sounding = alone > ACTIVE_SONE
    return bool(sounding.any()) and float(cued[sounding].sum()) < COVERED * float(alone[sounding].sum())


def shared_places(power: Sequence[np.ndarray]) -> np.ndarray:
    """Return what every two layers share in every band: float64 (layers, layers, BANDS).

    Parameters
    ----------
    power : sequence of float arrays (cells, BANDS)
        of the excitation by each layer

    Notes
    -----
    Each layer's power is divided by its sum over time and bands; what two share is the sum of the lesser of both
    (intersection of histograms: Swain and Ballard 1991): 1 where they do the same, at any two levels.
    """
    found = np.zeros((len(power), len(power), BANDS))
    if not power or not len(power[0]):
        return found
    parts = np.stack([one / max(float(one.sum()), 1e-9) for one in power]).astype(np.float32)
    for i in range(len(parts) - 1):
        found[i, i + 1 :] = np.minimum(parts[i], parts[i + 1 :]).sum(axis=1)
    return found + found.transpose(1, 0, 2)


def onsets_together(a: np.ndarray, b: np.ndarray) -> float | None:
    """Return the share of the strikes of the sparser layer with which the other strikes; None where one hardly does."""
    few, many = sorted((a, b), key=len)
    if len(few) < _LEAST_STRIKES:
        return None
    after = np.searchsorted(many, few)
    nearest = np.minimum(
        np.abs(few - many[np.maximum(after - 1, 0)]), np.abs(few - many[np.minimum(after, len(many) - 1)])
    )
    return round(float(np.mean(nearest <= round(TOGETHER_S / CELL_S))), 3)


def _shares(
    power: Mapping[str, np.ndarray], found: Mapping[tuple[str, str], Moved], sections: Sequence[Section]
) -> dict[str, tuple[list[str], np.ndarray]]:
    """Return by section which layers sound there, and what every two of them share."""
    shares = {}
    for part in sections:
        ids = [id_ for id_ in power if found[part.name, id_].motion.motion != "silent"]
        cells = band_cells_of(part)
        shares[part.name] = ids, shared_places([power[id_][cells] for id_ in ids])
    return shares


def _shared(
    layers: Mapping[str, Heard],
    found: Mapping[tuple[str, str], Moved],
    sections: Sequence[Section],
    shares: Mapping[str, tuple[list[str], np.ndarray]],
) -> tuple[SharedPlace, ...]:
    """Return the pairs that share most in each section."""
    edges = np.asarray(band_edges_hz())
    told: list[SharedPlace] = []
    for part in sections:
        ids, share = shares[part.name]
        sounds = {id_: _sounds(layers[id_], part) for id_ in ids}
        here = []
        for i, j in zip(*np.nonzero(np.triu(share.sum(axis=2) >= LEAST_SHARED)), strict=True):
            a, b = ids[int(i)], ids[int(j)]
            if np.count_nonzero(sounds[a] & sounds[b]) * CELL_S < _LEAST_S:
                continue
            low, high = _middle(share[i, j])
            here.append(
                SharedPlace(
                    layers=(a, b),
                    section=part.name,
                    share=round(float(share[i, j].sum()), 3),
                    low_hz=round(float(edges[low]), 1),
                    high_hz=round(float(edges[high]), 1),
                    onsets_together=onsets_together(found[part.name, a].strikes, found[part.name, b].strikes),
                )
            )
        told += sorted(here, key=lambda one: -one.share)[:_MOST_SHARED]
    return tuple(sorted(told, key=lambda one: -one.share))


def _middle(share: np.ndarray) -> tuple[int, int]:
    """Return the edges between which most of what is shared lies."""
    sums = np.cumsum(share) / share.sum()
    low = int(np.searchsorted(sums, 0.5 * (1.0 - _MOST)))
    return low, int(np.searchsorted(sums, 0.5 * (1.0 + _MOST))) + 1


def _twins(
    found: Mapping[tuple[str, str], Moved],
    sections: Sequence[Section],
    shares: Mapping[str, tuple[list[str], np.ndarray]],
) -> tuple[Twins, ...]:
    """Return layers that share nearly all in every section in which one of them sounds, with the least that they do."""
    sounds = Counter(id_ for ids, _ in shares.values() for id_ in ids)
    alike: dict[tuple[str, str], list[float]] = {}
    for ids, share in shares.values():
        whole = share.sum(axis=2)
        for i, j in zip(*np.nonzero(np.triu(whole >= TWIN_SHARED)), strict=True):
            alike.setdefault((ids[int(i)], ids[int(j)]), []).append(float(whole[i, j]))
    told = []
    for (a, b), amounts in alike.items():
        strikes = (np.concatenate([found[part.name, id_].strikes for part in sections]) for id_ in (a, b))
        together = onsets_together(*strikes)
        if len(amounts) == sounds[a] == sounds[b] and (together is None or together >= TWIN_STRIKES):
            told.append(Twins(layers=(a, b), share=round(min(amounts), 3), onsets_together=together))
    return tuple(sorted(told, key=lambda one: -one.share))


def _missing(
    layers: Mapping[str, Heard],
    found: Mapping[tuple[str, str], Moved],
    sections: Sequence[Section],
) -> tuple[MissingJob, ...]:
    """Return the jobs that nobody does in a section, though they are done in both sections beside it."""
    done = [_done(layers, found, part) for part in sections]
    amounts = [_amounts(layers, part) for part in sections]
    told = []
    for k, part in enumerate(sections[1:-1], 1):
        beside = (sections[k - 1].name, sections[k + 1].name)
        jobs: dict[Job, set[str]] = {
            job: done[k - 1][job] | done[k + 1][job]
            for job in done[k]
            if not done[k][job] and done[k - 1][job] and done[k + 1][job]
        }
        for job, here in amounts[k].items():
            least = min(sum(amounts[n][job].values()) for n in (k - 1, k + 1))
            if least > ACTIVE_SONE and sum(here.values()) < _LACKS * least:
                jobs[job] = _most({id_: amounts[k - 1][job][id_] + amounts[k + 1][job][id_] for id_ in layers})
        told += [
            MissingJob(section=part.name, job=job, beside=beside, done_by=tuple(id_ for id_ in layers if id_ in who))
            for job, who in jobs.items()
        ]
    return tuple(told)


def _done(layers: Mapping[str, Heard], found: Mapping[tuple[str, str], Moved], part: Section) -> dict[Job, set[str]]:
    """Return who holds and who pulses in a section, and is heard there."""
    holds: set[str] = set()
    pulses: set[str] = set()
    for id_, heard in layers.items():
        sounds = _sounds(heard, part)
        alone, _, cued = heard.total[:, cells_of(part)]
        if not sounds.any() or cued.sum() < _HEARD * alone.sum():
            continue
        motion = found[part.name, id_].motion
        if motion.motion == "sustains" and sounds.mean() >= _SOUNDS and _part_in(heard, part, *WALL_HZ) >= _PART:
            holds.add(id_)
        if motion.motion == "pulses" and (motion.onsets_per_s or 0.0) >= _PULSE_PER_S:
            pulses.add(id_)
    return {"held chord": holds, "pulse": pulses}


def _amounts(layers: Mapping[str, Heard], part: Section) -> dict[Job, dict[str, float]]:
    """Return how much loudness each layer leaves in the mix at the top and at the bottom, sone, mean over a section."""
    edges = np.asarray(band_edges_hz())
    high, low = edges[:-1] >= HIGH_HZ, edges[1:] <= LOW_HZ
    cells = band_cells_of(part)
    length = max(cells.stop - cells.start, 1)
    cued = {id_: heard.bands[CUED, cells].sum(axis=0, dtype=np.float64) / length for id_, heard in layers.items()}
    return {
        "high": {id_: float(one[high].sum()) for id_, one in cued.items()},
        "low": {id_: float(one[low].sum()) for id_, one in cued.items()},
    }


def _most(amounts: Mapping[str, float]) -> set[str]:
    """Return who has most of something: those who have at least half as much as the first."""
    return {id_ for id_, amount in amounts.items() if amount >= 0.5 * max(amounts.values())}


def _part_in(heard: Heard, part: Section, low_hz: float, high_hz: float) -> float:
    """Return the part of a layer's loudness in a section that lies in a range."""
    edges = np.asarray(band_edges_hz())
    loudness = heard.bands[ALONE, band_cells_of(part)].sum(axis=0, dtype=np.float64)
    inside = (edges[1:] > low_hz) & (edges[:-1] < high_hz)
    return float(loudness[inside].sum() / max(loudness.sum(), 1e-9))


def _sounds(heard: Heard, part: Section) -> np.ndarray:
    """Return in which cells of a section a layer sounds, pauses of up to half a second included."""
    from scipy import ndimage  # slow to load

    cells = heard.total[ALONE, cells_of(part)] > ACTIVE_SONE
    return np.asarray(ndimage.binary_closing(cells, np.ones(round(0.5 / CELL_S), dtype=bool)) | cells)
