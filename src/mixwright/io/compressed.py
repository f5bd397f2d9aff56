# SPDX-License-Identifier: Apache-2.0
"""Compressed audio that takes a decoder which is not always there: PyAV, or the program `ffmpeg`.

Content tells what a file is, never its name; the reader of its container is named, so that nothing else is tried, and
nothing but the one file is opened: no network, no lists of other files. The decoding child imports this module.
"""

from __future__ import annotations

import os
import re
import shutil
import struct
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, Protocol

import numpy as np

from mixwright.io.header import Header

#: The readers of FFmpeg for the containers of :func:`mixwright.io.header.read_header`; no others are used.
_READERS = {
    "MP4": "mov",
    "AAC": "aac",
    "CAF": "caf",
    "WMA": "asf",
    "AC-3": "ac3",
    "Matroska": "matroska",
    "WavPack": "wv",
    "APE": "ape",
}
#: What is said of a container to someone who has no decoder for it.
SPOKEN = {
    "MP4": "M4A or MP4",
    "AAC": "AAC without a container",
    "CAF": "compressed audio in CAF",
    "WMA": "Windows Media audio",
    "Matroska": "Matroska or WebM",
}
#: Where nothing tells how much the encoder put in front of the audio.
_START_UNKNOWN = ("AAC", "AC-3", "WMA")
_LOSSLESS = ("alac", "flac", "wavpack", "ape")
_AU_HEAD = struct.Struct(">4sIIIII")
_AU_FLOAT = 6
_PIPE_BYTES = 1 << 18
_MOST_SAID_BYTES = 1 << 16
_END_S = 5.0
_SAY_S = 2.0
_CODEC = re.compile(rb"Audio: ([a-z0-9_]+)[^a-z0-9_]")


class NoDecoder(Exception):
    """Neither PyAV nor `ffmpeg` is there."""


class Undecodable(Exception):
    """A decoder gave up."""


class CompressedSound:
    """Audio that is decoded from start to end: what it is, and blocks of it.

    Attributes
    ----------
    samplerate, channels : int
        Of the decoded audio.
    frames : int
        How long it is meant to be, or is likely to be; 0 if nothing tells.
    exact : bool
        Whether `frames` is what the file promises.
    start_known : bool
        Whether what the encoder put in front is left out, as far as the container can tell.
    encoding : str
        Name of the codec.
    """

    def __init__(self, source: _Source, header: Header) -> None:
        self.samplerate, self.channels, self.encoding = source.rate_hz, source.channels, source.encoding
        length_s = header.movie.length_s if header.movie is not None else None
        self.exact = length_s is not None
        known = header.container not in _START_UNKNOWN and (header.movie is None or header.movie.start_known)
        self.start_known = known or source.encoding in _LOSSLESS
        self.frames = round((source.likely_s if length_s is None else length_s) * source.rate_hz)
        self._pieces = source.pieces
        self._left = self.frames if self.exact else None
        self._piece: np.ndarray | None = np.empty((0, source.channels), np.float32)
        self._failed: Undecodable | None = None

    def read(self, out: np.ndarray) -> np.ndarray:
        """Fill a block (frames, channels) and return what there was for it; what lies behind the end is cut off.

        Raises
        ------
        Undecodable
            when the decoder gave up; what it gave before has been returned by then
        """
        filled, wanted = 0, len(out) if self._left is None else min(len(out), self._left)
        while filled < wanted:
            if self._piece is not None and not len(self._piece):
                self._piece = self._next()
            if self._piece is None:
                break
            part = self._piece[: wanted - filled]
            out[filled : filled + len(part)] = part
            self._piece = self._piece[len(part) :]
            filled += len(part)
        if not filled and self._failed is not None:
            raise self._failed
        if self._left is not None:
            self._left -= filled
        return out[:filled]

    def _next(self) -> np.ndarray | None:
        try:
            return next(self._pieces, None)
        except Undecodable as failed:
            self._failed = failed
            return None


class _Source(Protocol):
    """A decoder at work on one file: `pieces` are float32 (frames, channels)."""

    rate_hz: int
    channels: int
    encoding: str
    likely_s: float
    pieces: Iterator[np.ndarray]


@contextmanager
def compressed_sound(file: IO[bytes], path: Path, header: Header) -> Iterator[CompressedSound]:
    """Open a file with the decoder that is there: PyAV first.

    Raises
    ------
    NoDecoder
        when there is none
    Undecodable
        when it cannot read the file
    """
    reader = _READERS[header.container]
    try:
        import av
    except ImportError:
        program = _program()
        if program is None:
            raise NoDecoder from None
        with _ProgramSource(program, path, reader) as source:
            yield CompressedSound(source, header)
        return
    try:
        with av.open(file, format=reader, metadata_errors="replace") as container:
            yield CompressedSound(_LibrarySource(container, av.FFmpegError), header)
    except av.FFmpegError as error:
        raise Undecodable(error.strerror or str(error)) from None


