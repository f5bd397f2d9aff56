# SPDX-License-Identifier: Apache-2.0
"""The layers of a piece as an artist would send them: one file each, what it is, and how the rough mix has it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np

from mixwright.demo import drums, instruments, voices
from mixwright.demo.score import Piece
from mixwright.model.words import Place, Role


@dataclass(frozen=True)
class Layer:
    """One file of a delivery.

    `plays` names the lines of the score that it is for (drum microphones hear a little of the others).
    Tracks of one `source` read as one layer.
    `peak_dbfs` is how hot it was recorded, without regard to the others. `rough_db` and `pan` are the
    fader and position of the artist's rough mix; `record_db` the fader in the finished record by the
    other artist (None: not in it).
    """

    file: str
    plays: tuple[str, ...]
    role: Role
    place: Place
    source: str
    peak_dbfs: float
    rough_db: float
    record_db: float | None
    make: Callable[[Piece], np.ndarray]
    pan: float = 0.0


_KIT = ("kick", "snare", "hats", "cymbal")
_KICK = partial(drums.close, layer="kick")
_SNARE = partial(drums.close, layer="snare")
_HATS = partial(drums.close, layer="hats")
_LEFT = partial(instruments.guitar, player=0)
_RIGHT = partial(instruments.guitar, player=1)
_LOW = partial(voices.choir, layer="low", singers=voices.LOW_STACK)
_HIGH = partial(voices.choir, layer="high", singers=voices.HIGH_STACK)
_DOUBLE = partial(voices.choir, layer="double", singers=(voices.DOUBLE,))
_LEAD = partial(voices.choir, layer="lead", singers=(voices.LEAD,))

LAYERS = (
    Layer("Kick.wav", ("kick",), "kick", "support", "drums", -3.5, -7.5, -7.0, _KICK),
    Layer("Snare.wav", ("snare",), "snare", "support", "drums", -5.0, -5.5, -6.0, _SNARE),
    Layer("Hats.wav", ("hats",), "hats", "bed", "drums", -9.0, -11.5, -10.0, _HATS, 0.25),
    Layer("OH.wav", _KIT, "overheads", "support", "drums", -7.0, -9.0, -6.5, drums.overheads),
    Layer("Room.wav", _KIT[:3], "room", "bed", "drums", -6.5, -11.5, -11.0, drums.room),
    Layer("Shaker.wav", ("shaker",), "percussion", "bed", "shaker", -10.0, -12.5, -12.0, drums.percussion, -0.4),
    Layer("Bass DI.wav", ("bass",), "bass", "support", "bass", -6.0, -2.0, -2.0, instruments.bass_di),
    Layer("Bass Growl.wav", ("bass",), "bass", "support", "bass", -8.0, -5.0, -7.0, instruments.bass_growl),
    Layer("Bass Sub.wav", ("sub",), "bass", "support", "bass", -9.5, -15.0, None, instruments.bass_sub),
    Layer("Pad Warm.wav", ("pad",), "pad", "bed", "pad", -11.0, -6.5, -7.0, instruments.pad),
    Layer("Keys EP.wav", ("keys",), "keys", "support", "keys", -7.5, -8.5, -7.0, instruments.keys),
    Layer("Gtr Crunch L.wav", ("guitar left",), "electric guitar", "support", "guitars", -5.5, -8.0, -7.0, _LEFT, -0.9),
    Layer(
        "Gtr Crunch R.wav", ("guitar right",), "electric guitar", "support", "guitars", -8.0, -6.0, -5.0, _RIGHT, 0.9
    ),
    Layer("Arp Synth.wav", ("arp",), "synth", "bed", "arp", -6.0, -12.0, -12.0, instruments.arpeggio),
    Layer("FX Riser.wav", ("riser",), "effects", "bed", "riser", -4.5, -19.0, None, instruments.riser),
    Layer("BV Hi.wav", ("high",), "backing vocal", "support", "backing", -8.5, -12.5, None, _HIGH, 0.35),
    Layer("BV Lo.wav", ("low",), "backing vocal", "support", "backing", -11.5, -7.5, -6.5, _LOW, -0.35),
    Layer("LeadVox Dbl.wav", ("double",), "double", "support", "lead", -9.0, -11.0, -7.0, _DOUBLE, 0.1),
    Layer("LeadVox.wav", ("lead",), "lead vocal", "lead", "lead", -6.0, -1.0, 0.0, _LEAD),
)

#: The file that carries the song.
LEAD_FILE = "LeadVox.wav"


def made(layer: Layer, piece: Piece) -> np.ndarray:
    """Return a layer of a piece as recorded: float32, (frames, channels), its peak at `peak_dbfs`."""
    sound = layer.make(piece)
    peak = float(max(sound.max(), -sound.min()))
    return np.asarray(sound * (10.0 ** (layer.peak_dbfs / 20.0) / peak), dtype=np.float32)
