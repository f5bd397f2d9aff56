# SPDX-License-Identifier: Apache-2.0
"""What a bounce changed of a layer: how much of which moves, and what else; by levels in bands and seconds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from mixwright.core.align import lag_and_polarity
from mixwright.core.spectra import OCTAVE, third_octave_gain, third_octave_hz
from mixwright.errors import printable
from mixwright.model.song import Section
from mixwright.units import band_words

#: What lies further below the loudest cell is not compared, and what lies deeper still counts as silence, in dB.
_DEPTH_DB, _SILENCE_DB = 40.0, 90.0
#: A move counts as dialled from this share on, up to that one, where it explains so much of what is left without it.
_LEAST_SHARE, _MOST_SHARE, _EXPLAINS = 0.25, 2.0, 0.25
#: Smaller changes are not told, in dB; of a level as a whole half of it counts.
_TELLING_DB = 1.0
_TELLING_S, _TELLING_LAG_S = 0.1, 0.001
_MOST_TOLD = 5


@dataclass(frozen=True, eq=False)
class Matched:
    """What a bounce holds: the share of each move by its id, those that it holds alone; and what else, in phrases."""

    shares: Mapping[str, float]
    also: tuple[str, ...]


def matched(
    before: np.ndarray,
    after: np.ndarray,
    moved: Mapping[str, np.ndarray],
    rate_hz: int,
    sections: Sequence[Section] = (),
) -> Matched:
    """Compare a layer before and after a bounce with what moves would make of it.

    Levels in dB of third-octave bands, second by second, of both channels: the change is fitted by least squares as a
    sum of shares of what each move changes, and of one level for all. Our own, no source.

    Parameters
    ----------
    before, after : ndarray (frames, 2)
        the layer as it stands in the mix, from the start of the song
    moved : mapping
        by id of a move, `before` with that move
    rate_hz : int
    sections : sequence of Section
        by which a change is told
    """
    frames = max(len(before), len(after), *(len(audio) for audio in moved.values()))
    cells = [_cells(audio, frames, rate_hz) for audio in (before, after, *moved.values())]
    loudest = max(float(cells[0].max(initial=0.0)), float(cells[1].max(initial=0.0)))
    if not loudest > 0.0:
        return Matched({}, ())
    floor = loudest * 10.0 ** (-_SILENCE_DB / 10.0)
    compared = np.maximum(cells[0], cells[1]) > loudest * 10.0 ** (-_DEPTH_DB / 10.0)
    ends = [_end(audio) for audio in (before, after)]
    if abs(ends[1] - ends[0]) >= _TELLING_S * rate_hz:  # where one has ended nothing is compared
        compared[min(ends) // rate_hz :] = False
    if not compared.any():
        return Matched({}, tuple(_timing(before, after, rate_hz)))
    db = [10.0 * np.log10(power + floor) for power in cells]
    change = db[1] - db[0]
    effects = {id_: (made - db[0])[compared] for id_, made in zip(moved, db[2:], strict=True)}
    shares = _shares(change[compared], effects)
    rest = change.copy()
    rest[compared] -= sum((share * effects[id_] for id_, share in shares.items()), np.zeros(int(compared.sum())))
    also = [*_timing(before, after, rate_hz), *_levels(rest, compared, rate_hz, sections)]
    return Matched(shares, tuple(also[:_MOST_TOLD]))


def _cells(audio: np.ndarray, frames: int, rate_hz: int) -> np.ndarray:
    """Return the power in each second, third-octave band and channel, ``(seconds, bands, 2)``."""
    from scipy.fft import rfft

    seconds = -(-frames // rate_hz)
    hz = np.arange(rate_hz // 2 + 1, dtype=np.float64)
    gains = np.stack([third_octave_gain(np.maximum(hz, 0.5), mid) for mid in third_octave_hz(rate_hz)])
    window = np.hanning(rate_hz).astype(np.float32)[:, np.newaxis]
    found = np.zeros((seconds, len(gains), 2))
    for second in range(seconds):
        piece = audio[second * rate_hz : (second + 1) * rate_hz].astype(np.float32)
        if not piece.any():
            continue
        piece = np.pad(piece, ((0, rate_hz - len(piece)), (0, 0))) * window
        power = np.abs(rfft(piece, axis=0)) ** 2
        found[second] = gains @ power[: len(hz)].astype(np.float64)
    return found / float(rate_hz) ** 2


def _shares(change: np.ndarray, effects: Mapping[str, np.ndarray]) -> dict[str, float]:
    """Return the shares of the moves that a change holds; those that it does not hold are left out one by one."""
    level = np.ones(len(change))
    left = {id_: effect for id_, effect in effects.items() if np.abs(effect).max(initial=0.0) > 0.05}
    while left:
        # A level of its own is fitted beside moves, unless one of them is nothing else.
        own = [] if any(np.ptp(effect) < 0.1 * abs(effect.mean()) for effect in left.values()) else [level]
        columns = np.stack([*left.values(), *own], axis=1)
        found = np.linalg.lstsq(columns, change, rcond=None)[0]
        rest = float(np.sum((change - columns @ found) ** 2))
        worst, worst_id = np.inf, ""
        for k, id_ in enumerate(left):
            others = np.delete(columns, k, axis=1)
            fit = others @ np.linalg.lstsq(others, change, rcond=None)[0] if others.shape[1] else 0.0
            without = float(np.sum((change - fit) ** 2))
            explains = 1.0 - rest / without if without > 1e-9 else 0.0
            holds = _LEAST_SHARE <= found[k] <= _MOST_SHARE and explains >= _EXPLAINS
            if not holds and explains < worst:
                worst, worst_id = explains, id_
        if not worst_id:
            return {id_: float(found[k]) for k, id_ in enumerate(left)}
        del left[worst_id]
    return {}


def _levels(rest: np.ndarray, compared: np.ndarray, rate_hz: int, sections: Sequence[Section]) -> list[str]:
    """Return what is left of a change: as a whole, by bands, by sections, and from side to side."""
    told = []
    whole = float(rest[compared].mean())
    if abs(whole) >= _TELLING_DB / 2.0:
        told.append(f"{abs(whole):.1f} dB {'louder' if whole > 0.0 else 'softer'} as a whole")
    bands = _means(rest, compared, (0, 2)) - whole
    told += _band_phrases(bands, third_octave_hz(rate_hz))
    by_second = rest - whole - np.where(np.isfinite(bands), bands, 0.0)[np.newaxis, :, np.newaxis]
    for section in sections:
        part = slice(int(section.start_s), int(np.ceil(section.end_s)))
        if compared[part].any():
            level = float(by_second[part][compared[part]].mean())
            if abs(level) >= _TELLING_DB:
                told.append(f"{abs(level):.1f} dB {'louder' if level > 0.0 else 'softer'} in {printable(section.name)}")
    both = compared.all(axis=2)
    if both.any():
        side = float((rest[..., 1] - rest[..., 0])[both].mean())
        if abs(side) >= _TELLING_DB:
            told.append(f"{abs(side):.1f} dB more on the {'right' if side > 0.0 else 'left'}")
    return told


def _means(values: np.ndarray, chosen: np.ndarray, axes: tuple[int, ...]) -> np.ndarray:
    """Return means over what is chosen, NaN where nothing is."""
    many = chosen.sum(axis=axes)
    total = np.where(chosen, values, 0.0).sum(axis=axes)
    return np.where(many > 0, total / np.maximum(many, 1), np.nan)


def _band_phrases(bands_db: np.ndarray, mids_hz: Sequence[float]) -> list[str]:
    """Return adjacent bands that changed the same way as a phrase each, the largest first."""
    runs: list[list[int]] = []
    for k, value in enumerate(bands_db.tolist()):
        if not abs(value) >= _TELLING_DB:
            continue
        if runs and runs[-1][-1] == k - 1 and (bands_db[k - 1] > 0.0) == (value > 0.0):
            runs[-1].append(k)
        else:
            runs.append([k])
    runs.sort(key=lambda run: -max(abs(bands_db[k]) for k in run))
    edge = OCTAVE ** (1.0 / 6.0)
    return [
        f"{max((bands_db[k] for k in run), key=abs):+.1f} dB at "
        f"{band_words(mids_hz[run[0]] / edge, mids_hz[run[-1]] * edge, ' to ')}"
        for run in runs
    ]


def _end(audio: np.ndarray) -> int:
    """Return the frame after the last one that sounds."""
    return int(np.flatnonzero(np.abs(audio).max(axis=1) > 0.0).max(initial=-1)) + 1


def _timing(before: np.ndarray, after: np.ndarray, rate_hz: int) -> list[str]:
    """Return whether it lies otherwise in time, is turned in polarity, or of another length."""
    told = []
    found = lag_and_polarity(before, after, rate_hz)
    if found is not None and found.sure:
        late_s = found.lag_frames / rate_hz
        if abs(late_s) >= _TELLING_LAG_S:
            told.append(f"{abs(1000.0 * late_s):.0f} ms {'later' if late_s > 0.0 else 'earlier'}")
        if found.polarity < 0:
            told.append("polarity turned")
    longer_s = (_end(after) - _end(before)) / rate_hz
    if abs(longer_s) >= _TELLING_S:
        told.append(f"{abs(longer_s):.1f} s {'longer' if longer_s > 0.0 else 'shorter'}")
    return told
