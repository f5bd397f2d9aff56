# SPDX-License-Identifier: Apache-2.0
"""The plain grid of a song: tempo, where bars begin, or whole seconds where no tempo can be told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixwright.intake.likeness import Trace
from mixwright.intake.listening import TRACE_HZ

Floats = npt.NDArray[np.float64]

_SLOWEST_BPM = 60.0
_FASTEST_BPM = 200.0
#: Listeners tap near this tempo; the prior is a log-normal one octave wide (Parncutt, Music Perception 11, 1994).
_USUAL_BPM = 120.0
#: Share of the onset strength that must fall together on the sixteenths before a tempo is believed.
_BELIEVED = 0.25
BEATS_PER_BAR = 4


@dataclass(frozen=True)
class Grid:
    """Steps of equal length that section boundaries fall on: bars, or seconds if `tempo_bpm` is None."""

    tempo_bpm: float | None
    first_s: float
    step_s: float

    def times(self, duration_s: float) -> Floats:
        """Return the times of all steps inside the song, in seconds."""
        count = max(0, int(np.floor((duration_s - self.first_s) / self.step_s + 1e-6)) + 1)
        times = self.first_s + self.step_s * np.arange(count)
        return np.asarray(times[times < duration_s])


def find_grid(layers: Sequence[Trace], percussive: Sequence[bool], tempo_bpm: float | None = None) -> Grid:
    """Find the grid from the onsets of all layers; a given tempo is kept, only the bars are then found.

    Parameters
    ----------
    layers : sequence of Trace
        All used layers, from the start of the song.
    percussive : sequence of bool
        Layers whose onsets count double.
    tempo_bpm : float, optional
        Quarter notes a minute, if it is known.
    """
    onsets = _onsets(layers, percussive)
    if tempo_bpm is None:
        tempo_bpm = _tempo(onsets)
    if tempo_bpm is None:
        return Grid(None, 0.0, 1.0)
    beat_s = 60.0 / tempo_bpm
    return Grid(tempo_bpm, _first_bar_s(layers, onsets, beat_s), BEATS_PER_BAR * beat_s)


def _onsets(layers: Sequence[Trace], percussive: Sequence[bool]) -> Floats:
    total = np.zeros(max((len(layer.onsets) for layer in layers), default=0))
    for layer, struck in zip(layers, percussive, strict=True):
        total[: len(layer.onsets)] += (2.0 if struck else 1.0) * layer.onsets
    return total


def _tempo(onsets: Floats) -> float | None:
    """Return the tempo, or None if the onsets do not agree on one."""
    if len(onsets) < 8 * TRACE_HZ or onsets.max() == 0.0:
        return None
    clock = _Clock(onsets)
    near = _by_autocorrelation(onsets) * np.exp(np.linspace(-0.04, 0.04, 1601))
    fine = float(near[np.argmax(clock.agreement(near, 4) + 0.5 * clock.agreement(near, 1))])
    believed = float(clock.agreement(np.array([fine]), 4)[0])
    if believed < max(_BELIEVED, _by_chance(onsets)):
        return None
    # Most songs made on a grid have a whole tempo; taken if the onsets agree on it nearly as well.
    whole = float(round(fine))
    if abs(whole - fine) < 0.3 and clock.agreement(np.array([whole]), 4)[0] > 0.97 * believed:
        return whole
    return round(fine, 2)


def _by_chance(onsets: Floats) -> float:
    """Return the agreement that onsets at random times reach once in a thousand songs.

    Rayleigh's test: ``exp(-n r^2)`` for n onsets, over some two hundred tempi that differ. An onset fills about
    three values of the trace.
    """
    count = float(onsets.sum() ** 2 / np.square(onsets).sum()) / 3.0
    return float(np.sqrt(np.log(200.0 * 1000.0) / max(1.0, count)))


class _Clock:
    """Which share of the onset strength points the same way on a clock of so many ticks a minute."""

    def __init__(self, onsets: Floats) -> None:
        from scipy import fft

        # Sixteen-fold padding: reading the nearest bin then loses less than 0.2 %.
        self._size = fft.next_fast_len(16 * len(onsets), real=True)
        self._share = np.abs(fft.rfft(onsets, self._size)) / float(onsets.sum())

    def agreement(self, tempi_bpm: Floats, per_beat: int) -> Floats:
        bins = np.round(tempi_bpm * per_beat / 60.0 / TRACE_HZ * self._size).astype(int)
        return np.asarray(self._share[bins])


def _by_autocorrelation(onsets: Floats) -> float:
    """Return the tempo whose first four beat lags hold most of the autocorrelation, under the prior."""
    from scipy import fft

    centred = onsets - onsets.mean()
    size = fft.next_fast_len(2 * len(centred), real=True)
    r = fft.irfft(np.abs(fft.rfft(centred, size)) ** 2, size)[: len(centred)]
    tempi = np.exp(np.linspace(np.log(_SLOWEST_BPM), np.log(_FASTEST_BPM), 1200))
    beats = TRACE_HZ * 60.0 / tempi
    lags = np.arange(len(r))
    score = np.sum([np.interp(k * beats, lags, r, right=0.0) for k in (1, 2, 3, 4)], axis=0)
    prior = np.exp(-0.5 * np.square(np.log2(tempi / _USUAL_BPM)))
    return float(tempi[np.argmax(np.maximum(score, 0.0) * prior)])


def _phasor(onsets: Floats, bpm: float, per_beat: int) -> complex:
    turn = np.exp(-2j * np.pi * per_beat * bpm / 60.0 / TRACE_HZ * np.arange(len(onsets)))
    return complex(onsets @ turn)


def _first_bar_s(layers: Sequence[Trace], onsets: Floats, beat_s: float) -> float:
    """Return where the first bar begins, from 0 to one bar.

    The beat's phase is that of the onsets. Which beat is the first of the bar is told by where layers
    enter and where the low end strikes; most files are printed from the start of a bar, so that counts too.
    """
    # The sixteenths tell the phase finely; which sixteenth is the beat, where the onsets are strongest.
    sixteenth_s = beat_s / 4.0
    fine_s = -np.angle(_phasor(onsets, 60.0 / beat_s, 4)) / (2.0 * np.pi) * sixteenth_s
    phases = (fine_s + sixteenth_s * np.arange(4)) % beat_s
    strongest = phases[np.argmax([_on_beats(onsets, phase, beat_s).sum() for phase in phases])]
    # Onset curves rise one trace step before the level is reached.
    phase_s = float(strongest + 1.0 / TRACE_HZ) % beat_s
    if min(phase_s, beat_s - phase_s) < 0.025:  # as near as onsets tell: printed from a beat
        phase_s = 0.0
    votes = np.zeros(BEATS_PER_BAR)
    for layer in layers:
        for start in layer.starts:
            votes[round((start / TRACE_HZ - phase_s) / beat_s) % BEATS_PER_BAR] += 3.0
        timbre = layer.heard.timbre
        if timbre is not None and timbre.low_share > 0.3:
            votes += 3.0 * _beat_strengths(layer.onsets, phase_s, beat_s)
    if phase_s < 0.06:
        votes[0] += 2.0
    return float(phase_s + int(np.argmax(votes)) * beat_s)


def _beat_strengths(onsets: Floats, phase_s: float, beat_s: float) -> Floats:
    """Return how the onset strength on the beats is shared among the four beats of a bar."""
    strength = _on_beats(onsets, phase_s, beat_s)
    sums = np.array([strength[k::BEATS_PER_BAR].sum() for k in range(BEATS_PER_BAR)])
    return np.asarray(sums / max(1e-9, float(sums.sum())))


def _on_beats(onsets: Floats, phase_s: float, beat_s: float) -> Floats:
    """Return the largest onset strength within 30 ms of every beat."""
    beats = np.round((phase_s + beat_s * np.arange(int(len(onsets) / TRACE_HZ / beat_s))) * TRACE_HZ).astype(int)
    padded = np.pad(onsets, 3)
    beats = beats[beats + 6 < len(padded)]
    return np.asarray(np.max([padded[beats + shift] for shift in range(7)], axis=0))
