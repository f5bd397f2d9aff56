# SPDX-License-Identifier: Apache-2.0
"""The chunks of a WAVE file that say what it is: `bext`, `iXML`, `LIST` INFO, `cue `, `LIST` adtl, `id3 `.

Sources: EBU Tech 3285 version 2 (`bext` with loudness), RIFF (1991) for cue points, labels and INFO, iXML 2.0; all from
memory, offsets as in :mod:`mixwright.io.broadcast`. What is read comes from a file and is bounded.
"""

from __future__ import annotations

import math
import struct
import unicodedata
from typing import IO
from xml.sax.saxutils import escape

import msgspec

from mixwright.io.broadcast import read_broadcast
from mixwright.io.chunks import ChunkList, read_body
from mixwright.io.id3 import MOST_BYTES, id3_tag, read_id3
from mixwright.model.tags import MOST_FRAMES, Marker, TagLoudness, Tags, clean_tags, filled, shown_title

#: A loudness that is not told (EBU Tech 3285 version 2).
_NOT_TOLD = 0x7FFF
_BEXT = struct.Struct("<256s32s32s10s8sIIH64s5h180s")
_LOUDNESS_AT = 412
_VERSION_AT, _WITH_LOUDNESS = 346, 2
_INFO = {
    b"INAM": "title",
    b"IART": "artist",
    b"IPRD": "album",
    b"ICRD": "date",
    b"ICMT": "comment",
    b"ISFT": "software",
}
_MOST_INFO = 100
_MOST_LISTS = 16
_LIST_BYTES = 1 << 20
_LOUDNESS = TagLoudness.__struct_fields__
_MOST_POSITION = 0xFFFFFFFF
_SIDES = {1: ("Mono",), 2: ("Left", "Right")}


def wave_chunks(tags: Tags, *, rate_hz: int, channels: int, frames: int, bits: int) -> bytes:
    """Return all chunks that tell of a file; they stand between `fmt ` and `data`.

    Each is of even length, by what its own contents allow: some readers of RF64 do not step over a byte that fills up.

    Parameters
    ----------
    tags : Tags
        Cleaned here.
    rate_hz, channels, frames, bits : int
        Of the audio.
    """
    tags = clean_tags(tags)
    markers = [marker for marker in tags.markers if marker.frame <= min(frames, _MOST_POSITION)]
    parts = [
        (b"bext", _bext(tags, rate_hz, channels, bits)),
        (b"iXML", _ixml(tags, rate_hz, channels, bits)),
        (b"LIST", _info(tags)),
        (b"cue ", _cue(markers)),
        (b"LIST", _labels(markers)),
        (b"id3 ", id3_tag(msgspec.structs.replace(tags, markers=()))),  # cue points tell them, to the frame
    ]
    return b"".join(_chunk(name, body) for name, body in parts if body)


def _chunk(name: bytes, body: bytes) -> bytes:
    return struct.pack("<4sI", name, len(body)) + body + bytes(len(body) % 2)


def _bext(tags: Tags, rate_hz: int, channels: int, bits: int) -> bytes:
    """Return `bext` version 2; it holds no time of day, since the same song gives the same bytes."""
    description = " - ".join(filter(None, (tags.artist, shown_title(tags), tags.comment)))
    date = tags.date if len(tags.date) == 10 else ""
    low, high = tags.time_reference_frames & 0xFFFFFFFF, tags.time_reference_frames >> 32
    loudness = (_hundredths(getattr(tags.loudness, name)) for name in _LOUDNESS)
    texts = (_ascii(text, size) for text, size in ((description, 256), (tags.software, 32), (tags.isrc, 32)))
    body = _BEXT.pack(*texts, _ascii(date, 10), b"", low, high, _WITH_LOUDNESS, b"", *loudness, b"")
    mode = {1: "mono", 2: "stereo"}.get(channels, f"{channels} channels")
    history = f"A=PCM,F={rate_hz},W={bits},M={mode}\r\n".encode("ascii")
    return body + history + bytes(len(history) % 2)


def _hundredths(value: float | None) -> int:
    """Return a level in steps of 0.01; one that the field cannot hold is not told."""
    steps = _NOT_TOLD if value is None or not math.isfinite(value) else round(100.0 * value)
    return steps if -0x8000 <= steps < _NOT_TOLD else _NOT_TOLD


def _ascii(text: str, size: int) -> bytes:
    """Return text as a field of `bext` holds it: accents dropped, other scripts as question marks."""
    plain = "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    return plain.encode("ascii", "replace")[:size]


