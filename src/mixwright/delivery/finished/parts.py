# SPDX-License-Identifier: Apache-2.0
"""Parts that must add up to the mix, and which of them is off when they do not."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel
from mixwright.units import db_from_power, db_from_ratio

#: Residual re the mix, RMS: from here on parts add up; -80 dB by common practice (no source).
ADDS_UP_DB = -80.0
#: With one correction the residual must fall by so much for it to be told as the cause.
_EXPLAINS_DB = 15.0
#: A part may be early or late by so much.
_SEARCH_S = 0.25
_WINDOW_S = 4.0
_WINDOWS = 3
_BLOCK_FRAMES = 1 << 17
#: A part below this share of the mix, -80 dB, is silent beside it.
_SOUNDS = 1e-8
#: Gains nearer to 1 than this are exact.
_GAIN = 0.002


@dataclass(frozen=True)
class Off:
    """What is off about one part: `late_frames`, `gain` (-1: turned over) and whether its sides are changed over."""

    part: int
    late_frames: int = 0
    gain: float = 1.0
    sides: bool = False

    @property
    def words(self) -> str:
        """What is off, for one line."""
        told = []
        if self.late_frames:
            frames = abs(self.late_frames)
            told.append(f"{frames} frame{'' if frames == 1 else 's'} {'late' if self.late_frames > 0 else 'early'}")
        if self.gain < 0.0:
            told.append("turned over")
        level = db_from_ratio(abs(self.gain))
        if level is None:
            told.append("missing from the mix")
        elif abs(level) > 0.01:
            told.append(f"{abs(level):.2f} dB too {'loud' if level > 0 else 'quiet'}")
        if self.sides:
            told.append("left and right changed over")
        return ", ".join(told) or "off"


@dataclass(frozen=True)
class SumOfParts:
    """The residual of the mix less its parts, RMS re the mix and peak re full scale, and what is off where it is known.

    None for no residual at all. `off` is empty where no single cause explains it.
    """

    residual_db: float | None
    peak_dbfs: float | None
    off: tuple[Off, ...]

    @property
    def adds_up(self) -> bool:
        """Whether the parts are the mix."""
        return self.residual_db is None or self.residual_db <= ADDS_UP_DB


Audio = npt.NDArray[np.float32]
Look = Callable[[], object]


def sum_of_parts(mix: Audio, parts: Sequence[Audio], rate_hz: int, cancel: Cancel | None = None) -> SumOfParts:
    """Return how parts add up to a mix, all ``(frames, channels)`` at one rate and with as many channels.

    Where they do not, the smallest mistake that explains it is looked for: levels and polarities of all parts at once
    by least squares, else one part that is late, early, or has its sides changed over.
    """
    look = (cancel or Cancel()).check
    power, residual, peak, gram, onto = _sums(mix, parts, look)
    if residual == 0.0:
        return SumOfParts(None, None, ())
    rest = db_from_power(residual / power) if power > 0.0 else 0.0
    whole = SumOfParts(rest, db_from_ratio(peak), ())
    if whole.adds_up or power == 0.0 or not parts:
        return whole
    return SumOfParts(rest, whole.peak_dbfs, _cause(mix, parts, rate_hz, (power, residual, gram, onto), look))


def _blocks(mix: Audio, parts: Sequence[Audio], look: Look) -> Iterator[tuple[npt.NDArray[np.float64], ...]]:
    frames = max(len(mix), *(len(part) for part in parts)) if parts else len(mix)
    for start in range(0, frames, _BLOCK_FRAMES):
        look()
        count = min(_BLOCK_FRAMES, frames - start)
        yield tuple(_padded(one, start, count) for one in (mix, *parts))


def _padded(audio: Audio, start: int, count: int) -> npt.NDArray[np.float64]:
    """Return frames of audio, silence before and after it."""
    padded = np.zeros((count, audio.shape[1]))
    first, end = max(0, start), min(len(audio), start + count)
    if end > first:
        padded[first - start : end - start] = audio[first:end]
    return padded


def _sums(
    mix: Audio, parts: Sequence[Audio], look: Look
) -> tuple[float, float, float, npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    count = len(parts)
    gram, onto = np.zeros((count, count)), np.zeros(count)
    power = residual = peak = 0.0
    for whole, *own in _blocks(mix, parts, look):
        rest = whole - sum(own)
        power += float(np.sum(whole * whole))
        residual += float(np.sum(rest * rest))
        peak = max(peak, float(np.abs(rest).max(initial=0.0)))
        flat = np.stack([one.ravel() for one in own]) if own else np.zeros((0, whole.size))
        gram += np.einsum("if,jf->ij", flat, flat)
        onto += np.einsum("if,f->i", flat, whole.ravel())
    return power, residual, peak, gram, onto


def _cause(
    mix: Audio,
    parts: Sequence[Audio],
    rate_hz: int,
    sums: tuple[float, float, npt.NDArray[np.float64], npt.NDArray[np.float64]],
    look: Look,
) -> tuple[Off, ...]:
    power, residual, gram, onto = sums
    # What is next to silent fits anything at some level, and is left as it is.
    sounds = np.flatnonzero(np.diag(gram) > _SOUNDS * power)
    gains = np.ones(len(parts))
    if len(sounds):
        known = gram[:, np.diag(gram) <= _SOUNDS * power].sum(axis=1)
        gains[sounds] = np.linalg.lstsq(gram[np.ix_(sounds, sounds)], (onto - known)[sounds], rcond=1e-10)[0]
    left = power - 2.0 * gains @ onto + gains @ gram @ gains
    # The closed form cancels at about -120 dB of the mix.
    if left <= max(residual * 10.0 ** (-_EXPLAINS_DB / 10.0), 1e-11 * power):
        # The mix is `gain` times what was delivered.
        off = [Off(k, gain=1.0 / g if g else 0.0) for k, g in enumerate(gains.tolist()) if abs(g - 1.0) > _GAIN]
        return tuple(off)
    best: tuple[float, Off] | None = None
    for k in range(len(parts)):
        for candidate in _candidates(mix, parts, k, rate_hz, look):
            rest = _rest(mix, parts, candidate, look)
            if best is None or rest < best[0]:
                best = (rest, candidate)
    if best is not None and best[0] <= residual * 10.0 ** (-_EXPLAINS_DB / 10.0):
        return (best[1],)
    return ()


def _candidates(mix: Audio, parts: Sequence[Audio], k: int, rate_hz: int, look: Look) -> Iterator[Off]:
    """Yield what may be off about one part: sides changed over, or late by where the mix less the others has it."""
    if parts[k].shape[1] == 2:
        yield Off(k, sides=True)
    late = _late_frames(mix, parts, k, rate_hz, look)
    if late:
        yield Off(k, late_frames=late)


def _late_frames(mix: Audio, parts: Sequence[Audio], k: int, rate_hz: int, look: Look) -> int:
    from scipy import fft  # slow to load

    length, search = round(_WINDOW_S * rate_hz), round(_SEARCH_S * rate_hz)
    size = int(fft.next_fast_len(length + 2 * search, real=True))
    total = np.zeros(size // 2 + 1, dtype=np.complex128)
    for start in _loud(parts[k], length, look):
        look()
        whole = _padded(mix, start, length)
        others = [_padded(part, start, length) for i, part in enumerate(parts) if i != k]
        wanted = fft.rfft(whole - sum(others), size, axis=0)
        own = fft.rfft(_padded(parts[k], start, length), size, axis=0)
        total += np.sum(own * np.conj(wanted), axis=1)
    r = fft.irfft(total, size)
    around = np.concatenate((r[-search:], r[: search + 1]))
    return int(np.argmax(np.abs(around))) - search


def _loud(part: Audio, length: int, look: Look) -> list[int]:
    """Return where the loudest windows of a part begin."""
    powers = []
    for start in range(0, max(1, len(part) - length // 2), length):
        look()
        sparse = part[start : start + length : 7].astype(np.float64)
        powers.append((float(np.sum(sparse * sparse)), start))
    return [start for _, start in sorted(powers, reverse=True)[:_WINDOWS]]


def _rest(mix: Audio, parts: Sequence[Audio], off: Off, look: Look) -> float:
    """Return the power of the residual with one part corrected."""
    frames = max(len(mix), *(len(part) for part in parts))
    rest = 0.0
    for start in range(0, frames, _BLOCK_FRAMES):
        look()
        count = min(_BLOCK_FRAMES, frames - start)
        block = _padded(mix, start, count)
        for i, part in enumerate(parts):
            if i != off.part:
                block -= _padded(part, start, count)
            else:
                own = _padded(part, start + off.late_frames, count)
                block -= own[:, ::-1] if off.sides else own
        rest += float(np.sum(block * block))
    return rest
