# SPDX-License-Identifier: Apache-2.0
"""Write the demo: tracks, a rough mix, a finished record by another artist, and the truth about them.

Everything in it is invented: song, artists, words, brief.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from zlib import crc32

import msgspec
import numpy as np

from mixwright.demo.layers import LAYERS, LEAD_FILE, Layer, made
from mixwright.demo.pieces import RECORD, SONG
from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ
from mixwright.demo.text import brief, read_me
from mixwright.engine.graph import compile_mix
from mixwright.engine.render import render
from mixwright.errors import OutputError, printable
from mixwright.io.replace import new_folder, write_text
from mixwright.io.write import SampleFormat, write_wav
from mixwright.jobs.array_file import write_array
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.record import Record
from mixwright.model.song import Section, Song, Track
from mixwright.model.strip import Strip
from mixwright.model.words import Place, Role

_BLOCK_FRAMES = 65_536
_RECORD_DRIVE_DB = 4.0


class RoughTrack(Record, frozen=True, kw_only=True):
    """How the rough mix has one track."""

    file: str
    gain_db: float
    pan: float


class RoughSettings(Record, frozen=True, kw_only=True):
    """All settings of the rough mix: faders and positions."""

    file: str
    pan_law_db: float
    tracks: tuple[RoughTrack, ...]


class TrueTrack(Record, frozen=True, kw_only=True):
    """What one track is, whoever reads its name; `sections`: where it has something to play."""

    file: str
    role: Role
    place: Place
    source: str
    channels: int
    peak_dbfs: float
    sections: tuple[str, ...]


class Truth(Record, frozen=True, kw_only=True):
    """What is known of the demo song because it was made so."""

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
    rough: RoughSettings


@dataclass(frozen=True)
class DemoPaths:
    """Where the parts of the demo lie."""

    folder: Path
    tracks: Path
    references: tuple[Path, ...]
    rough: Path
    rough_settings: Path
    truth: Path
    brief: Path


def demo_paths(folder: Path) -> DemoPaths:
    """Return where the parts of a demo in a folder lie."""
    return DemoPaths(
        folder=folder,
        tracks=folder / "tracks",
        references=(folder / "references" / f"{RECORD.artist} - {RECORD.title}.wav",),
        rough=folder / "rough" / f"{SONG.title} rough mix.wav",
        rough_settings=folder / "rough" / "rough.json",
        truth=folder / "truth.json",
        brief=folder / "brief.txt",
    )


def write_demo(folder: Path, *, report: Report = silent, cancel: Cancel | None = None) -> DemoPaths:
    """Make the invented demo song in a new folder, the same bytes every time on one machine.

    Parameters
    ----------
    folder : Path
        Does not exist yet, or is an empty folder; folders above it are made.
    report, cancel
        Progress and the user's switch to stop; then nothing is left.

    Returns
    -------
    DemoPaths

    Raises
    ------
    OutputError
        when the folder holds something already, or cannot be written
    """
    folder = Path(folder)
    if folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()
    _make_parents(folder)
    recorded = tuple(layer for layer in LAYERS if layer.record_db is not None)
    job = Job("making the demo song", len(LAYERS) + len(recorded) + 4, report, cancel)
    with new_folder(folder) as building, tempfile.TemporaryDirectory(prefix="mixwright-demo-") as scratch:
        paths = demo_paths(building)
        for path in (paths.tracks, paths.rough.parent, paths.references[0].parent):
            path.mkdir()
        tracks = _recorded(SONG, LAYERS, Path(scratch) / "song", job, paths.tracks)
        settings = _rough_settings(paths.rough.name)
        rough_song = _song(SONG, LAYERS, [(t.gain_db, t.pan) for t in settings.tracks])
        _write_mix(paths.rough, rough_song, tracks, SONG.frames, lambda block: block)
        job.step(2.0)
        takes = _recorded(RECORD, recorded, Path(scratch) / "record", job)
        faders = [((layer.record_db or 0.0) + _RECORD_DRIVE_DB, 0.8 * layer.pan) for layer in recorded]
        _write_mix(paths.references[0], _song(RECORD, recorded, faders), takes, RECORD.frames, _rounded_off)
        job.step(2.0)
        truth = _truth(settings, [audio.shape[1] for audio in tracks])
        write_text(paths.rough_settings, _document(settings))
        write_text(paths.truth, _document(truth))
        write_text(paths.brief, brief(SONG))
        write_text(building / "README.txt", read_me(SONG, RECORD))
    return demo_paths(folder)


def _make_parents(folder: Path) -> None:
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror or error})", where=printable(folder.parent)
        ) from error


def _recorded(
    piece: Piece, layers: Sequence[Layer], scratch: Path, job: Job, into: Path | None = None
) -> list[np.ndarray]:
    """Make all layers of a piece, write each to `into`, and return them mapped from scratch files."""
    scratch.mkdir()

    def record(numbered: tuple[int, Layer]) -> Path:
        number, layer = numbered
        audio = made(layer, piece)
        kept = scratch / f"{number}.npy"
        write_array(kept, audio)
        if into is not None:
            _write(into / layer.file, _blocks_of(audio), audio.shape, "pcm24")
        return kept

    # Voices stand last in the table and take longest: begin with them.
    taken: list[np.ndarray] = []
    for kept in in_order(record, reversed(list(enumerate(layers)))):
        taken.append(np.load(kept, mmap_mode="r"))
        job.step()
    return taken[::-1]


def _blocks_of(audio: np.ndarray) -> Iterator[np.ndarray]:
    for first in range(0, len(audio), _BLOCK_FRAMES):
        yield audio[first : first + _BLOCK_FRAMES]


def _write(path: Path, blocks: Iterator[np.ndarray], shape: tuple[int, ...], sample_format: SampleFormat) -> None:
    written = write_wav(
        path,
        blocks,
        rate_hz=RATE_HZ,
        channels=shape[1],
        frames=shape[0],
        sample_format=sample_format,
        seed=crc32(path.name.encode()),
    )
    if written.clipped_samples:
        raise OutputError(f"{written.clipped_samples} samples of the demo clip", where=path.name)


def _song(piece: Piece, layers: Sequence[Layer], faders: Sequence[tuple[float, float]]) -> Song:
    """Return the settings of a plain mix: faders and positions, nothing else."""
    return Song(
        title=piece.title,
        artist=piece.artist,
        rate_hz=RATE_HZ,
        tempo_bpm=piece.tempo_bpm,
        tracks=tuple(
            Track(id=f"track-{number}", name=layer.file, file=layer.file, strip=Strip(fader_db=gain_db, pan=pan))
            for number, (layer, (gain_db, pan)) in enumerate(zip(layers, faders, strict=True))
        ),
    )


def _write_mix(
    path: Path, song: Song, stems: Sequence[np.ndarray], frames: int, finish: Callable[[np.ndarray], np.ndarray]
) -> None:
    by_id = {track.id: stem for track, stem in zip(song.tracks, stems, strict=True)}
    graph = compile_mix(song, (), {name: len(stem) for name, stem in by_id.items()})
    _write(path, (finish(block) for block in render(graph, by_id)), (frames, 2), "pcm16")


def _rounded_off(mix: np.ndarray) -> np.ndarray:
    """Return the mix of the finished record, its peaks rounded off: linear to -6 dBFS, never above -0.9 dBFS."""
    knee, ceiling = 0.5, 0.9
    over = np.maximum(np.abs(mix) - knee, 0.0)
    span = ceiling - knee
    return np.asarray(np.copysign(np.minimum(np.abs(mix), knee) + span * np.tanh(over / span), mix))


def _rough_settings(file: str) -> RoughSettings:
    return RoughSettings(
        file=file,
        pan_law_db=3.0,
        tracks=tuple(RoughTrack(file=layer.file, gain_db=layer.rough_db, pan=layer.pan) for layer in LAYERS),
    )


def _truth(rough: RoughSettings, channels: Sequence[int]) -> Truth:
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
        tracks=tuple(
            TrueTrack(
                file=layer.file,
                role=layer.role,
                place=layer.place,
                source=layer.source,
                channels=count,
                peak_dbfs=layer.peak_dbfs,
                sections=tuple(
                    part.name
                    for part in SONG.parts
                    if any(line in part.plays or line in part.sings for line in layer.plays)
                ),
            )
            for layer, count in zip(LAYERS, channels, strict=True)
        ),
        rough=rough,
    )


def _document(record: Record) -> str:
    return msgspec.json.format(msgspec.json.encode(record), indent=2).decode() + "\n"
