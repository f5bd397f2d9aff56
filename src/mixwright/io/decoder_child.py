# SPDX-License-Identifier: Apache-2.0
"""The process that decodes: a JSON request a line on standard input, JSON replies a line on standard output.

Replies: ``{"alive": frames}`` while it works, then ``{"info": {...}}`` or ``{"error": kind, "message": text}``.
It lives apart so that a fault in a decoder costs one file. It ends when its input ends, even while it decodes.
"""

from __future__ import annotations

import io
import json
import os
import queue
import shutil
import stat
import sys
import threading
import time
from pathlib import Path
from typing import IO, Any

import numpy as np
import soundfile

from mixwright.io.broadcast import read_extension
from mixwright.io.header import Header, read_header
from mixwright.io.rf64_view import Rf64View
from mixwright.jobs.array_file import ArrayWriter

BLOCK_FRAMES = 65536
MAX_CHANNELS = 64
RATES_HZ = (8000, 384000)
MAX_DURATION_S = 86400
#: Address space of this process: the interpreter, numpy and the decoders need less than a third.
MAX_MEMORY_BYTES = 2 << 30
#: Processor time for one request: a start, and a share for every second of audio (Opus, the slowest, needs 0.006 s).
START_CPU_S, CPU_S_PER_AUDIO_S = 60, 0.2
#: Decoded audio of one track that may still be real: 11 hours of stereo at 48 kHz.
MAX_TRACK_BYTES = 16_000_000_000
#: Left free on the disk.
SPARE_BYTES = 256 << 20
#: Faults of a header that are told; one shows that it is damaged, a hundred show no more.
_MOST_REASONS = 5
_ALIVE_EVERY_S = 1.0

_ENCODINGS = {
    "PCM_S8": ("pcm8", 8),
    "PCM_U8": ("pcm8", 8),
    "PCM_16": ("pcm16", 16),
    "PCM_24": ("pcm24", 24),
    "PCM_32": ("pcm32", 32),
    "FLOAT": ("float32", None),
    "DOUBLE": ("float64", None),
    "ULAW": ("mu-law", None),
    "ALAW": ("a-law", None),
    "ALAC_16": ("alac", 16),
    "ALAC_20": ("alac", 20),
    "ALAC_24": ("alac", 24),
    "ALAC_32": ("alac", 32),
    "VORBIS": ("vorbis", None),
    "OPUS": ("opus", None),
    "MPEG_LAYER_I": ("mpeg layer 1", None),
    "MPEG_LAYER_II": ("mpeg layer 2", None),
    "MPEG_LAYER_III": ("mpeg layer 3", None),
}


class Refusal(Exception):
    """A file that is not decoded, with the reason: `kind` is ``format``, ``limit``, ``input`` or ``output``."""

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(message)
        self.kind = kind


class ForwardFile(soundfile.SoundFile):
    """A sound file that is read once from start to end.

    A file that can seek is moved to its own position after every block, and an MP3 decoder loses its memory by that:
    wrong samples at every block edge.
    """

    def seekable(self) -> bool:
        """Say no, so that nothing seeks."""
        return False


def main() -> None:
    """Answer requests until the input ends."""
    replies = _own_standard_output()
    requests: queue.SimpleQueue[str] = queue.SimpleQueue()
    threading.Thread(target=_take_requests, args=(requests,), daemon=True).start()
    _limit_memory()
    _send(replies, {"ready": True})
    while True:
        _limit_cpu(START_CPU_S)
        try:
            request = json.loads(requests.get())
            reply = _answer(request, replies)
        except Refusal as refusal:
            reply = {"error": refusal.kind, "message": str(refusal)}
        except MemoryError:
            reply = {"error": "limit", "message": f"needs more than {MAX_MEMORY_BYTES >> 30} GiB of memory to decode"}
        except OSError as error:
            kind = "input" if str(error.filename) == request["path"] else "output"
            reply = {"error": kind, "message": error.strerror or str(error)}
        _send(replies, reply)


def _own_standard_output() -> IO[str]:
    """Keep standard output for replies: whatever a library prints goes to standard error."""
    replies = os.fdopen(os.dup(1), "w", encoding="ascii")
    os.dup2(2, 1)
    return replies


def _take_requests(requests: queue.SimpleQueue[str]) -> None:
    for line in sys.stdin:
        requests.put(line)
    os._exit(0)  # the parent is gone, or wants this process to be


def _send(replies: IO[str], reply: dict[str, Any]) -> None:
    replies.write(json.dumps(reply) + "\n")
    replies.flush()


def _answer(request: dict[str, Any], replies: IO[str]) -> dict[str, Any]:
    path = Path(request["path"])
    if not stat.S_ISREG(path.stat().st_mode):
        raise Refusal("input", "is not a file")
    # Opened by number: a name that ends in ".raw" would make the library guess.
    with os.fdopen(os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0)), "rb") as file:
        header = read_header(file)
        if header is None:
            raise Refusal("format", _not_audio(file))
        extension = read_extension(file, header.chunks) if header.chunks is not None else None
        file.seek(0)
        try:
            with ForwardFile(_as_known(file, header)) as sound:
                _check_limits(sound)
                info = _info(sound, header)
                if request["into"] is not None:
                    info["frames"] = _decode(sound, Path(request["into"]), replies)
        except soundfile.LibsndfileError as error:
            reasons = "; ".join(header.disagreements[:_MOST_REASONS]) or error.error_string.strip().rstrip(".")
            raise Refusal("format", f"cannot be decoded ({reasons})") from None
    promised = header.frames if header.frames is not None else info["header_frames"]
    info["time_stamp_frames"] = None if extension is None else extension.time_reference_frames
    if promised is not None and promised != info["frames"] and info["encoding"] != "mpeg layer 3":
        info["header_frames"] = promised
    else:
        info["header_frames"] = None
    return {"info": info}


