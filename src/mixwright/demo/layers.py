# SPDX-License-Identifier: Apache-2.0
"""The layers of a piece as an artist would send them: one file each, what it is, and how the rough mix has it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import NamedTuple

import numpy as np

from mixwright.demo import drums, effects, instruments, percussion, plucked, voices
from mixwright.demo.planted import Clash, raised
from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ
from mixwright.io.write import SampleFormat
from mixwright.model.words import Place, Role


class Mix(NamedTuple):
    """Fader in dB and position in the artist's rough mix; faders in the finished records (None: not in it)."""

    rough_db: float
    pan: float = 0.0
    records_db: tuple[float | None, float | None] = (None, None)


@dataclass(frozen=True)
class Layer:
    """One file of a delivery.

    `plays` names the lines of the score that it is for (drum microphones hear a little of the others).
    Tracks of one `source` read as one layer; `group` is where they are summed. `peak_dbfs` is how hot it
    was recorded, without regard to the others.

    The rest is odd about the file: `from_bar` (it lacks all before that bar), `offset_dbfs` (its mean is
    not zero), `turned_over` (against the other tracks of its source), rate and format.
    """

    file: str
    plays: tuple[str, ...]
    role: Role
    source: str
    group: str
    make: Callable[[Piece], np.ndarray]
    peak_dbfs: float
    mix: Mix
    place: Place = "support"
    from_bar: int = 0
    offset_dbfs: float | None = None
    turned_over: bool = False
    rate_hz: int = RATE_HZ
    sample_format: SampleFormat = "pcm24"


def _close(microphone: drums.Microphone) -> Callable[[Piece], np.ndarray]:
    return partial(drums.close, microphone=microphone)


def _guitar(player: int) -> Callable[[Piece], np.ndarray]:
    return partial(plucked.guitar, player=player)


def _sung(layer: str, singer: voices.Singer) -> Callable[[Piece], np.ndarray]:
    return partial(voices.sung, layer=layer, singer=singer)


_KIT = tuple(drums.KIT)
_KICK_IN, _KICK_OUT = _close(drums.KICK_IN), _close(drums.KICK_OUT)
_TOP, _BOTTOM, _HATS = _close(drums.SNARE_TOP), _close(drums.SNARE_BOTTOM), _close(drums.HATS)
_RACK, _FLOOR = _close(drums.TOM_HIGH), _close(drums.TOM_LOW)
_EG: Role = "electric guitar"
_BV: Role = "backing vocal"

#: The file that carries the song.
LEAD_FILE = "LeadVox comp v4.wav"
#: A file under a wrong name, and the one whose audio it holds.
DUPLICATE = ("Strings (use this one).wav", "Pad Warm.wav")

