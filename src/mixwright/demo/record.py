# SPDX-License-Identifier: Apache-2.0
"""Write the demo: tracks, a rough mix, finished records by other artists, and the truth about them.

Everything in it is invented: song, artists, words, brief.
"""

from __future__ import annotations

import itertools
import os
import shutil
import struct
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple
from zlib import crc32

import msgspec
import numpy as np

from mixwright.core.resample import resample, resampled_frames
from mixwright.demo.layers import DUPLICATE, LAYERS, Layer, made
from mixwright.demo.pieces import RECORDS, SONG
from mixwright.demo.score import Piece
from mixwright.demo.signals import RATE_HZ
from mixwright.demo.text import brief, read_me
from mixwright.demo.truth import first_frame_of, rough_settings, truth_of
from mixwright.engine.chain import Chain
from mixwright.engine.compiling import compile_mix
from mixwright.engine.dynamics import PeakLimiter
from mixwright.engine.processors import operations_of
from mixwright.engine.render import render
from mixwright.errors import OutputError, printable
from mixwright.io.replace import new_folder, write_text
from mixwright.io.write import SampleFormat, write_wav
from mixwright.jobs.array_file import map_array, write_array
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.record import Record
from mixwright.model.song import Song, Track
from mixwright.model.strip import Strip

_BLOCK_FRAMES = 65_536


class Finish(NamedTuple):
    """How the mix of a finished record was brought to its level; `width` scales the positions of its layers."""

    threshold_db: float
    gain_db: float
    ceiling_dbtp: float
    width: float


#: One for each record: the first keeps its punch, the second is wide and loud.
FINISHES = (Finish(-14.0, 6.0, -1.0, 0.5), Finish(-16.0, 9.5, -0.5, 1.1))


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
        references=tuple(folder / "references" / f"{record.artist} - {record.title}.wav" for record in RECORDS),
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
    job = Job(
        "making the demo song",
        len(LAYERS) + 4 + sum(len(_in_record(n)) + 2 for n in range(len(RECORDS))),
        report,
        cancel,
    )
    with new_folder(folder) as building, tempfile.TemporaryDirectory(dir=building) as scratch:
        paths = demo_paths(building)
        for path in (paths.tracks, paths.rough.parent, paths.references[0].parent):
            path.mkdir()
        takes = _recorded(SONG, LAYERS, Path(scratch) / "song", job, paths.tracks)
        shutil.copyfile(paths.tracks / DUPLICATE[1], paths.tracks / DUPLICATE[0])
        faders = [(layer.mix.rough_db, layer.mix.pan) for layer in LAYERS]
        _write(paths.rough, _mix(_song(SONG, LAYERS, faders), takes), (SONG.frames, 2), "pcm16")
        job.step(2.0)
        settings = rough_settings(paths.rough.name)
        truth = truth_of(settings, {layer.file: audio for layer, audio in zip(LAYERS, takes, strict=True)})
        job.step(2.0)
        for number, (record, path) in enumerate(zip(RECORDS, paths.references, strict=True)):
            layers = _in_record(number)
            takes = _recorded(record, layers, Path(scratch) / f"record {number}", job)
            width = FINISHES[number].width
            faders = [(layer.mix.records_db[number] or 0.0, width * layer.mix.pan) for layer in layers]
            mix = _mix(_song(record, layers, faders), takes)
            _write(path, _finished(FINISHES[number], mix), (record.frames, 2), "pcm16")
            job.step(2.0)
        write_text(paths.rough_settings, _document(settings))
        write_text(paths.truth, _document(truth))
        write_text(paths.brief, brief(SONG, RECORDS))
        write_text(building / "README.txt", read_me(SONG, RECORDS))
    return demo_paths(folder)


def _make_parents(folder: Path) -> None:
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"the folder cannot be made ({error.strerror or error})", where=printable(folder.parent)
        ) from error


def _in_record(number: int) -> tuple[Layer, ...]:
    return tuple(layer for layer in LAYERS if layer.mix.records_db[number] is not None)


