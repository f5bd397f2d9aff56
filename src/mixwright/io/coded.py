# SPDX-License-Identifier: Apache-2.0
"""Write FLAC, MP3, Opus and AAC, whole or not there, and read any of our own files back as they sound.

Encoders get the same blocks in the same order, so that the same audio gives the same bytes; the number that an Ogg
stream is given by lot is set when the file is tagged (`mixwright.io.tags`).
"""

from __future__ import annotations

import os
from collections.abc import Generator, Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
import soundfile

from mixwright.errors import NoDecoderError, OutputError, SettingError, printable
from mixwright.io.compressed import Undecodable, compressed_sound
from mixwright.io.header import read_header
from mixwright.io.read_back import written_blocks
from mixwright.io.replace import replacing
from mixwright.io.tags import tag_file
from mixwright.io.write import Quantiser, SampleFormat, WrittenFile
from mixwright.jobs.entries import file_digest
from mixwright.jobs.paced_file import PacedFile
from mixwright.model.tags import Tags, clean_tags, shown_title

Codec = Literal["flac", "mp3", "opus", "aac"]

#: Files are read in blocks of so many frames, and given to encoders so, whatever blocks they come in.
_BLOCK_FRAMES = 16384
_INT_BYTES = {"pcm16": 2, "pcm24": 3}


class Coding(NamedTuple):
    """How a codec is written: file ending, bits a second of a stereo file (None: lossless), rates it takes (in Hz)."""

    ending: str
    bits_a_second: int | None
    rates_hz: tuple[int, ...] | None


#: The highest constant rate of MP3 (ISO/IEC 11172-3). Opus and AAC: common practice, no source.
CODINGS: dict[Codec, Coding] = {
    "flac": Coding(".flac", None, None),
    "mp3": Coding(".mp3", 320_000, (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)),
    "opus": Coding(".opus", 192_000, (48000,)),
    "aac": Coding(".m4a", 256_000, (8000, 11025, 12000, 16000, 22050, 24000, 32000, 44100, 48000)),
}
#: libsndfile asks Opus for 6 to 256 kbit/s a channel, evenly by the level of compression (its source, ogg_opus.c).
_OPUS_RANGE = (12_000, 512_000)


def coded_rate_hz(codec: Codec, rate_hz: int) -> int:
    """Return the rate of a file made of audio at a rate: the same where the codec takes it.

    Otherwise the next higher one; above the highest, 44.1 kHz for its multiples and 48 kHz for all else.
    """
    rates = CODINGS[codec].rates_hz
    if rates is None or rate_hz in rates:
        return rate_hz
    higher = [rate for rate in rates if rate > rate_hz]
    if higher:
        return min(higher)
    return 44100 if rate_hz % 44100 == 0 and 44100 in rates else max(rates)


def check_codec(codec: Codec) -> None:
    """Refuse a codec that this machine cannot write, before any work is done.

    Raises
    ------
    NoDecoderError
        for AAC without PyAV
    SettingError
        where the audio library was built without it
    """
    if codec == "aac":
        try:
            import av
        except ImportError:
            raise NoDecoderError(
                "AAC is written by an extra that is not installed",
                where="--format aac",
                hint="pip install 'mixwright[aac]', or take mp3",
            ) from None
        del av
    elif not soundfile.check_format(*_container(codec)):
        raise SettingError(f"the audio library here does not write {codec}", where="--format", hint="take wav")