def _ixml(tags: Tags, rate_hz: int, channels: int, bits: int) -> bytes:
    names = _SIDES.get(channels, tuple(f"Channel {i + 1}" for i in range(channels)))
    tracks = "".join(
        f"<TRACK><CHANNEL_INDEX>{i}</CHANNEL_INDEX><INTERLEAVE_INDEX>{i}</INTERLEAVE_INDEX><NAME>{name}</NAME></TRACK>"
        for i, name in enumerate(names, 1)
    )
    time = tags.time_reference_frames
    speed = {
        "FILE_SAMPLE_RATE": rate_hz,
        "AUDIO_BIT_DEPTH": bits,
        "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI": time >> 32,
        "TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_LO": time & 0xFFFFFFFF,
        "TIMESTAMP_SAMPLE_RATE": rate_hz,
    }
    note = " - ".join(filter(None, (tags.print, tags.comment)))
    text = (
        '<?xml version="1.0" encoding="UTF-8"?>\n<BWFXML><IXML_VERSION>2.0</IXML_VERSION>'
        f"<PROJECT>{escape(tags.title)}</PROJECT><NOTE>{escape(note)}</NOTE>"
        f"<SPEED>{''.join(f'<{key}>{value}</{key}>' for key, value in speed.items())}</SPEED>"
        f"<TRACK_LIST><TRACK_COUNT>{channels}</TRACK_COUNT>{tracks}</TRACK_LIST></BWFXML>\n"
    )
    return text.encode() + b"\n" * (len(text.encode()) % 2)


def _info(tags: Tags) -> bytes:
    texts = {name: shown_title(tags) if field == "title" else getattr(tags, field) for name, field in _INFO.items()}
    entries = [_chunk(name, text.encode() + b"\0") for name, text in texts.items() if text]
    return b"INFO" + b"".join(entries) if entries else b""


def _cue(markers: list[Marker]) -> bytes:
    points = [
        struct.pack("<II4sIII", number, marker.frame, b"data", 0, 0, marker.frame)
        for number, marker in enumerate(markers, 1)
    ]
    return struct.pack("<I", len(points)) + b"".join(points) if points else b""


def _labels(markers: list[Marker]) -> bytes:
    labels = [
        _chunk(b"labl", struct.pack("<I", number) + marker.name.encode() + b"\0")
        for number, marker in enumerate(markers, 1)
        if marker.name
    ]
    return b"adtl" + b"".join(labels) if labels else b""


def read_wave_tags(file: IO[bytes], chunks: ChunkList) -> Tags:
    """Read what the chunks of a WAVE file say of it; where several tell a thing, the `id3 ` chunk is asked first.

    Raises
    ------
    OSError
        when the file cannot be read
    """
    id3 = chunks.first(b"id3 ") or chunks.first(b"ID3 ")
    tags = read_id3(read_body(file, id3, MOST_BYTES)) if id3 is not None else Tags()
    beside = read_broadcast(file, chunks)
    tags = Tags(
        **{name: getattr(tags, name) for name in Tags.__struct_fields__ if name not in ("loudness", "markers")},
        loudness=_read_loudness(file, chunks),
        markers=tuple(Marker(name=mark.label, frame=mark.frame) for mark in beside.marks),
    )
    listed = Tags(time_reference_frames=min(beside.time_stamp_frames or 0, MOST_FRAMES))
    return filled(tags, msgspec.structs.replace(listed, **_read_info(file, chunks)))


def _read_info(file: IO[bytes], chunks: ChunkList) -> dict[str, str]:
    found: dict[str, str] = {}
    lists = [chunk for chunk in chunks.chunks if chunk.name == b"LIST"][:_MOST_LISTS]
    for body in (read_body(file, chunk, _LIST_BYTES) for chunk in lists):
        position = 4
        for _ in range(_MOST_INFO):
            if body[:4] != b"INFO" or position + 8 > len(body):
                break
            name, size = struct.unpack_from(f"{chunks.order}4sI", body, position)
            text = body[position + 8 : position + 8 + size].split(b"\0", 1)[0]
            if name in _INFO:
                found.setdefault(_INFO[name], _decoded(text))
            position += 8 + size + size % 2
    return found


def _decoded(text: bytes) -> str:
    """Return a text; UTF-8 where it is that, else Latin-1, which is never wrong."""
    try:
        return text.decode("utf-8")
    except UnicodeDecodeError:
        return text.decode("latin-1")


def _read_loudness(file: IO[bytes], chunks: ChunkList) -> TagLoudness:
    chunk = chunks.first(b"bext")
    body = read_body(file, chunk, _BEXT.size) if chunk is not None else b""
    if len(body) < _BEXT.size:
        return TagLoudness()
    version = struct.unpack_from(f"{chunks.order}H", body, _VERSION_AT)[0]
    if version < _WITH_LOUDNESS:
        return TagLoudness()
    steps = struct.unpack_from(f"{chunks.order}5h", body, _LOUDNESS_AT)
    told = {name: step / 100.0 for name, step in zip(_LOUDNESS, steps, strict=True) if step != _NOT_TOLD}
    return TagLoudness(**told)
