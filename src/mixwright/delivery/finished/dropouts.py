# SPDX-License-Identifier: Apache-2.0
"""Dropouts: a channel stands still in the midst of sound, and the sound breaks off and begins abruptly around it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel

#: Shorter ones are not counted (common practice, no source).
SHORTEST_S = 0.001
#: Both neighbours of a dropout lie above this (common practice, no source).
ACTIVE = 10.0 ** (-60.0 / 20.0)
#: The frames at its edges, as a share of the peak of the 2 ms beyond (their geometric mean): the fade of a gated sound,
#: however short, ends at next to nothing, a break anywhere.
ABRUPT, _BEYOND_S = 0.08, 0.002
#: A value that is held lies below this share of the peak up to 50 ms around it.
_TOP, _AROUND_S = 0.95, 0.05
#: What happens more often than this, a second, is a waveform with flat parts.
_MOST_A_SECOND = 4.0
_BLOCK_S = 4


@dataclass(frozen=True)
class Dropout:
    """A stretch of one channel in which nothing moves."""

    frame: int
    frames: int
    channel: int


def dropouts(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None = None) -> tuple[Dropout, ...]:
    """Return the dropouts of audio ``(frames, channels)``, in order of time; it may be mapped."""
    found: list[Dropout] = []
    for channel in range(audio.shape[1]):
        own = [
            Dropout(first, frames, channel)
            for first, frames in _still(audio, channel, rate_hz, cancel)
            if _breaks_off(audio[:, channel], first, frames, rate_hz)
        ]
        if len(own) <= max(8.0, _MOST_A_SECOND * len(audio) / rate_hz):
            found += own
    return tuple(sorted(found, key=lambda one: (one.frame, one.channel)))


def _still(
    audio: npt.NDArray[np.float32], channel: int, rate_hz: int, cancel: Cancel | None
) -> Iterator[tuple[int, int]]:
    """Yield first frame and length of every stretch of equal samples that is long enough."""
    shortest = max(4, round(SHORTEST_S * rate_hz))
    open_from = 0
    for start in range(0, len(audio), _BLOCK_S * rate_hz):
        if cancel is not None:
            cancel.check()
        block = audio[max(0, start - 1) : start + _BLOCK_S * rate_hz, channel]
        changes = np.flatnonzero(block[1:] != block[:-1]) + max(0, start - 1) + 1
        if not len(changes):
            continue
        begins = np.concatenate(([open_from], changes[:-1]))
        lengths = changes - begins
        for k in np.flatnonzero(lengths >= shortest).tolist():
            yield int(begins[k]), int(lengths[k])
        open_from = int(changes[-1])


def _breaks_off(sound: npt.NDArray[np.float32], first: int, frames: int, rate_hz: int) -> bool:
    near = max(4, round(_BEYOND_S * rate_hz))
    last = first + frames
    if first < near or last + near > len(sound):
        return False
    before, after = (np.abs(sound[a:b].astype(np.float64)) for a, b in ((first - near, first), (last, last + near)))
    if min(before.max(), after.max()) <= ACTIVE:
        return False
    held = float(abs(sound[first]))
    if held > 0.0:  # of a clipped wave the tops stand still, not what lies below them
        far = round(_AROUND_S * rate_hz)
        return held < _TOP * float(np.abs(sound[max(0, first - far) : last + far]).max())
    edges = before[-1] / before.max() * after[0] / after.max()
    return bool(edges > ABRUPT**2)
