# SPDX-License-Identifier: Apache-2.0
"""What is known of the demo song because it was made so: what a program that listens can be judged by."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from mixwright.demo.layers import CLASHES, DUPLICATE, LAYERS, LEAD_FILE, Layer
from mixwright.demo.pieces import SONG
from mixwright.demo.planted import Clash
from mixwright.demo.signals import RATE_HZ
from mixwright.model.record import Record
from mixwright.model.song import Section
from mixwright.model.words import FaultKind, Place, Role


class RoughTrack(Record, frozen=True, kw_only=True):
    """How the rough mix has one track; `start_frame`: where it lies in the song, in frames of the song."""

    file: str
    gain_db: float
    pan: float
    start_frame: int


class RoughSettings(Record, frozen=True, kw_only=True):
    """All settings of the rough mix: faders and positions."""

    file: str
    pan_law_db: float
    tracks: tuple[RoughTrack, ...]


class TrueTrack(Record, frozen=True, kw_only=True):
    """What one track is, whoever reads its name.

    `sections`: where it has something to play. `start_frame`: where its first frame belongs, in frames of
    the song. `polarity`: how its strip must stand for it to go with the rest of its source.
    """

    file: str
    role: Role
    place: Place
    source: str
    group: str
    channels: int
    rate_hz: int
    peak_dbfs: float
    sections: tuple[str, ...]
    start_frame: int
    polarity: str


class TrueClash(Record, frozen=True, kw_only=True):
    """A layer that covers others in a band.

    `raised_db`: by how much the masker was raised there. `over_db`: power of the masker over that of the
    masked together, in the band and the sections, as the rough mix has them.
    """

    masker: str
    masked: tuple[str, ...]
    sections: tuple[str, ...]
    low_hz: float
    high_hz: float
    raised_db: float
    over_db: float


class TrueFault(Record, frozen=True, kw_only=True):
    """Something wrong with a file; `reported_as`: the fault that receiving it reports."""

    file: str
    what: str
    reported_as: FaultKind


class Truth(Record, frozen=True, kw_only=True):
    """Everything about the demo song; `duplicate`: a file under a wrong name, and the one whose audio it holds."""

    invented: bool
    title: str
    artist: str
    key: str
    tempo_bpm: float
    beats_per_bar: int
    first_bar_s: float
    rate_hz: int
    frames: int
    lead: str
    sections: tuple[Section, ...]
    tracks: tuple[TrueTrack, ...]
    duplicate: tuple[str, str]
    clashes: tuple[TrueClash, ...]
    faults: tuple[TrueFault, ...]
    rough: RoughSettings


def rough_settings(file: str) -> RoughSettings:
    """Return how the artist's rough mix was made."""
    return RoughSettings(
        file=file,
        pan_law_db=3.0,
        tracks=tuple(
            RoughTrack(
                file=layer.file, gain_db=layer.mix.rough_db, pan=layer.mix.pan, start_frame=first_frame_of(layer)
            )
            for layer in LAYERS
        ),
    )


def first_frame_of(layer: Layer) -> int:
    """Return where in the song the file of a layer begins, in frames of the song."""
    return layer.from_bar * SONG.bar_frames


def truth_of(rough: RoughSettings, recorded: Mapping[str, np.ndarray]) -> Truth:
    """Return the truth; `recorded`: every layer over the whole song, (frames, channels), by file."""
    return Truth(
        invented=True,
        title=SONG.title,
        artist=SONG.artist,
        key=SONG.key,
        tempo_bpm=SONG.tempo_bpm,
        beats_per_bar=4,
        first_bar_s=0.0,
        rate_hz=RATE_HZ,
        frames=SONG.frames,
        lead=LEAD_FILE,
        sections=tuple(
            Section(name=part.name, start_s=SONG.section_s(index)[0], end_s=SONG.section_s(index)[1])
            for index, part in enumerate(SONG.parts)
        ),
        tracks=tuple(_track(layer, recorded[layer.file].shape[1]) for layer in LAYERS),
        duplicate=DUPLICATE,
        clashes=tuple(_clash(clash, recorded) for clash in CLASHES),
        faults=(
            *(fault for layer in LAYERS for fault in _faults(layer, recorded[layer.file])),
            TrueFault(file=DUPLICATE[0], what=f"holds the audio of {DUPLICATE[1]}", reported_as="exact_duplicate"),
        ),
        rough=rough,
    )


def _track(layer: Layer, channels: int) -> TrueTrack:
    return TrueTrack(
        file=layer.file,
        role=layer.role,
        place=layer.place,
        source=layer.source,
        group=layer.group,
        channels=channels,
        rate_hz=layer.rate_hz,
        peak_dbfs=layer.peak_dbfs,
        sections=tuple(
            part.name for part in SONG.parts if any(line in part.plays or line in part.sings for line in layer.plays)
        ),
        start_frame=first_frame_of(layer),
        polarity="inverted" if layer.turned_over else "normal",
    )


def _faults(layer: Layer, audio: np.ndarray) -> list[TrueFault]:
    found: list[tuple[str, FaultKind]] = []
    if layer.from_bar:
        late_s = first_frame_of(layer) / RATE_HZ
        found.append((f"lacks the first {late_s:.3f} s of the song; its time stamp tells", "starts_late"))
    if layer.turned_over:
        found.append(("its polarity is that of the other side of the drum: invert it", "polarity"))
    if layer.offset_dbfs is not None:
        found.append((f"a constant offset of {layer.offset_dbfs:.1f} dBFS", "dc_offset"))
    if audio.shape[1] == 2 and np.array_equal(audio[:, 0], audio[:, 1]):
        found.append(("both sides are the same", "mono_as_stereo"))
    if layer.rate_hz != RATE_HZ:
        found.append((f"{layer.rate_hz} Hz", "rate_differs"))
    return [TrueFault(file=layer.file, what=what, reported_as=kind) for what, kind in found]


def _clash(clash: Clash, recorded: Mapping[str, np.ndarray]) -> TrueClash:
    masked = sum(_power(file, clash, recorded) for file in clash.masked)
    low_hz, high_hz = clash.band_hz
    return TrueClash(
        masker=clash.masker,
        masked=clash.masked,
        sections=clash.parts,
        low_hz=round(low_hz, 1),
        high_hz=round(high_hz, 1),
        raised_db=clash.raised_db,
        over_db=round(10.0 * float(np.log10(_power(clash.masker, clash, recorded) / masked)), 1),
    )


def _power(file: str, clash: Clash, recorded: Mapping[str, np.ndarray]) -> float:
    """Return the energy of a layer in the band and the parts of a clash, as the rough mix has it.

    A pan law of 3 dB keeps the power of a layer wherever it stands.
    """
    from scipy import fft

    fader_db = next(layer.mix.rough_db for layer in LAYERS if layer.file == file)
    energy = 0.0
    for index, part in enumerate(SONG.parts):
        if part.name in clash.parts:
            first, end = (round(at_s * RATE_HZ) for at_s in SONG.section_s(index))
            low, high = (round(hz * (end - first) / RATE_HZ) for hz in clash.band_hz)
            spectrum = fft.rfft(recorded[file][first:end], axis=0)[low:high]
            energy += float(np.sum(np.abs(spectrum) ** 2))
    return float(energy * 10.0 ** (fader_db / 10.0))
