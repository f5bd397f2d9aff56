# SPDX-License-Identifier: Apache-2.0
"""How long the audio of an MP4 or M4A file is meant to be: what its encoder put in front and behind is not part of it.

Sources: ISO/IEC 14496-12 (boxes, `stts`, `elst`), Apple's "Audio Priming - Handling Encoder Delay in AAC" for
`iTunSMPB` (both from memory). Steps are counted and sizes bounded. The decoding child imports this module: it needs the
standard library alone.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import IO

from mixwright.io.chunks import read_at

_MOST_BOXES = 4000
_MOST_DEPTH = 8
_MOST_ENTRIES = 100_000
_MOST_BYTES = 1 << 20
#: Frames that an encoder may put in front and behind; a note that says more is about another rate.
_MOST_PADDING = 16384
#: Boxes that hold boxes, and what stands before these.
_HOLDERS = {b"moov": 0, b"trak": 0, b"mdia": 0, b"minf": 0, b"stbl": 0, b"edts": 0, b"udta": 0, b"ilst": 0, b"meta": 4}
#: Name and value of a free-form note: delay, padding and true length of the audio in frames, in hexadecimal.
_GAPLESS = re.compile(
    rb"iTunSMPB.{0,64}?data.{8} *[0-9A-Fa-f]{8} [0-9A-Fa-f]{8} [0-9A-Fa-f]{8} ([0-9A-Fa-f]{16})", re.DOTALL
)


@dataclass(frozen=True)
class Movie:
    """What the boxes tell of the first audio track.

    `length_s`: how long it is meant to be, None when they do not say. `start_known`: they say how much the encoder put
    in front, so that a decoder leaves it out. `disagreements`: what else a person should know, in words.
    """

    length_s: Fraction | None = None
    start_known: bool = False
    disagreements: tuple[str, ...] = ()


@dataclass(eq=False)
class _Track:
    """One track, as its boxes are met. Times are in units of 1 / `scale` seconds."""

    is_audio: bool = False
    scale: int = 0
    total: int = 0
    edits: tuple[tuple[int, int], ...] = ()


def read_movie(file: IO[bytes], start: int) -> Movie:
    """Read the boxes of a file that begins with `ftyp` at byte `start`."""
    end = file.seek(0, 2)
    tracks: list[_Track] = []
    scale, gapless = 0, None
    for name, at, size in _boxes(file, start, end):
        body = read_at(file, at, min(size, _MOST_BYTES)) if name in _READ else b""
        if name == b"trak":
            tracks.append(_Track())
        elif name == b"mvhd":
            scale = _time_scale(body)
        elif name == b"----" and gapless is None:
            gapless = _GAPLESS.search(body)
        elif tracks:
            _read_track(tracks[-1], name, body)
    audio = [track for track in tracks if track.is_audio]
    if not audio:
        return Movie(disagreements=("it has no audio track that its boxes tell of",))
    return _told(audio, scale, gapless)


def _boxes(file: IO[bytes], start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Yield name, start and size of the bodies of all boxes, those within holders after them; a bounded number."""
    pending = [(start, end, 0)]
    for _ in range(_MOST_BOXES):
        while pending and pending[-1][0] + 8 > pending[-1][1]:
            pending.pop()
        if not pending:
            return
        position, stop, depth = pending.pop()
        head = read_at(file, position, 16)
        if len(head) < 8:
            return
        size, name, header = int.from_bytes(head[:4]), head[4:8], 8
        if size == 1 and len(head) == 16:
            size, header = int.from_bytes(head[8:]), 16
        elif size == 0:
            size = stop - position
        if size < header:
            return
        inside = min(position + size, stop)
        pending.append((position + size, stop, depth))
        yield name, position + header, max(0, inside - position - header)
        if name in _HOLDERS and depth < _MOST_DEPTH:
            pending.append((position + header + _HOLDERS[name], inside, depth + 1))


_READ = frozenset({b"mvhd", b"----", b"mdhd", b"hdlr", b"stts", b"elst"})


def _read_track(track: _Track, name: bytes, body: bytes) -> None:
    if name == b"mdhd":
        track.scale = _time_scale(body)
    elif name == b"hdlr":
        track.is_audio = track.is_audio or body[8:12] == b"soun"
    elif name == b"stts":
        track.total = sum(count * step for count, step in _entries(body, "II"))
    elif name == b"elst":
        wide = body[:1] == b"\1"
        track.edits = tuple((int(length), int(first)) for length, first, *_ in _entries(body, "QqI" if wide else "IiI"))


def _time_scale(body: bytes) -> int:
    """Return the units to a second that `mvhd` and `mdhd` give."""
    at = 20 if body[:1] == b"\1" else 12
    return int.from_bytes(body[at : at + 4]) if len(body) >= at + 4 else 0


def _entries(body: bytes, form: str) -> Iterator[tuple[int, ...]]:
    """Yield the entries of a box that begins with version, flags and their number."""
    entry = struct.Struct(f">{form}")
    claimed = int.from_bytes(body[4:8])
    for i in range(min(claimed, max(0, len(body) - 8) // entry.size, _MOST_ENTRIES)):
        yield entry.unpack_from(body, 8 + i * entry.size)


def _told(audio: list[_Track], scale: int, gapless: re.Match[bytes] | None) -> Movie:
    track, said = audio[0], []
    if len(audio) > 1:
        said.append(f"it has {len(audio)} audio tracks, of which only the first is read")
    edits = [(length, first) for length, first in track.edits if first >= 0]
    if len(edits) != len(track.edits):
        said.append("its edit list starts with a pause, which is left out")
    if len(edits) > 1:
        said.append(f"its edit list has {len(edits)} parts, of which only the first is sure to be read right")
    lengths = []
    if track.scale and track.total:
        in_front = edits[0][1] if edits else 0
        lengths.append(Fraction(max(0, track.total - in_front), track.scale))
        if gapless is not None and 0 <= track.total - int(gapless[1], 16) < _MOST_PADDING:
            lengths.append(Fraction(int(gapless[1], 16), track.scale))
    if track.scale and scale and len(edits) == 1 and edits[0][0]:
        # Where the movie counts in coarser steps than the audio, nothing of the audio may be lost by rounding.
        lengths.append(Fraction(edits[0][0] + (scale != track.scale), scale))
    return Movie(
        min(lengths, default=None),
        start_known=bool(edits) or gapless is not None,
        disagreements=tuple(said),
    )
