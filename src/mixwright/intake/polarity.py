# SPDX-License-Identifier: Apache-2.0
"""Which tracks of one source move against their partner: told, never turned over here."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mixwright.core.align import fit_gain
from mixwright.intake.likeness import rhythm_likeness, same_waveform
from mixwright.intake.sources import SAME_RHYTHM, Layer
from mixwright.jobs.progress import Cancel, until_stopped
from mixwright.model.audio import Fault
from mixwright.model.words import VOICE_ROLES

#: Sound travels 34 cm in this. Microphones further apart agree at some frequencies and cancel at others, however they
#: stand; so do two toms that hear one another.
_NEAR_S = 0.001
#: With the lag taken out, at least this share of one is in the other: a correlation of -0.5 or below.
_SHARED_POWER = 0.25


def polarity_faults(
    sources: Sequence[Sequence[Layer]], names: dict[str, str], cancel: Cancel | None = None
) -> dict[str, Fault]:
    """Return the fault of every track that is clearly inverted against another of its source, by track id.

    Looked at are pairs of one role that strike together and lie within 1 ms of one another: two microphones of one
    drum, a DI and an amplifier, left and right of one recording. Voices are takes, and no pair. Of a pair the
    microphone below is told, else the later one.

    Parameters
    ----------
    sources : sequence of sequences of Layer
        The members of each source.
    names : dict
        What the files are called in the detail, by track id.
    cancel : Cancel, optional
        The user's switch to stop.
    """
    found: dict[str, Fault] = {}
    for members in sources:
        for a, b, lag_s in _inverted_pairs(members, cancel):
            told, partner = (a, b) if "bottom" in a.name.meanings - b.name.meanings else (b, a)
            detail = (
                f"moves against {names[partner.id]}, {abs(1000.0 * lag_s):.1f} ms apart: together they lose what they "
                "share; invert one of the two, listen, and keep what is fuller"
            )
            found.setdefault(told.id, Fault(kind="polarity", severity="look", detail=detail))
    return found


def _inverted_pairs(members: Sequence[Layer], cancel: Cancel | None) -> Iterator[tuple[Layer, Layer, float]]:
    for a, b in until_stopped(combinations(members, 2), cancel):
        rate_hz = a.trace.heard.rate_hz
        if a.role != b.role or a.role in VOICE_ROLES or b.trace.heard.rate_hz != rate_hz:
            continue
        if a.audio is None or b.audio is None or a.audio.shape[1] != b.audio.shape[1]:
            continue
        if rhythm_likeness(a.trace, b.trace) < SAME_RHYTHM:
            continue
        found = same_waveform(a.audio, b.audio, rate_hz, cancel)
        if found is None or found.polarity > 0 or abs(found.lag_frames) > _NEAR_S * rate_hz:
            continue
        gain, rest = fit_gain(*_lined_up(a.audio, b.audio, round(found.lag_frames)), look=(cancel or Cancel()).check)
        if gain < 0.0 and rest <= 1.0 - _SHARED_POWER:
            yield a, b, found.lag_frames / rate_hz


def _lined_up(
    x: npt.NDArray[np.float32], y: npt.NDArray[np.float32], lag_frames: int
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Return what both hold at the same time, where y lags behind x."""
    x, y = x[max(0, -lag_frames) :], y[max(0, lag_frames) :]
    frames = min(len(x), len(y))
    return x[:frames], y[:frames]
