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
from contextlib import AbstractContextManager
from pathlib import Path
from typing import IO, Any

import numpy as np
import soundfile

from mixwright.io.broadcast import Broadcast, read_broadcast
from mixwright.io.compressed import SPOKEN, CompressedSound, NoDecoder, Undecodable, compressed_sound
from mixwright.io.header import Header, is_archive, read_header
from mixwright.io.limits import Excess, Limits
from mixwright.io.view import from_byte, sound_wave
from mixwright.io.wave_format import flac_speakers
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.parts import reason

BLOCK_FRAMES = 65536
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
#: Samples below this become zero: -600 dBFS.
_TINY = np.float32(1e-30)
_GET_DECODER = 'pip install "mixwright[aac]", or install ffmpeg, or ask for WAV'

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
    """A file that is not decoded, with the reason: `kind` is a key of the errors of :mod:`mixwright.io.decode`."""

    def __init__(self, kind: str, message: str, hint: str = "") -> None:
        super().__init__(message)
        self.kind = kind
        self.hint = hint


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
            reply = {"error": refusal.kind, "message": str(refusal), "hint": refusal.hint}
        except MemoryError:
            reply = {"error": "limit", "message": f"needs more than {MAX_MEMORY_BYTES >> 30} GiB of memory to decode"}
        except OSError as error:
            kind = "input" if str(error.filename) == request["path"] else "output"
            reply = {"error": kind, "message": reason(error)}
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
    path, limits = Path(request["path"]), Limits(**request["limits"])
    status = path.stat()
    if not stat.S_ISREG(status.st_mode):
        raise Refusal("input", "is not a file (but a folder, a pipe or a device)")
    _refuse(limits.over_size(status.st_size))
    # Opened by number: a name that ends in ".raw" would make the library guess.
    with os.fdopen(os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0)), "rb") as file:
        header = read_header(file)
        if header is None:
            raise Refusal("format", _not_audio(file))
        broadcast = read_broadcast(file, header.chunks) if header.chunks is not None else Broadcast()
        file.seek(0)
        try:
            with _sound(file, path, header) as sound:
                _refuse(limits.over(sound.channels, sound.samplerate, sound.frames))
                info = _info(sound, header)
                if request["into"] is not None:
                    info |= _decode(sound, header, limits, Path(request["into"]), replies)
        except (soundfile.LibsndfileError, Undecodable) as error:
            raise Refusal("format", f"cannot be decoded ({_reasons(error, header)})") from None
        except NoDecoder:
            spoken = SPOKEN.get(header.container, header.container)
            raise Refusal("decoder", f"is {spoken}, for which no decoder is installed", _GET_DECODER) from None
    info["time_stamp_frames"] = broadcast.time_stamp_frames
    info["marks"] = [{"frame": mark.frame, "label": mark.label} for mark in broadcast.marks if mark.label]
    if info["channels"] > 2 and all(broadcast.channels) and len(broadcast.channels) == info["channels"]:
        info["speakers"] = broadcast.channels  # what a person called them says more than which speaker each is for
    if info["header_frames"] == info["frames"] or info["encoding"] == "mpeg layer 3":
        info["header_frames"] = None
    return {"info": info}


def _sound(
    file: io.BufferedReader, path: Path, header: Header
) -> AbstractContextManager[ForwardFile | CompressedSound]:
    return compressed_sound(file, path, header) if header.compressed else ForwardFile(_as_known(file, header))


def _refuse(excess: Excess | None) -> None:
    if excess is not None:
        raise Refusal("limit", excess.message, excess.hint)


def _reasons(error: soundfile.LibsndfileError | Undecodable, header: Header) -> str:
    if header.layout is not None and header.layout.unread:
        return f"its audio is in a format that is not read, {header.layout.unread}"
    said = "; ".join(header.disagreements[:_MOST_REASONS])
    own = str(error) if isinstance(error, Undecodable) else str(error.error_string)
    return said or own.strip().rstrip(".")