class _LibrarySource:
    """PyAV; audio is scaled to floating point here, so that whole numbers stay exact."""

    def __init__(self, container: Any, error: type[Exception]) -> None:
        if not container.streams.audio:
            raise Undecodable("it has no audio track")
        stream = container.streams.audio[0]
        if stream.codec_context is None:
            raise Undecodable("its audio is in a format that is not read")
        stream.codec_context.thread_count = 1
        self.encoding = str(stream.codec_context.codec.canonical_name or stream.codec_context.name)
        likely_s = stream.duration * stream.time_base if stream.duration else (container.duration or 0) / 1e6
        self.likely_s = max(0.0, float(likely_s))
        frames = self._frames(container, stream, error)
        first = next(frames, None)
        if first is None:
            raise Undecodable("no audio comes out of it")
        # What the first frame is, not what the header says: some headers give half the rate, or one channel of two.
        self.rate_hz, self.channels = int(first.sample_rate), len(first.layout.channels)
        self.pieces = self._scaled(first, frames)

    def _frames(self, container: Any, stream: Any, error: type[Exception]) -> Iterator[Any]:
        try:
            yield from (frame for frame in container.decode(stream) if frame.samples)
        except error as failed:
            raise Undecodable(getattr(failed, "strerror", "") or str(failed)) from None

    def _scaled(self, first: Any, rest: Iterator[Any]) -> Iterator[np.ndarray]:
        yield _as_float(first, self.channels)
        for frame in rest:
            if (frame.sample_rate, len(frame.layout.channels)) != (self.rate_hz, self.channels):
                raise Undecodable("its rate or its channels change within")
            yield _as_float(frame, self.channels)


def _as_float(frame: Any, channels: int) -> np.ndarray:
    """Return a frame of any sample format as float32 (frames, channels)."""
    values: np.ndarray = frame.to_ndarray()
    values = values.T if frame.format.is_planar else values.reshape(-1, channels)
    if values.dtype == np.uint8:
        return (values.astype(np.float32) - 128.0) / np.float32(128.0)
    if np.issubdtype(values.dtype, np.integer):
        return np.asarray(values / float(-np.iinfo(values.dtype).min), np.float32)
    return values.astype(np.float32)


def _program() -> str | None:
    """Return the program `ffmpeg` of this machine; one that lies in the folder the user happens to be in is not it."""
    found = shutil.which("ffmpeg")
    if found is None or Path(found).resolve().parent == Path.cwd().resolve():
        return None
    return os.path.realpath(found)


class _ProgramSource:
    """`ffmpeg` as a process: audio comes through a pipe, behind a head that tells rate and channels (AU, 32-bit float).

    It inherits the limits on memory and processor time of this process, and ends when the pipe is closed.
    """

    def __init__(self, program: str, path: Path, reader: str) -> None:
        self._process = subprocess.Popen(
            [
                *(program, "-nostdin", "-hide_banner", "-nostats", "-loglevel", "info", "-threads", "1"),
                *("-protocol_whitelist", "file", "-f", reader, "-i", f"file:{path.absolute()}"),
                *("-map", "0:a:0", "-vn", "-sn", "-dn", "-c:a", "pcm_f32be", "-f", "au", "pipe:1"),
            ],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )
        self._said = bytearray()
        self._introduced = threading.Event()
        self._listener = threading.Thread(target=self._listen, daemon=True)
        self._listener.start()

    def __enter__(self) -> _ProgramSource:
        try:
            self._open()
        except BaseException:
            self._end()
            raise
        return self

    def __exit__(self, *_: object) -> None:
        self._end()

    def _open(self) -> None:
        head = self._read(_AU_HEAD.size)
        if len(head) < _AU_HEAD.size:
            self._finish()
            raise Undecodable("no audio comes out of it")
        mark, start, _, kind, self.rate_hz, self.channels = _AU_HEAD.unpack(head)
        if mark != b".snd" or kind != _AU_FLOAT or not 0 < self.channels <= 1024 or start < _AU_HEAD.size:
            raise Undecodable("the decoder answers in a form that is not known here")
        self._read(min(start - _AU_HEAD.size, _MOST_SAID_BYTES))
        self._introduced.wait(_SAY_S)  # it says what the file is before any audio, but on another pipe
        said = bytes(self._said)
        codec = _CODEC.search(said)
        length = re.search(rb"Duration: (\d+):(\d\d):(\d\d\.\d+)", said)
        self.encoding = codec[1].decode("ascii") if codec else "compressed"
        self.likely_s = 3600.0 * int(length[1]) + 60.0 * int(length[2]) + float(length[3]) if length else 0.0
        self.pieces = self._pieces()

    def _pieces(self) -> Iterator[np.ndarray]:
        frame_bytes = 4 * self.channels
        while True:
            data = self._read(_PIPE_BYTES // frame_bytes * frame_bytes or frame_bytes)
            whole = len(data) // frame_bytes * frame_bytes
            if whole:
                yield np.frombuffer(data[:whole], ">f4").reshape(-1, self.channels).astype(np.float32)
            if whole < frame_bytes or len(data) > whole:
                break
        self._finish()

    def _read(self, size: int) -> bytes:
        assert self._process.stdout is not None
        return self._process.stdout.read(size)

    def _finish(self) -> None:
        """Wait for the end; a failure is one of the file."""
        try:
            status = self._process.wait(_END_S)
        except subprocess.TimeoutExpired:
            status = -1
        if status != 0:
            raise Undecodable("the decoder gave up")

    def _listen(self) -> None:
        assert self._process.stderr is not None
        while said := self._process.stderr.read1(4096):  # type: ignore[attr-defined]
            if len(self._said) < _MOST_SAID_BYTES:
                self._said += said
                if _CODEC.search(self._said):
                    self._introduced.set()

    def _end(self) -> None:
        self._process.kill()
        self._process.wait()
        self._listener.join(_END_S)
        for stream in (self._process.stdout, self._process.stderr):
            assert stream is not None
            stream.close()
