# SPDX-License-Identifier: Apache-2.0
"""Audio files as mapped float32 arrays: decoded once, brought to a rate once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np

from mixwright.core.resample import Resampler, resampled_frames
from mixwright.errors import InputError, LimitError, printable
from mixwright.io.decode import Decoder
from mixwright.io.hashing import file_sha256
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.progress import Cancel, blocks
from mixwright.model.audio import AudioInfo
from mixwright.model.song import changed

_BLOCK_FRAMES = 65536
_RATES_HZ = (8000, 384000)
#: What the decoded samples depend on, besides the file; and so does whatever is made of them.
DECODED_BY = (
    *(f"mixwright.io.{name}" for name in ("decoder_child", "header", "chunks", "broadcast", "view")),
    *(f"mixwright.io.{name}" for name in ("compressed", "movie", "wave_format")),
    *("mixwright.jobs.array_file", "mixwright.jobs.paced_file"),
)


@dataclass(frozen=True)
class Stem:
    """A decoded file: `audio` is read-only float32 ``(frames, channels)``, mapped, at `rate_hz`.

    `info` tells of the file itself, at its own rate.
    """

    path: Path
    sha256: str
    info: AudioInfo
    rate_hz: int
    audio: np.ndarray


@dataclass(frozen=True)
class Outlook:
    """What opening a file will give, and by how many bytes the cache will grow for it."""

    frames: int
    channels: int
    missing_bytes: int


class StemStore:
    """Opens audio files through a cache; a context manager, safe to use from several threads.

    Parameters
    ----------
    cache : Cache
        Holds the decoded and resampled audio, by content.
    decoder : Decoder, optional
        Given: used, and left open. Otherwise one is made when needed and closed at the end.
    cancel : Cancel, optional
        Looked at while a file is read, decoded (by the decoder's own) and brought to a rate.
    """

    def __init__(self, cache: Cache, decoder: Decoder | None = None, cancel: Cancel | None = None) -> None:
        self._cache = cache
        self._cancel = cancel
        self._decoder = decoder or Decoder(cancel=cancel)
        self._own = decoder is None

    def open(self, path: Path, rate_hz: int | None = None) -> Stem:
        """Return a file's audio at `rate_hz`, or at its own rate.

        Raises
        ------
        FileFormatError, LimitError, InputError
            when the file cannot be used
        OutputError
            when the cache cannot be written
        Cancelled
            when the user stopped it
        """
        if rate_hz is not None and not _RATES_HZ[0] <= rate_hz <= _RATES_HZ[1]:
            raise LimitError(f"{rate_hz} Hz is outside {_RATES_HZ[0]} to {_RATES_HZ[1]} Hz", where="rate")
        self._decoder.check_size(path)
        before = _identity(path)
        sha256 = file_sha256(path, self._cache, self._cancel)
        key = self._decoded_key(sha256)
        found: list[AudioInfo] = []
        audio = self._cache.array(key, lambda into: found.append(self._decode(path, before, into)))
        info = self._cache.record(key, AudioInfo, lambda: found[-1] if found else self._probe(path, audio))
        rate = rate_hz or info.sample_rate_hz
        if rate != info.sample_rate_hz:
            audio = self._resampled(key, audio, info.sample_rate_hz, rate)
        return Stem(path=path, sha256=sha256, info=info, rate_hz=rate, audio=audio)

    def held(self, sha256: str) -> tuple[np.ndarray, int] | None:
        """Return audio that was decoded before, by the hash of its file, and its own rate; None where it is gone."""
        key = self._decoded_key(sha256)
        audio, info = self._cache.held(key), self._cache.known(key, AudioInfo)
        return None if audio is None or info is None else (audio, info.sample_rate_hz)

    def probe(self, path: Path) -> AudioInfo:
        """Return what the header of a file says.

        Raises
        ------
        FileFormatError, LimitError, InputError
            when the file cannot be used
        """
        return self._decoder.probe(path)

    def outlook(self, path: Path, rate_hz: int | None = None, sha256: str = "") -> Outlook:
        """Tell what :meth:`open` will give and take, from the cache and the header of the file.

        Parameters
        ----------
        path, rate_hz
            as for :meth:`open`
        sha256 : str
            of the file, where it is known

        Raises
        ------
        FileFormatError, LimitError, InputError
            when the file cannot be used
        """
        key = self._decoded_key(sha256 or file_sha256(path, self._cache, self._cancel))
        held = self._cache.holds(key)
        info = (self._cache.known(key, AudioInfo) if held else None) or self._decoder.probe(path)
        frames, missing = info.frames, 0 if held else info.frames
        if rate_hz is not None and rate_hz != info.sample_rate_hz:
            frames = resampled_frames(frames, info.sample_rate_hz, rate_hz)
            missing += 0 if self._cache.holds(self._resampled_key(key, rate_hz)) else frames
        return Outlook(frames, info.channels, 4 * info.channels * missing)

    def close(self) -> None:
        """End the store's own decoder."""
        if self._own:
            self._decoder.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _decode(self, path: Path, before: object, into: Path) -> AudioInfo:
        info = self._decoder.decode(path, into)
        if _identity(path) != before:
            raise InputError("was changed while it was read", where=printable(path), hint="run again")
        return info

    def _probe(self, path: Path, audio: np.ndarray) -> AudioInfo:
        info = self._decoder.probe(path)
        if info.frames == audio.shape[0]:
            return info
        return changed(info, frames=audio.shape[0], header_frames=info.header_frames or info.frames)

    def _resampled(self, key: str, audio: np.ndarray, from_hz: int, to_hz: int) -> np.ndarray:
        resampled = self._resampled_key(key, to_hz)
        return self._cache.array(resampled, lambda into: _resample(audio, from_hz, to_hz, into, self._cancel))

    def _decoded_key(self, sha256: str) -> str:
        return self._cache.key("decoded", sha256, code_hash(*DECODED_BY, core=False))

    def _resampled_key(self, decoded: str, to_hz: int) -> str:
        return self._cache.key("resampled", decoded, to_hz, code_hash("mixwright.core.resample", core=False))


def _resample(audio: np.ndarray, from_hz: int, to_hz: int, into: Path, cancel: Cancel | None) -> None:
    resampler = Resampler(from_hz, to_hz, audio.shape[1])
    with ArrayWriter(into, audio.shape[1]) as writer:
        for block in blocks(audio, _BLOCK_FRAMES, cancel):
            writer.push(resampler.push(block))
        writer.push(resampler.finish())


def _identity(path: Path) -> tuple[int, int] | None:
    """Return what changes with a file; None when it is not there."""
    try:
        status = path.stat()
    except (OSError, ValueError):  # told by who opens it
        return None
    return status.st_size, status.st_mtime_ns
