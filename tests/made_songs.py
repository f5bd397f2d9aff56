# SPDX-License-Identifier: Apache-2.0
"""Song folders of made-up layers, for tests of measuring and planning: noise shaped like parts of a song."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from mixwright.io.song_file import create_song
from mixwright.io.write import write_wav
from mixwright.model.song import Group, Reference, Section, Song, Track

RATE_HZ = 16000
SECONDS = 12

#: id, role, place, group, loudest frequency, from and to second, level in dB
LAYERS = (
    ("vox", "lead vocal", "lead", "", 900.0, 2.0, 11.0, -26.0),
    ("kick", "kick", "support", "drums", 60.0, 0.0, 12.0, -20.0),
    ("snare", "snare", "support", "drums", 300.0, 0.0, 12.0, -24.0),
    ("hats", "hats", "support", "drums", 5500.0, 0.0, 12.0, -26.0),
    ("bass", "bass", "support", "", 90.0, 0.0, 12.0, -16.0),
    ("guitar-1", "electric guitar", "support", "", 600.0, 0.0, 12.0, -20.0),
    ("guitar-2", "electric guitar", "support", "", 700.0, 0.0, 12.0, -20.0),
    ("keys", "keys", "support", "", 500.0, 4.0, 12.0, -22.0),
    ("pad", "pad", "bed", "", 1200.0, 0.0, 12.0, -14.0),
)


def band_noise(seed: int, hz: float, level_db: float, start_s: float, end_s: float) -> np.ndarray:
    """Return noise two octaves wide around a frequency, float32 ``(frames, 1)``, silent outside its time."""
    frames = SECONDS * RATE_HZ
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal(frames))
    bins = np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    spectrum *= np.exp(-0.5 * np.log2(np.maximum(bins, 1.0) / hz) ** 2)
    audio = np.fft.irfft(spectrum, frames)
    audio *= 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(audio**2))
    audio[: round(start_s * RATE_HZ)] = 0.0
    audio[round(end_s * RATE_HZ) :] = 0.0
    return audio.astype(np.float32)[:, None]


def write_audio(path: Path, audio: np.ndarray, rate_hz: int = RATE_HZ) -> None:
    """Write float audio."""
    path.parent.mkdir(parents=True, exist_ok=True)
    write_wav(path, [audio], rate_hz=rate_hz, channels=audio.shape[1], frames=len(audio), sample_format="float32")


def copy_song(folder: Path, to: Path) -> Path:
    """Copy a made song with all that it has kept and cached; returns the new song folder."""
    shutil.copytree(folder.parent, to)
    return to / folder.name


def make_song(
    folder: Path, *, gains_db: Mapping[str, float] | None = None, reference: np.ndarray | None = None, **fields: object
) -> Path:
    """Write the layers and a song folder beside them; returns the song folder."""
    tracks = []
    for seed, (id_, role, place, group, hz, start_s, end_s, level_db) in enumerate(LAYERS):
        gain = (gains_db or {}).get(id_, 0.0)
        write_audio(folder / "tracks" / f"{id_}.wav", band_noise(seed, hz, level_db + gain, start_s, end_s))
        file = f"../tracks/{id_}.wav"
        tracks.append(Track(id=id_, name=id_, file=file, role=role, place=place, group=group))
    references = ()
    if reference is not None:
        write_audio(folder / "records" / "record.wav", reference)
        references = (Reference(id="record", file="../records/record.wav"),)
    song = Song(
        **{
            "title": "Made up",
            "rate_hz": RATE_HZ,
            "lead": ("vox",),
            "tracks": tuple(tracks),
            "groups": (Group(id="drums", name="Drums"),),
            "sections": (
                Section(name="verse", start_s=0.0, end_s=6.0),
                Section(name="chorus", start_s=6.0, end_s=12.0),
            ),
            "references": references,
            **fields,
        }
    )
    create_song(folder / "song", song)
    return folder / "song"
