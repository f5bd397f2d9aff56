# SPDX-License-Identifier: Apache-2.0
"""Write WAV files: dithered, rounded, whole or not there, the same bytes every time."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

import numpy as np

from mixwright.errors import InternalError, OutputError, SettingError, printable
from mixwright.io.replace import replacing
from mixwright.io.wave_tags import wave_chunks
from mixwright.jobs.paced_file import PacedFile
from mixwright.model.record import Record
from mixwright.model.tags import Tags

SampleFormat = Literal["pcm16", "pcm24", "float32"]

#: Bits of one sample.
BITS: dict[SampleFormat, int] = {"pcm16": 16, "pcm24": 24, "float32": 32}
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_GUID_TAIL = bytes.fromhex("000000001000800000aa00389b71")
_NOT_HERE = 0xFFFFFFFF


class WrittenFile(Record, frozen=True, kw_only=True):
    """What was written: digest of the whole file, frames, and how many samples had to be clipped.

    `audio_sha256`: of the samples alone, as little-endian numbers of their depth; "" where coding loses some.
    """

    sha256: str
    frames: int
    clipped_samples: int
    audio_sha256: str = ""


def wav_header(frames: int, channels: int, rate_hz: int, sample_format: SampleFormat, beside: bytes = b"") -> bytes:
    """Return all that stands before the samples of a WAV file, or of an RF64 file where WAV cannot hold them.

    RF64 (EBU Tech 3306) is taken when the RIFF size would not fit its 32 bits; WAVE_FORMAT_EXTENSIBLE only for
    more than two channels, without naming loudspeakers; floating-point samples come with a `fact` chunk. `beside`:
    whole chunks that tell of the file, which stand before the audio.
    """
    frame_bytes = channels * BITS[sample_format] // 8
    data_bytes = frames * frame_bytes
    padding = data_bytes % 2
    chunks = _format_chunk(channels, rate_hz, sample_format)
    fact = sample_format == "float32"
    size = 4 + len(chunks) + (12 if fact else 0) + len(beside) + 8 + data_bytes + padding
    if size < _NOT_HERE:
        if fact:
            chunks += struct.pack("<4sII", b"fact", 4, frames)
        return (
            struct.pack("<4sI4s", b"RIFF", size, b"WAVE") + chunks + beside + struct.pack("<4sI", b"data", data_bytes)
        )
    size += 36
    sizes = struct.pack("<4sIQQQI", b"ds64", 28, size, data_bytes, frames, 0)
    if fact:
        chunks += struct.pack("<4sII", b"fact", 4, _NOT_HERE)
    start = struct.pack("<4sI4s", b"RF64", _NOT_HERE, b"WAVE")
    return start + sizes + chunks + beside + struct.pack("<4sI", b"data", _NOT_HERE)


def _format_chunk(channels: int, rate_hz: int, sample_format: SampleFormat) -> bytes:
    bits = BITS[sample_format]
    tag = _FLOAT if sample_format == "float32" else _PCM
    frame_bytes = channels * bits // 8
    rest = (channels, rate_hz, rate_hz * frame_bytes, frame_bytes, bits)
    if channels > 2:
        extension = struct.pack("<HHIH", 22, bits, 0, tag) + _GUID_TAIL
        return struct.pack("<4sIHHIIHH", b"fmt ", 40, _EXTENSIBLE, *rest) + extension
    if tag == _FLOAT:
        return struct.pack("<4sIHHIIHHH", b"fmt ", 18, tag, *rest, 0)
    return struct.pack("<4sIHHIIHH", b"fmt ", 16, tag, *rest)


class Quantiser:
    """Turns samples into the bytes of one format, block after block.

    Integer formats get triangular dither of two least significant bits peak to peak (the sum of two uniform
    values; Lipshitz, Wannamaker, Vanderkooy 1992) from a counter-based stream, one 64-bit word a sample in order of
    time and channel, so that the result does not depend on the block size. Values are rounded to the nearest.

    Parameters
    ----------
    sample_format : str
    seed : int
        Of the dither; the same seed gives the same bytes.

    Attributes
    ----------
    clipped_samples : int
        How many had to be cut so far.
    digest
        SHA-256 of all samples so far.
    """

    def __init__(self, sample_format: SampleFormat, seed: int) -> None:
        self.clipped_samples = 0
        self.digest = hashlib.sha256()
        self._format = sample_format
        self._words = np.random.Philox(key=seed % 2**128)

    def convert(self, block: np.ndarray) -> bytes:
        """Return a block ``(frames, channels)``, full scale 1.0, as little-endian samples.

        Raises
        ------
        OutputError
            when a value is not a finite number
        """
        samples = self._convert(block)
        self.digest.update(samples)
        return samples

    def _convert(self, block: np.ndarray) -> bytes:
        flat = np.ascontiguousarray(block, np.float64).reshape(-1)
        if not np.isfinite(flat).all():
            raise OutputError("the audio to be written holds a value that is not a number")
        if self._format == "float32":
            return flat.astype("<f4").tobytes()
        top = 1 << (BITS[self._format] - 1)
        words = self._words.random_raw(flat.size)
        dither = (words >> np.uint64(32)).astype(np.float64) - (words & np.uint64(0xFFFFFFFF)).astype(np.float64)
        codes = np.rint(flat * top + dither * 2.0**-32)
        self.clipped_samples += int(np.count_nonzero((codes < -top) | (codes > top - 1)))
        codes = np.clip(codes, -top, top - 1)
        if self._format == "pcm16":
            return codes.astype("<i2").tobytes()
        return codes.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3].tobytes()


def write_wav(
    path: Path,
    blocks: Iterable[np.ndarray],
    *,
    rate_hz: int,
    channels: int,
    frames: int,
    sample_format: SampleFormat,
    seed: int = 0,
    tags: Tags | None = None,
) -> WrittenFile:
    """Write a WAV file, or RF64 from 4 GiB on; it takes its name only when it is whole.

    Parameters
    ----------
    path : Path
        An existing file is replaced.
    blocks : iterable of array (n, channels)
        Full scale 1.0; together exactly `frames` long.
    rate_hz, channels, frames : int
    sample_format : {"pcm16", "pcm24", "float32"}
        Integer formats are dithered; floating point is not.
    seed : int
        Of the dither.
    tags : Tags, optional
        What the file says of itself: `bext`, iXML, INFO, cue points with labels and an `id3 ` chunk before its audio.

    Raises
    ------
    OutputError
        when the file cannot be written, or the audio holds values that are not finite
    """
    if channels < 1 or frames < 0 or sample_format not in BITS:
        raise SettingError(f"cannot write {channels} channels, {frames} frames as {sample_format!r}")
    bits = BITS[sample_format]
    beside = b"" if tags is None else wave_chunks(tags, rate_hz=rate_hz, channels=channels, frames=frames, bits=bits)
    header = wav_header(frames, channels, rate_hz, sample_format, beside)
    quantiser = Quantiser(sample_format, seed)
    digest = hashlib.sha256()
    done = 0
    with replacing(path) as part, PacedFile(part) as file:
        for piece in _pieces(header, blocks, channels, quantiser):
            digest.update(piece)
            file.write(piece)
            done += len(piece)
        expected = len(header) + frames * channels * bits // 8
        if done != expected:
            raise InternalError(
                f"{done - len(header)} bytes of audio were given where {expected - len(header)} were announced",
                where=printable(path),
            )
        if done % 2:
            digest.update(b"\0")
            file.write(b"\0")
    return WrittenFile(
        sha256=digest.hexdigest(),
        frames=frames,
        clipped_samples=quantiser.clipped_samples,
        audio_sha256=quantiser.digest.hexdigest(),
    )


def _pieces(header: bytes, blocks: Iterable[np.ndarray], channels: int, quantiser: Quantiser) -> Iterable[bytes]:
    yield header
    for block in blocks:
        if block.ndim != 2 or block.shape[1] != channels:
            raise InternalError(f"a block of shape {block.shape} does not fit {channels} channels")
        yield quantiser.convert(block)