LAYERS = (
    Layer("01 Kick In.wav", ("kick",), "kick", "drums", "drums", _KICK_IN, -3.5, Mix(-11.5, 0.0, (-10.5, -6.5))),
    Layer("02 Kick OUT.wav", ("kick",), "kick", "drums", "drums", _KICK_OUT, -5.0, Mix(-12.0, 0.0, (-11.5, -11.0))),
    Layer("03 Sn Top.wav", ("snare",), "snare", "drums", "drums", _TOP, -4.5, Mix(-9.5, 0.0, (-9.0, -11.0))),
    Layer("04 Sn Bot.wav", ("snare",), "snare", "drums", "drums", _BOTTOM, -9.0, Mix(-10.5), turned_over=True),
    Layer("05 HiHat.wav", ("hats",), "hats", "drums", "drums", _HATS, -9.0, Mix(-7.0, 0.25, (-8.0, -8.5))),
    Layer("06 Tom Rack.wav", ("tom high",), "toms", "drums", "drums", _RACK, -6.0, Mix(-14.5, 0.2)),
    Layer("07 Tom Floor.wav", ("tom low",), "toms", "drums", "drums", _FLOOR, -5.5, Mix(-15.5, -0.35)),
    Layer(
        "08 OH (stereo).wav", _KIT, "overheads", "drums", "drums", drums.overheads, -7.0, Mix(-4.5, 0.0, (-4.5, -5.0))
    ),
    Layer(
        "09 Room far.wav", _KIT[:5], "room", "drums", "drums", drums.room, -6.5, Mix(-10.5, 0.0, (-9.5, -13.0)), "bed"
    ),
    Layer(
        "shaker_take3.wav",
        ("shaker",),
        "percussion",
        "shaker",
        "percussion",
        percussion.shaker,
        -10.0,
        Mix(-6.0, -0.4, (-7.5, -4.5)),
    ),
    Layer(
        "TAMB only choruses.wav",
        ("tambourine",),
        "percussion",
        "tambourine",
        "percussion",
        percussion.tambourine,
        -9.0,
        Mix(-6.5, 0.45, (None, -7.5)),
        from_bar=12,
    ),
    Layer("Bass DI.wav", ("bass",), "bass", "bass", "bass", instruments.bass_di, -6.0, Mix(-2.5, 0.0, (-2.0, -4.0))),
    Layer(
        "Bass Amp (mic 2).wav",
        ("bass",),
        "bass",
        "bass",
        "bass",
        instruments.bass_growl,
        -8.0,
        Mix(-6.5, 0.0, (-8.5, None)),
        offset_dbfs=-36.0,
    ),
    Layer(
        "Bass SUB.wav",
        ("sub",),
        "bass",
        "bass",
        "bass",
        instruments.bass_sub,
        -9.5,
        Mix(-9.0, 0.0, (None, -9.5)),
        sample_format="float32",
    ),
    Layer(
        "Pad Warm.wav",
        ("pad",),
        "pad",
        "warm pad",
        "synths",
        instruments.pad,
        -11.0,
        Mix(-11.5, 0.0, (-10.0, -8.0)),
        "bed",
    ),
    Layer(
        "pad-glass_final FINAL.wav",
        ("glass",),
        "pad",
        "glass pad",
        "synths",
        instruments.pad_glass,
        -12.0,
        Mix(-6.5, 0.0, (None, -5.5)),
        "bed",
    ),
    Layer(
        "Keys EP 44k1.wav",
        ("keys",),
        "keys",
        "keys",
        "keys",
        instruments.keys,
        -7.5,
        Mix(-10.5, 0.0, (-11.0, -12.5)),
        rate_hz=44_100,
    ),
    Layer(
        "Gtr Crunch L.wav",
        ("guitar left",),
        _EG,
        "crunch",
        "guitars",
        _guitar(0),
        -5.5,
        Mix(-10.0, -0.9, (-10.5, -5.5)),
    ),
    Layer(
        "Gtr Crunch R.wav", ("guitar right",), _EG, "crunch", "guitars", _guitar(1), -8.0, Mix(-10.0, 0.9, (-8.5, -3.5))
    ),
    Layer(
        "Gitarre clean #2.wav",
        ("clean",),
        _EG,
        "clean guitar",
        "guitars",
        plucked.clean_guitar,
        -10.0,
        Mix(-8.5, -0.5, (-6.5, None)),
    ),
    Layer(
        "Arp Synth 128bpm.wav",
        ("arp",),
        "synth",
        "arp",
        "synths",
        plucked.arpeggio,
        -6.0,
        Mix(-10.5, 0.0, (-12.5, -9.0)),
        "bed",
        sample_format="pcm16",
    ),
    Layer(
        "Audio 17_01.wav", ("stabs",), "synth", "stabs", "synths", plucked.stabs, -7.0, Mix(-4.0, 0.35, (None, -2.5))
    ),
    Layer("Hook lead (synth).wav", ("hook",), "synth", "hook", "synths", plucked.hook, -12.0, Mix(-21.5)),
    Layer("Riser up.wav", ("riser",), "effects", "riser", "effects", effects.riser, -4.5, Mix(-16.5), "bed"),
    Layer(
        "FX_Impact.wav",
        ("impact",),
        "effects",
        "impact",
        "effects",
        effects.impact,
        -6.0,
        Mix(-16.0, 0.0, (None, -18.0)),
        "bed",
        rate_hz=44_100,
        sample_format="pcm16",
    ),
    Layer(
        "BV Hi 1.wav",
        ("high",),
        _BV,
        "backing",
        "backing-vocals",
        _sung("high", voices.HIGH_1),
        -8.5,
        Mix(-16.5, 0.5, (None, -14.5)),
    ),
    Layer(
        "BV Hi 2.wav",
        ("high",),
        _BV,
        "backing",
        "backing-vocals",
        _sung("high", voices.HIGH_2),
        -10.0,
        Mix(-16.0, -0.5, (None, -14.0)),
    ),
    Layer(
        "BV Lo 1.wav",
        ("low",),
        _BV,
        "backing",
        "backing-vocals",
        _sung("low", voices.LOW_1),
        -11.5,
        Mix(-12.0, 0.3, (-11.0, -13.0)),
    ),
    Layer(
        "BV Lo 2.wav",
        ("low",),
        _BV,
        "backing",
        "backing-vocals",
        _sung("low", voices.LOW_2),
        -9.0,
        Mix(-16.0, -0.3, (-14.0, -15.5)),
    ),
    Layer(
        "LeadVox Dbl.wav",
        ("double",),
        "double",
        "lead",
        "lead-vocal",
        _sung("double", voices.DOUBLE),
        -9.0,
        Mix(-9.5, 0.1, (-6.5, None)),
        "bed",
    ),
    Layer(
        LEAD_FILE,
        ("lead",),
        "lead vocal",
        "lead",
        "lead-vocal",
        _sung("lead", voices.LEAD),
        -6.0,
        Mix(-2.0, 0.0, (-1.0, -3.0)),
        "lead",
    ),
)

CLASHES = (
    Clash("pad-glass_final FINAL.wav", (LEAD_FILE,), ("chorus 1", "chorus 2"), 2400.0, 1.0, 9.0),
    Clash("Gtr Crunch L.wav", ("Keys EP 44k1.wav",), ("chorus 1", "chorus 2"), 420.0, 1.0, 6.0),
    Clash("Bass SUB.wav", ("01 Kick In.wav", "02 Kick OUT.wav"), ("chorus 1", "chorus 2"), 62.0, 0.7, 6.0),
    Clash("Arp Synth 128bpm.wav", ("LeadVox Dbl.wav",), ("chorus 2",), 1300.0, 1.0, 6.0),
)


def made(layer: Layer, piece: Piece, *, planted: bool = False) -> np.ndarray:
    """Return a layer of a piece as recorded: float32, (frames, channels), its peak at `peak_dbfs`.

    `planted`: with what is wrong with it in the demo song, the clashes that it causes and its offset.
    """
    sound, offset = layer.make(piece), 0.0
    if planted:
        sound = raised(sound, piece, [clash for clash in CLASHES if clash.masker == layer.file])
        offset = 0.0 if layer.offset_dbfs is None else 10.0 ** (layer.offset_dbfs / 20.0)
    room = 10.0 ** (layer.peak_dbfs / 20.0) - offset
    return np.asarray(sound * (room / float(max(sound.max(), -sound.min()))) + offset, dtype=np.float32)
