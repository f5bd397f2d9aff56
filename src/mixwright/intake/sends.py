# SPDX-License-Identifier: Apache-2.0
"""The sends that a song of raw tracks starts with: two reverbs that nothing feeds yet."""

from __future__ import annotations

from mixwright.model.song import Send
from mixwright.model.strip import Reverb

#: Where no tempo is known.
_TEMPO_BPM = 100.0
#: Decay in quarter notes. Listeners liked the wide range from a quarter to a half note (Pestana et al. 2017); of its
#: ends the shorter one, since too wet is liked less than too dry (De Man, McNally & Reiss 2017).
_VOICE_BEATS = 1.0
_INSTRUMENTS_BEATS = 1.5
_SHORTEST_S, _LONGEST_S = 0.3, 1.5


def default_sends(tempo_bpm: float | None) -> tuple[Send, ...]:
    """Return a reverb for the voice and one for instruments, their decay from the tempo.

    The voice's starts after 40 ms: a pre-delay above 30 to 40 ms is clearly better (Pestana & Reiss 2014). Both lose
    their low end, as most engineers have it (same source). The other figures are common practice, no source.
    """
    return (
        Send(
            id="voice-reverb",
            name="Voice reverb",
            reverb=Reverb(
                kind="voice",
                decay_s=_decay_s(_VOICE_BEATS, tempo_bpm),
                pre_delay_ms=40.0,
                low_hz=250.0,
                high_hz=6000.0,
            ),
        ),
        Send(
            id="instrument-reverb",
            name="Instrument reverb",
            reverb=Reverb(
                kind="instruments",
                decay_s=_decay_s(_INSTRUMENTS_BEATS, tempo_bpm),
                pre_delay_ms=15.0,
                low_hz=180.0,
                high_hz=8000.0,
            ),
        ),
    )


def _decay_s(beats: float, tempo_bpm: float | None) -> float:
    seconds = beats * 60.0 / (tempo_bpm or _TEMPO_BPM)
    return round(min(max(seconds, _SHORTEST_S), _LONGEST_S), 2)