def _as_known(file: io.BufferedReader, header: Header) -> io.BufferedReader:
    """Return a file as the decoder reads it right, where format and audio are known.

    It refuses BW64, takes the length of a tag in front off the audio behind, and gives up over faults that do not
    concern the audio.
    """
    chunks = header.chunks
    if chunks is None or not header.uncompressed:
        return file
    if header.container == "BW64" or chunks.start > 0 or header.disagreements:
        return io.BufferedReader(Rf64View(file, chunks), 1 << 18)
    return file


def _not_audio(file: IO[bytes]) -> str:
    file.seek(0)
    start = file.read(512).lstrip().lower()
    if not start:
        return "is empty"
    if start.startswith((b"<!doctype", b"<html", b"<?xml")):
        return "is a web page or XML text, not audio"
    if start[4:8] == b"ftyp":
        return "is MP4 or M4A, which is not read"
    if start.startswith((b"pk\x03\x04", b"rar!", b"7z\xbc\xaf", b"\x1f\x8b")):
        return "is an archive, not audio"
    return "is no audio that is known here"


def _check_limits(sound: ForwardFile) -> None:
    if not 1 <= sound.channels <= MAX_CHANNELS:
        raise Refusal("limit", f"has {sound.channels} channels, more than {MAX_CHANNELS}")
    if not RATES_HZ[0] <= sound.samplerate <= RATES_HZ[1]:
        raise Refusal("limit", f"has a sample rate of {sound.samplerate} Hz, outside {RATES_HZ[0]} to {RATES_HZ[1]}")
    if sound.frames > MAX_DURATION_S * sound.samplerate:
        raise Refusal("limit", f"is longer than {MAX_DURATION_S // 3600} hours")


def _info(sound: ForwardFile, header: Header) -> dict[str, Any]:
    encoding, bits = _ENCODINGS.get(sound.subtype, (sound.subtype.lower(), None))
    return {
        "container": header.container,
        "encoding": encoding,
        "sample_rate_hz": sound.samplerate,
        "channels": sound.channels,
        "frames": sound.frames,
        "bits": bits,
        "header_frames": sound.frames,
        "disagreements": list(header.disagreements[:_MOST_REASONS]),
    }


def _decode(sound: ForwardFile, into: Path, replies: IO[str]) -> int:
    """Write all frames as float32 and return how many there were."""
    _check_disk(sound, into)
    _limit_cpu(START_CPU_S + int(CPU_S_PER_AUDIO_S * sound.frames / sound.samplerate))
    block = np.empty((BLOCK_FRAMES, sound.channels), np.float32)
    told_s = time.monotonic()
    with ArrayWriter(into, sound.channels) as writer:
        while True:
            try:
                ready = sound.read(out=block)
            except soundfile.LibsndfileError:
                if not writer.frames:
                    raise
                return writer.frames  # damaged from here on: what came before is kept, and the promise tells
            if not ready.shape[0]:
                return writer.frames
            writer.push(ready)
            if writer.frames > MAX_DURATION_S * sound.samplerate:
                raise Refusal("limit", f"is longer than {MAX_DURATION_S // 3600} hours")
            if time.monotonic() - told_s > _ALIVE_EVERY_S:
                told_s = time.monotonic()
                _send(replies, {"alive": writer.frames})


def _check_disk(sound: ForwardFile, into: Path) -> None:
    free, needed = shutil.disk_usage(into.parent).free - SPARE_BYTES, 4 * sound.frames * sound.channels
    if needed > free:
        # A header may lie: what no track of a song can need is the fault of the file, not of the disk.
        kind = "limit" if needed > MAX_TRACK_BYTES else "output"
        raise Refusal(kind, f"needs {needed / 1e9:.1f} GB of disk space decoded, {max(0, free) / 1e9:.1f} are free")


def _limit_memory() -> None:
    try:
        import resource
    except ImportError:  # Windows: the limits on rate, channels and length remain
        return
    try:
        hard = resource.getrlimit(resource.RLIMIT_AS)[1]
        wanted = MAX_MEMORY_BYTES if hard == resource.RLIM_INFINITY else min(MAX_MEMORY_BYTES, hard)
        resource.setrlimit(resource.RLIMIT_AS, (wanted, hard))
        resource.setrlimit(resource.RLIMIT_CORE, (0, resource.getrlimit(resource.RLIMIT_CORE)[1]))
    except (ValueError, OSError):  # macOS refuses some limits
        return


def _limit_cpu(more_s: int) -> None:
    """Allow so many more seconds of processor time; after that the system ends this process."""
    try:
        import resource
    except ImportError:
        return
    try:
        hard = resource.getrlimit(resource.RLIMIT_CPU)[1]
        wanted = int(time.process_time()) + more_s
        resource.setrlimit(resource.RLIMIT_CPU, (wanted if hard == resource.RLIM_INFINITY else min(wanted, hard), hard))
    except (ValueError, OSError):
        return


if __name__ == "__main__":
    main()