def write_coded(
    path: Path,
    blocks: Iterable[np.ndarray],
    codec: Codec,
    *,
    rate_hz: int,
    channels: int = 2,
    sample_format: SampleFormat = "pcm24",
    seed: int = 0,
    tags: Tags | None = None,
) -> WrittenFile:
    """Encode audio to a file; it takes its name only when it is whole.

    Parameters
    ----------
    path : Path
        An existing file is replaced.
    blocks : iterable of array (n, channels)
        Full scale 1.0. Lossy codecs take what passes it as it is.
    codec : {"flac", "mp3", "opus", "aac"}
    rate_hz : int
        Of the audio, one that the codec takes (:func:`coded_rate_hz`).
    channels : int
        1 or 2.
    sample_format : {"pcm16", "pcm24"}
        Of FLAC, which is dithered as WAV is.
    seed : int
        Of the dither.
    tags : Tags, optional
        What the file says of itself; M4A: title, artist and comment alone.

    Raises
    ------
    OutputError
        when the file cannot be written, or the audio holds values that are not finite
    SettingError
        for a rate that the codec does not take
    """
    rates = CODINGS[codec].rates_hz
    if (rates is not None and rate_hz not in rates) or sample_format not in _INT_BYTES:
        raise SettingError(f"cannot write {codec} at {rate_hz} Hz as {sample_format!r}")
    quantiser = Quantiser(sample_format, seed)
    counted = _Counted(blocks)
    with replacing(path) as part, PacedFile(part) as file:
        sink = _Sink(file)
        try:
            if codec == "aac":
                _encode_aac(sink, counted, rate_hz, channels, tags or Tags())
            else:
                _encode(sink, counted, codec, rate_hz, channels, sample_format, quantiser)
        except (soundfile.LibsndfileError, soundfile.SoundFileRuntimeError, AssertionError) as error:
            # soundfile asserts that all frames were taken, which a disk that is full for a moment makes untrue.
            sink.check()
            raise OutputError(
                f"cannot be encoded ({error or 'not all of it was taken'})", where=printable(path)
            ) from error
        sink.check()
        file.seek(0, os.SEEK_END)
    sha256 = file_digest(path) if tags is None or codec == "aac" else tag_file(path, tags, frames=counted.frames)
    return WrittenFile(
        sha256=sha256,
        frames=counted.frames,
        clipped_samples=quantiser.clipped_samples,
        audio_sha256=quantiser.digest.hexdigest() if codec == "flac" else "",
    )


def coded_blocks(path: Path, block_frames: int = _BLOCK_FRAMES) -> Iterator[np.ndarray]:
    """Yield a WAV, FLAC, MP3, Opus or M4A file of our own as float64 blocks ``(n, channels)``; peaks are not cut.

    Raises
    ------
    OutputError
        when it cannot be read back
    """
    if path.suffix == CODINGS["aac"].ending:
        yield from _aac_blocks(path, block_frames)
        return
    with closing(written_blocks(path, block_frames)) as blocks:
        yield from blocks


class _Counted:
    """Audio in blocks of one size, counted as they pass; what is not a number is refused."""

    def __init__(self, blocks: Iterable[np.ndarray]) -> None:
        self._blocks = blocks
        self.frames = 0

    def __iter__(self) -> Iterator[np.ndarray]:
        rest: np.ndarray | None = None
        for block in self._blocks:
            if not np.isfinite(block).all():
                raise OutputError("the audio to be written holds a value that is not a number")
            joined = block if rest is None else np.concatenate([rest, block])
            whole = len(joined) // _BLOCK_FRAMES * _BLOCK_FRAMES
            for start in range(0, whole, _BLOCK_FRAMES):
                yield joined[start : start + _BLOCK_FRAMES]
            rest = joined[whole:]
            self.frames += len(block)
        if rest is not None and len(rest):
            yield rest