def _as_known(file: io.BufferedReader, header: Header) -> io.BufferedReader:
    """Return a file as the decoder reads it right.

    It refuses BW64, loses the audio of RF64 behind chunks whose sizes stand in `ds64`, takes what follows the audio of
    W64 for audio, takes the length of a tag in front off the audio behind, and gives up over faults that do not concern
    the audio.
    """
    chunks = header.chunks
    if chunks is not None and header.uncompressed:
        if header.container in ("BW64", "RF64", "W64") or header.start > 0 or header.disagreements:
            return sound_wave(file, chunks)
        return file
    return from_byte(file, header.start) if header.start > 0 else file


def _not_audio(file: IO[bytes]) -> str:
    file.seek(0)
    start = file.read(512).lstrip().lower()
    if not start:
        return "is empty"
    if start.startswith((b"<!doctype", b"<html", b"<?xml")):
        return "is a web page or XML text, not audio"
    if is_archive(start):
        return "is an archive, not audio: unpack it"
    return "is no audio that is known here"


def _info(sound: ForwardFile | CompressedSound, header: Header) -> dict[str, Any]:
    promised, layout = header.frames, header.layout
    if isinstance(sound, CompressedSound):
        encoding, bits, start_known = sound.encoding, None, sound.start_known
        promised = sound.frames if sound.exact else promised
        frames = sound.frames
    else:
        encoding, bits = _ENCODINGS.get(sound.subtype, (sound.subtype.lower(), None))
        frames, start_known = sound.frames, True
        promised = frames if promised is None else promised
    if bits is not None and layout is not None and layout.valid_bits and layout.valid_bits < bits:
        bits = layout.valid_bits
    speakers = layout.speakers if layout is not None else ()
    return {
        "container": header.container,
        "encoding": encoding,
        "sample_rate_hz": sound.samplerate,
        "channels": sound.channels,
        "frames": frames,
        "bits": bits,
        "header_frames": promised,
        "disagreements": list(header.disagreements[:_MOST_REASONS]),
        "speakers": flac_speakers(sound.channels) if header.container == "FLAC" else speakers,
        "start_known": start_known,
    }


def _decode(
    sound: ForwardFile | CompressedSound, header: Header, limits: Limits, into: Path, replies: IO[str]
) -> dict[str, Any]:
    """Write all frames as float32 and return what was found: how many, and where they end early."""
    _check_disk(sound, into)
    _limit_cpu(START_CPU_S + int(CPU_S_PER_AUDIO_S * sound.frames / sound.samplerate))
    block = np.empty((BLOCK_FRAMES, sound.channels), np.float32)
    told_s = time.monotonic()
    with ArrayWriter(into, sound.channels) as writer:
        while True:
            try:
                ready = sound.read(out=block)
            except (soundfile.LibsndfileError, Undecodable):
                if not writer.frames:
                    raise
                return _damaged(writer.frames, sound, header)  # what came before is kept
            if not ready.shape[0]:
                return {"frames": writer.frames}
            # So small that nothing hears it, and slow in every filter.
            if (tiny := np.abs(ready) < _TINY).any():
                ready[tiny] = 0.0
            writer.push(ready)
            _refuse(limits.over(sound.channels, sound.samplerate, writer.frames))
            if time.monotonic() - told_s > _ALIVE_EVERY_S:
                told_s = time.monotonic()
                _send(replies, {"alive": writer.frames})


def _damaged(frames: int, sound: ForwardFile | CompressedSound, header: Header) -> dict[str, Any]:
    """Say that a file is damaged from here on, where no promise of its header tells."""
    if header.frames is not None or (isinstance(sound, CompressedSound) and sound.exact):
        return {"frames": frames}
    told = f"it is damaged after {frames / sound.samplerate:.2f} s: what follows is not read"
    return {"frames": frames, "disagreements": [*header.disagreements[: _MOST_REASONS - 1], told]}


def _check_disk(sound: ForwardFile | CompressedSound, into: Path) -> None:
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
