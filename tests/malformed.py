# SPDX-License-Identifier: Apache-2.0
"""Audio files that are not as they should be, built byte by byte, and what is to be said of each.

Layouts: RIFF (1991), EBU Tech 3306 (RF64), ITU-R BS.2088 (BW64), AIFF 1.3. No byte comes from a real file.
"""

from __future__ import annotations

import struct
import uuid
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

RATE_HZ = 48000
FRAMES = 12000
UNKNOWN = 0xFFFFFFFF
#: The end of a sub-format that stands for a plain kind of samples (KSDATAFORMAT_SUBTYPE_PCM is 1 before it).
PLAIN = "-0000-0010-8000-00aa00389b71"
TAG = b"ID3\x04\0\0\0\0\x01\0" + bytes(128)


@dataclass(frozen=True)
class Ugly:
    """`frames`: what is read of it, None when it is refused; `says`: words of the refusal or of the faults;

    `faults`: kinds that `start` lists of it, in any order; `header_frames`: what the header promises, if it lies.
    """

    content: bytes
    frames: int | None
    says: str = ""
    faults: tuple[str, ...] = ()
    header_frames: int | None = None

    @property
    def is_used(self) -> bool:
        """Whether it can be mixed: one frame alone is silence."""
        return self.frames not in (None, 0, 1) and not {"out_of_range", "too_many_channels"} & set(self.faults)


def noise(seed: int, samples: int = FRAMES) -> bytes:
    """Sixteen-bit noise, every seed its own; from quiet to quiet."""
    values = np.random.default_rng(seed).normal(0.0, 0.1, samples) * np.hanning(samples)
    return np.round(values.clip(-1, 1) * 32767).astype("<i2").tobytes()


def chunk(name: bytes, body: bytes, size: int | None = None, order: str = "<") -> bytes:
    return struct.pack(f"{order}4sI", name, len(body) if size is None else size) + body + bytes(len(body) % 2)