def _recorded(
    piece: Piece, layers: Sequence[Layer], scratch: Path, job: Job, into: Path | None = None
) -> list[np.ndarray]:
    """Make all layers of a piece, write each to `into`, and return them mapped from scratch files."""
    scratch.mkdir()

    def record(numbered: tuple[int, Layer]) -> Path:
        number, layer = numbered
        audio = made(layer, piece, planted=into is not None)
        kept = scratch / f"{number}.npy"
        write_array(kept, audio)
        if into is not None:
            _deliver(layer, audio, into / layer.file)
        return kept

    # Voices stand last in the table and take longest: begin with them.
    taken: list[np.ndarray] = []
    for kept in in_order(record, reversed(list(enumerate(layers)))):
        taken.append(map_array(kept))
        job.step()
    return taken[::-1]


def _deliver(layer: Layer, audio: np.ndarray, path: Path) -> None:
    """Write a layer as the artist sends it: from where its file begins, at its rate, with a time stamp."""
    first = first_frame_of(layer)
    sent = resample(audio[first:], RATE_HZ, layer.rate_hz)
    _write(path, _blocks_of(sent), sent.shape, layer.sample_format, layer.rate_hz)
    _stamp(path, 3600 * layer.rate_hz + resampled_frames(first, RATE_HZ, layer.rate_hz))


def _stamp(path: Path, time_reference_frames: int) -> None:
    """Add a broadcast extension (EBU Tech 3285, version 0) after the samples: when the file begins, in frames."""
    low, high = time_reference_frames & 0xFFFFFFFF, time_reference_frames >> 32
    texts = (b"invented", b"", b"", b"", b"")
    body = struct.pack("<256s32s32s10s8sIIH254x", *texts, low, high, 0)
    with path.open("r+b") as file:
        file.seek(0, os.SEEK_END)
        file.write(struct.pack("<4sI", b"bext", len(body)) + body)
        size = file.tell() - 8
        file.seek(4)
        file.write(struct.pack("<I", size))


def _blocks_of(audio: np.ndarray) -> Iterator[np.ndarray]:
    for first in range(0, len(audio), _BLOCK_FRAMES):
        yield audio[first : first + _BLOCK_FRAMES]


def _write(
    path: Path,
    blocks: Iterator[np.ndarray],
    shape: tuple[int, ...],
    sample_format: SampleFormat,
    rate_hz: int = RATE_HZ,
) -> None:
    written = write_wav(
        path,
        blocks,
        rate_hz=rate_hz,
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


def _mix(song: Song, stems: Sequence[np.ndarray]) -> Iterator[np.ndarray]:
    by_id = {track.id: stem for track, stem in zip(song.tracks, stems, strict=True)}
    return iter(render(compile_mix(song, (), {name: len(stem) for name, stem in by_id.items()}), by_id))


def _finished(finish: Finish, blocks: Iterator[np.ndarray]) -> Iterator[np.ndarray]:
    """Yield a mix through the compressor and the limiter of a finished record."""
    insert = Compressor(
        threshold_db=finish.threshold_db, ratio=2.0, attack_ms=20.0, release_ms=150.0, gain_db=finish.gain_db
    )
    compressor = Chain(operations_of(insert, RATE_HZ), 2)
    limiter = PeakLimiter(RATE_HZ, ceiling_dbtp=finish.ceiling_dbtp, release_s=0.08)
    early = limiter.latency_frames
    for block in itertools.chain(blocks, [np.zeros((early, 2))]):
        audio = np.array(block, dtype=np.float64)
        gains = np.empty(len(audio), dtype=np.float32)
        compressor.process(audio)
        limiter.process(audio, gains)
        # What the limiter gives first is what was in it before.
        late, early = min(early, len(audio)), max(0, early - len(audio))
        yield audio[late:]


def _document(record: Record) -> str:
    return msgspec.json.format(msgspec.json.encode(record), indent=2).decode() + "\n"
