# SPDX-License-Identifier: Apache-2.0
"""Invented clashes: bands of noise beside each other, and what the ledger finds in them."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import Hearing
from mixwright.ledger.findings import LedgerRow, ledger_of
from mixwright.model.ledger import Finding
from mixwright.model.song import Section

RATE_HZ = 48_000
#: Two sections of so many seconds.
SECONDS = 2.048
SECTIONS = (
    Section(name="verse", start_s=0.0, end_s=SECONDS),
    Section(name="chorus", start_s=SECONDS, end_s=2 * SECONDS),
)
FRAMES = round(2 * SECONDS * RATE_HZ)
#: A sine of amplitude 1 has 100 dB SPL.
OFFSET_DB = 103.01


def band(
    seed: int, low_hz: float, high_hz: float, level_db: float, start_s: float = 0.0, end_s: float = 99.0
) -> np.ndarray:
    """Return pink noise (frames, 2) between two frequencies and times; its level while it sounds, re full scale."""
    rng, hz = np.random.default_rng(seed), np.fft.rfftfreq(FRAMES, 1.0 / RATE_HZ)
    inside = (hz >= low_hz) & (hz <= high_hz)
    spectrum = np.where(inside, rng.standard_normal((2, len(hz))).T @ [1.0, 1.0j] / np.sqrt(np.maximum(hz, 1.0)), 0.0)
    audio = np.fft.irfft(spectrum, FRAMES)
    audio *= 10.0 ** (level_db / 20.0) / audio.std()
    at_s = np.arange(FRAMES) / RATE_HZ
    return np.repeat((audio * ((at_s >= start_s) & (at_s < end_s)))[:, None], 2, axis=1).astype(np.float32)


def heard(layers: Mapping[str, np.ndarray]) -> Hearing:
    """Hear layers in their sum."""
    mix = np.sum(list(layers.values()), axis=0)
    sources = {id_: held(audio) for id_, audio in layers.items()}
    edges_s = [part.end_s for part in SECTIONS[:-1]]
    return hear(sources, held(mix), rate_hz=RATE_HZ, frames=FRAMES, offset_db=OFFSET_DB, edges_s=edges_s, workers=1)


def found(layers: Mapping[str, np.ndarray], places: Mapping[str, str], **settings: object) -> tuple[Finding, ...]:
    """Return the findings among layers, by their places; a bed where none is given, a return where its id says so."""
    rows = [LedgerRow(id_, places.get(id_, "bed"), is_return=id_.startswith("send ")) for id_ in layers]
    return ledger_of(heard(layers), rows, SECTIONS, workers=1, **settings)


def iou(first: tuple[float, float], second: tuple[float, float]) -> float:
    """Return the intersection of two bands over their union, in octaves."""
    (a, b), (c, d) = first, second
    return max(0.0, math.log(min(b, d) / max(a, c))) / math.log(max(b, d) / min(a, c))