def fmt(channels: int = 1, rate_hz: int = RATE_HZ, bits: int = 16, align: int | None = None) -> bytes:
    right = channels * ((bits + 7) // 8)
    align = right if align is None else align
    return chunk(b"fmt ", struct.pack("<HHIIHH", 1, channels, rate_hz, rate_hz * right & UNKNOWN, align & 0xFFFF, bits))


def extensible(
    channels: int = 1, bits: int = 16, *, valid: int | None = None, mask: int = 0, kind: str = "00000001" + PLAIN
) -> bytes:
    """WAVEFORMATEXTENSIBLE (Microsoft, from memory): valid bits, speakers, and a GUID for the kind of samples."""
    align = channels * ((bits + 7) // 8)
    head = struct.pack("<HHIIHH", 0xFFFE, channels, RATE_HZ, RATE_HZ * align, align, bits)
    end = struct.pack("<HHI", 22, bits if valid is None else valid, mask)
    return chunk(b"fmt ", head + end + uuid.UUID(kind).bytes_le)


def riff(*chunks: bytes, kind: bytes = b"RIFF", size: int | None = None) -> bytes:
    body = b"WAVE" + b"".join(chunks)
    return kind + struct.pack("<I", len(body) if size is None else size) + body


def ds64(data_bytes: int, table: bytes = b"", entries: int | None = None, whole: int | None = None) -> bytes:
    whole = data_bytes + 100 if whole is None else whole
    count = len(table) // 12 if entries is None else entries
    return chunk(b"ds64", struct.pack("<QQQI", whole, data_bytes, 0, count) + table)


def long_riff(kind: bytes, sizes: bytes, *chunks: bytes) -> bytes:
    return riff(sizes, *chunks, kind=kind, size=UNKNOWN)


def aiff(frames: int, data: bytes, size: int | None = None) -> bytes:
    rate = struct.pack(">HQ", 16383 + 15, RATE_HZ << 48)  # 80-bit extended: 48000 = 1.46... * 2^15
    common = chunk(b"COMM", struct.pack(">hIh", 1, frames, 16) + rate, order=">")
    sound = chunk(b"SSND", bytes(8) + data, size, order=">")
    body = b"AIFF" + common + sound
    return b"FORM" + struct.pack(">I", len(body)) + body


def ugly_files() -> dict[str, Ugly]:
    """Every kind of damage by name."""
    seeds = iter(range(1000))

    def audio(size: int | None = None, name: bytes = b"data") -> bytes:
        return chunk(name, noise(next(seeds)), size)

    differs, cut, no = ("header_differs",), ("truncated",), ("unreadable",)
    bits20 = b"".join(bytes([0, low & 0xF0, high]) for low, high in zip(*[iter(noise(999))] * 2, strict=True))
    files = {
        "riff size 0": Ugly(riff(fmt(), audio(), size=0), FRAMES, "not closed", differs),
        "riff size unknown": Ugly(riff(fmt(), audio(), size=UNKNOWN), FRAMES, "not closed", differs),
        "data size 0": Ugly(riff(fmt(), audio(0)), FRAMES, "how much audio", differs),
        "data size unknown": Ugly(riff(fmt(), audio(UNKNOWN)), FRAMES, "how much audio", differs),
        "data size 1e9": Ugly(riff(fmt(), audio(10**9)), FRAMES, "end is missing", cut, 5 * 10**8),
        "half a frame": Ugly(riff(fmt(2), chunk(b"data", noise(next(seeds))[:-3])), 5999, "within a frame", differs),
        "odd chunk of 4 GB": Ugly(riff(fmt(), chunk(b"junk", b"", 0xFFFFFFF0), audio()), None, "claims 4294967280", no),
        "list of 2 GB": Ugly(riff(fmt(), chunk(b"LIST", b"adtl", 2**31 - 1), audio()), None, "claims 2147483647", no),
        "no format": Ugly(riff(audio()), None, "in which format", no),
        "format last": Ugly(riff(audio(), fmt()), FRAMES, "only behind its audio", differs),
        "no audio": Ugly(riff(fmt()), None, "no chunk of audio", no),
        "0 channels": Ugly(riff(fmt(0), audio()), None, "", no),
        "65535 channels": Ugly(riff(fmt(65535), audio()), None, "", no),
        "rate 0": Ugly(riff(fmt(rate_hz=0), audio()), None, "", no),
        "rate 4e9": Ugly(riff(fmt(rate_hz=4 * 10**9), audio()), None, "", no),
        "0 bits": Ugly(riff(fmt(bits=0), audio()), None, "", no),
        "frame size lies": Ugly(riff(fmt(align=64), audio()), FRAMES, "64 bytes, its samples take 2", differs),
        "odd chunk": Ugly(riff(fmt(), chunk(b"junk", b"abc"), audio()), FRAMES),
        "odd chunk, no padding": Ugly(
            riff(fmt(), chunk(b"junk", b"abc")[:-1], audio()), FRAMES, "a byte is missing", differs
        ),
        "zeros behind": Ugly(riff(fmt(), audio()) + bytes(20000), FRAMES),
        "text behind": Ugly(riff(fmt(), audio()) + b"TAGan old tag of 128 bytes" + bytes(102), FRAMES),
        "bw64 and text behind": Ugly(
            long_riff(b"BW64", ds64(2 * FRAMES, whole=2 * FRAMES + 72), fmt(), audio(UNKNOWN)) + b"text, say" * 9,
            FRAMES,
        ),
        "20 bits": Ugly(riff(fmt(bits=20), chunk(b"data", bits20)), FRAMES),
        "rf64": Ugly(long_riff(b"RF64", ds64(2 * FRAMES), fmt(), audio(UNKNOWN)), FRAMES),
        "bw64": Ugly(
            long_riff(
                b"BW64", ds64(2 * FRAMES), chunk(b"chna", bytes(44)), fmt(), audio(UNKNOWN), chunk(b"axml", b"<a/>")
            ),
            FRAMES,
        ),
        "bw64 cut": Ugly(
            long_riff(b"BW64", ds64(4 * FRAMES), fmt(), audio(UNKNOWN)), FRAMES, "end is missing", cut, 2 * FRAMES
        ),
        "bw64 of one size": Ugly(long_riff(b"BW64", ds64(0), fmt(), audio()), FRAMES),
        "rf64 table": Ugly(
            long_riff(
                b"RF64",
                ds64(2 * FRAMES, struct.pack("<4sQ", b"junk", 8)),
                fmt(),
                chunk(b"junk", bytes(8)),
                audio(UNKNOWN),
            ),
            FRAMES,
        ),
        "rf64 without sizes": Ugly(long_riff(b"RF64", b"", fmt(), audio(UNKNOWN)), FRAMES, "no chunk 'ds64'", differs),
        "rf64 of 2^60": Ugly(
            long_riff(b"RF64", ds64(2**60), fmt(), audio(UNKNOWN)), FRAMES, "more than any file holds", cut, 2**59
        ),
        "rf64 table of 4e9": Ugly(
            long_riff(b"RF64", ds64(2 * FRAMES, entries=UNKNOWN), fmt(), audio(UNKNOWN)),
            FRAMES,
            "list of sizes",
            differs,
        ),
        "two audio chunks": Ugly(riff(fmt(), audio(), audio()), FRAMES, "2 chunks of audio", differs),
        "4e9 marks": Ugly(
            riff(fmt(), chunk(b"cue ", struct.pack("<I", UNKNOWN) + bytes(24)), audio()),
            FRAMES,
            "list of marks",
            differs,
        ),
        "tag in front": Ugly(TAG + riff(fmt(), audio()), FRAMES),
        "list cut after audio": Ugly(
            riff(fmt(), audio(), chunk(b"LIST", b"INFO", 400)), FRAMES, "4 are there", differs
        ),
        "2000 chunks": Ugly(riff(fmt(), chunk(b"junk", b"") * 2000, audio()), FRAMES, "1000 chunks", differs),
        "aiff cut": Ugly(
            aiff(2 * FRAMES, noise(next(seeds))[::-1], 4 * FRAMES + 8), FRAMES, "end is missing", cut, 24000
        ),
        "aiff with more": Ugly(aiff(FRAMES // 2, noise(next(seeds))[::-1]), FRAMES, "", differs, 6000),
        "no frames": Ugly(riff(fmt(), chunk(b"data", b"")), 0, "no audio", ("empty",)),
        "one frame": Ugly(riff(fmt(), chunk(b"data", b"\0\x40")), 1, "", ("silent",)),
        "one odd byte": Ugly(riff(fmt(), chunk(b"data", b"\0")), 0, "", ("empty", "header_differs")),
        "web page": Ugly(b"<!DOCTYPE html><html></html>", None, "web page", no),
        "words": Ugly(b"plain words, many of them", None, "no audio", no),
        "nothing": Ugly(b"", None, "is empty", no),
    }
    files |= _extensible(seeds)
    for size in (4, 8, 11, 12):
        files[f"{size} bytes"] = Ugly(riff(fmt(), audio())[:size], None, "", no)
    return files


def _extensible(seeds: Iterator[int]) -> dict[str, Ugly]:
    differs, wide = ("header_differs",), ("too_many_channels",)

    def audio(frame_bytes: int) -> bytes:
        return chunk(b"data", noise(next(seeds), FRAMES * frame_bytes // 2))

    def floats(*at_the_end: float) -> bytes:
        values = np.frombuffer(noise(next(seeds)), "<i2").astype("<f4") / 32768
        values[FRAMES - len(at_the_end) :] = at_the_end
        return chunk(b"data", values.tobytes())

    float32 = "00000003" + PLAIN
    return {
        "24 of 32 bits": Ugly(riff(extensible(1, 32, valid=24), audio(4)), FRAMES),
        "20 of 24 bits": Ugly(riff(extensible(1, 24, valid=20), audio(3)), FRAMES),
        "40 of 24 bits": Ugly(riff(extensible(1, 24, valid=40), audio(3)), FRAMES, "40 of the 24 bits", differs),
        "0 of 24 bits": Ugly(riff(extensible(1, 24, valid=0), audio(3)), FRAMES, "0 of the 24 bits", differs),
        "floats in extensible": Ugly(riff(extensible(1, 32, kind=float32), floats()), FRAMES),
        "stereo for one speaker": Ugly(
            riff(extensible(2, mask=4), audio(4)), FRAMES, "names 1 speaker for 2 channels", differs
        ),
        "unknown samples": Ugly(
            riff(extensible(kind="12345678" + PLAIN), audio(2)), None, f"sub-format 12345678{PLAIN}", ("unreadable",)
        ),
        "samples of no plain kind": Ugly(
            riff(extensible(kind="00000001-0000-0010-8000-00aa00389b72"), audio(2)), None, "389b72", ("unreadable",)
        ),
        "extensible cut": Ugly(
            riff(chunk(b"fmt ", extensible()[8:34]), audio(2)), None, "without a sub-format", ("unreadable",)
        ),
        "5.1": Ugly(riff(extensible(6, mask=0x3F), audio(12)), FRAMES, "5.1: front left", wide),
        "6 without names": Ugly(riff(extensible(6), audio(12)), FRAMES, "6 channels; only mono", wide),
        "6 for 2 speakers": Ugly(
            riff(extensible(6, mask=3), audio(12)), FRAMES, "front left, front right; 4 without", (*wide, *differs)
        ),
        "damaged samples": Ugly(
            riff(extensible(1, 32, kind=float32), floats(1e4, 0.0)),
            FRAMES,
            "1 sample above +60 dBFS, up to +80 dBFS",
            ("out_of_range",),
        ),
    }