class _Sink:
    """A file as the audio library writes to it; an error waits until the library is back, for it would swallow it."""

    def __init__(self, file: PacedFile) -> None:
        self._file = file
        self._error: OSError | None = None

    def check(self) -> None:
        """Raise the error that was met meanwhile."""
        if self._error is not None:
            raise self._error

    def write(self, data: bytes) -> int:
        """Write bytes; 0 are written after an error."""
        try:
            self.check()
            self._file.write(data)
        except OSError as error:
            self._error = error
            return 0
        return len(data)

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Go to a place in the file."""
        try:
            return self._file.seek(offset, whence)
        except OSError as error:
            self._error = error
            return 0

    def tell(self) -> int:
        """Return the place in the file."""
        return self.seek(0, os.SEEK_CUR)

    def read(self, size: int = -1) -> bytes:  # noqa: ARG002 - asked for only where a file is read
        """Return nothing: what was written is not read."""
        return b""


def _container(codec: Codec) -> tuple[str, str]:
    return {"flac": ("FLAC", "PCM_24"), "mp3": ("MP3", "MPEG_LAYER_III"), "opus": ("OGG", "OPUS")}[codec]


def _encode(
    sink: _Sink,
    blocks: Iterable[np.ndarray],
    codec: Codec,
    rate_hz: int,
    channels: int,
    sample_format: SampleFormat,
    quantiser: Quantiser,
) -> None:
    kind, subtype = _container(codec)
    settings: dict[str, Any] = {"format": kind, "subtype": subtype}
    if codec == "flac":
        settings["subtype"] = {"pcm16": "PCM_16", "pcm24": "PCM_24"}[sample_format]
    elif codec == "mp3":
        settings |= {"compression_level": 0.0, "bitrate_mode": "CONSTANT"}  # the highest rate there is
    else:
        low, high = _OPUS_RANGE
        wanted = CODINGS[codec].bits_a_second or high
        settings["compression_level"] = (high - wanted * channels / 2) / (high - low)
    file: Any = sink
    with soundfile.SoundFile(file, "w", rate_hz, channels, **settings) as sound:
        for block in blocks:
            sound.write(_codes(quantiser, block, sample_format) if codec == "flac" else np.ascontiguousarray(block))
            sink.check()


def _codes(quantiser: Quantiser, block: np.ndarray, sample_format: SampleFormat) -> np.ndarray:
    """Return a block as whole numbers that fill their type from the top, as the audio library takes them."""
    packed = np.frombuffer(quantiser.convert(block), np.uint8)
    if sample_format == "pcm16":
        return packed.view("<i2").reshape(block.shape)
    wide = np.zeros((block.size, 4), np.uint8)
    wide[:, 1:] = packed.reshape(-1, 3)
    return wide.view("<i4").reshape(block.shape)


def _encode_aac(sink: _Sink, blocks: Iterable[np.ndarray], rate_hz: int, channels: int, tags: Tags) -> None:
    import av

    try:
        with av.open(sink, "w", format="ipod", options={"fflags": "+bitexact"}) as container:
            said = clean_tags(tags)
            container.metadata.update({"title": shown_title(said), "artist": said.artist, "comment": said.comment})
            stream: Any = container.add_stream("aac", rate=rate_hz)
            stream.layout = "stereo" if channels == 2 else "mono"
            stream.bit_rate = CODINGS["aac"].bits_a_second
            stream.codec_context.flags |= 1 << 23  # bit-exact: no version in the file
            done = 0
            for block in blocks:
                frame: Any = av.AudioFrame.from_ndarray(
                    np.ascontiguousarray(block.T, np.float32), format="fltp", layout=stream.layout.name
                )
                frame.sample_rate, frame.pts, done = rate_hz, done, done + len(block)
                container.mux(stream.encode(frame))
                sink.check()
            container.mux(stream.encode(None))
    except av.FFmpegError as error:
        sink.check()
        raise OutputError(f"cannot be encoded ({error.strerror or error})") from error


def _aac_blocks(path: Path, block_frames: int) -> Generator[np.ndarray, None, None]:
    try:
        with path.open("rb") as file:
            header = read_header(file)
            if header is None:
                raise OutputError("cannot be read back", where=printable(path))
            file.seek(0)
            with compressed_sound(file, path, header) as sound:
                while len(block := sound.read(np.empty((block_frames, sound.channels), np.float32))):
                    yield block.astype(np.float64)
    except (Undecodable, OSError) as error:
        raise OutputError(f"cannot be read back ({error})", where=printable(path)) from error
