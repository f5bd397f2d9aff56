# SPDX-License-Identifier: Apache-2.0
"""What `fmt ` of a WAVE file says: kind and size of its samples, and which speaker each channel is for.

Sources: RIFF (1991); WAVEFORMATEXTENSIBLE and its dwChannelMask (Microsoft, Windows Driver Kit, from memory);
RFC 9639, section 9.1.3 for the channels of FLAC. The decoding child imports this module: it needs the standard library
alone.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import IO

from mixwright.io.chunks import ChunkList, read_body

_EXTENSIBLE = 0xFFFE
_EXTENSIBLE_BYTES = 40
#: Kinds whose samples are of one size each: whole numbers, floating point, A-law, mu-law.
_UNCOMPRESSED = (1, 3, 6, 7)
#: The end of every sub-format that stands for a plain kind: xxxxxxxx-0000-0010-8000-00aa00389b71.
_PLAIN = (0x0000, 0x0010, bytes.fromhex("800000aa00389b71"))
#: What the bits of a channel mask stand for, the lowest first.
SPEAKERS = (
    *("front left", "front right", "centre", "low frequency", "back left", "back right"),
    *("front left of centre", "front right of centre", "back centre", "side left", "side right", "top centre"),
    *("top front left", "top front centre", "top front right", "top back left", "top back centre", "top back right"),
)
#: Masks of FLAC by the number of channels.
_FLAC_MASKS = {3: 0x7, 4: 0x33, 5: 0x37, 6: 0x3F, 7: 0x70F, 8: 0x63F}


@dataclass(frozen=True)
class WaveFormat:
    """What `fmt ` says.

    `frame_bytes`: of one frame of uncompressed samples, 0 when compressed. `block_align`: its own word for that.
    `valid_bits`: how many bits of a sample count, None when it does not say. `speakers`: one for each channel, as far
    as they are named. `unread`: the kind of samples, in words, where no decoder here knows it.
    """

    frame_bytes: int
    block_align: int
    channels: int
    bits: int
    valid_bits: int | None = None
    mask: int = 0
    unread: str = ""

    @classmethod
    def read(cls, file: IO[bytes], chunks: ChunkList) -> WaveFormat | None:
        """Read `fmt `; None when it is missing or too short."""
        chunk = chunks.first(b"fmt ")
        body = read_body(file, chunk, _EXTENSIBLE_BYTES) if chunk is not None else b""
        if len(body) < 16:
            return None
        order = chunks.order
        tag, channels, _, _, block_align, bits = struct.unpack(f"{order}HHIIHH", body[:16])
        if tag != _EXTENSIBLE:
            return cls(_frame_bytes(tag, channels, bits), block_align, channels, bits)
        if len(body) < _EXTENSIBLE_BYTES:
            return cls(0, block_align, channels, bits, unread="extensible, without a sub-format")
        valid, mask, tag, *rest = struct.unpack_from(f"{order}HIIHH8s", body, 18)
        plain = tuple(rest) == _PLAIN
        frame_bytes = _frame_bytes(tag, channels, bits) if plain else 0
        return cls(
            frame_bytes, block_align, channels, bits, valid, mask, "" if frame_bytes else _identifier(tag, *rest)
        )

    @property
    def speakers(self) -> tuple[str, ...]:
        """The speakers that the mask names, in the order of the channels; no more than there are channels."""
        return _named(self.mask)[: self.channels]

    def disagreements(self) -> Iterator[str]:
        """Say where its own words do not go together."""
        named = self.mask.bit_count()
        if named and named != self.channels:
            speakers = "1 speaker" if named == 1 else f"{named} speakers"
            channels = "1 channel" if self.channels == 1 else f"{self.channels} channels"
            yield f"its header names {speakers} for {channels}"
        if self.frame_bytes and self.valid_bits is not None and not 0 < self.valid_bits <= self.bits:
            yield f"its header says that {self.valid_bits} of the {self.bits} bits of a sample count"


def flac_speakers(channels: int) -> tuple[str, ...]:
    """Return which speaker each channel of a FLAC file is for; nothing for mono and stereo."""
    return _named(_FLAC_MASKS.get(channels, 0))


def _named(mask: int) -> tuple[str, ...]:
    return tuple(name for bit, name in enumerate(SPEAKERS) if mask >> bit & 1)


def _frame_bytes(tag: int, channels: int, bits: int) -> int:
    return channels * ((bits + 7) // 8) if tag in _UNCOMPRESSED else 0


def _identifier(one: int, two: int, three: int, rest: bytes) -> str:
    """Return a GUID as it is written."""
    return f"sub-format {one:08x}-{two:04x}-{three:04x}-{rest[:2].hex()}-{rest[2:].hex()}"
