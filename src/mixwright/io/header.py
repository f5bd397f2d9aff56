# SPDX-License-Identifier: Apache-2.0
"""What an audio file is, told by its first bytes, how much audio its header promises, and where the two disagree.

Decoders cut a promise that the file does not keep without a word; here the chunks are walked with 64-bit
arithmetic, a bounded number of steps and no memory taken by declared size. The decoding child imports this module:
it needs the standard library alone.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import IO

from mixwright.io.chunks import MAX_CHUNKS, NOT_HERE, Chunk, ChunkList, read_at, read_body, read_chunks
from mixwright.io.movie import Movie, read_movie
from mixwright.io.wave_format import WaveFormat

#: A product of two lies stays a number of 64 bits.
_MOST_PROMISED = 1 << 62
#: Kinds of compressed audio by their first bytes.
_MARKS = {
    bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c"): "WMA",
    b"\x0b\x77": "AC-3",
    b"\x1aE\xdf\xa3": "Matroska",
    b"wvpk": "WavPack",
    b"MAC ": "APE",
}
#: Kinds of AIFC whose samples are of one size each.
_PLAIN_AIFC = (
    *(b"NONE", b"sowt", b"twos", b"raw ", b"in24", b"in32", b"42ni", b"23ni"),
    *(b"fl32", b"FL32", b"fl64", b"FL64", b"ulaw", b"ULAW", b"alaw", b"ALAW"),
)
#: Kinds of samples that a Core Audio file may hold and the library of plain formats decodes.
_PLAIN_CAF = (b"lpcm", b"ulaw", b"alaw", b"alac")


@dataclass(frozen=True)
class Header:
    """What the header says: container, and promised frames (None when it does not say).

    `disagreements`: where header and file do not go together, other than in the number of frames, in words.
    `chunks`: of a container that has them. `uncompressed`: they tell where samples of a known size lie in WAVE.
    `layout`: what a WAVE file says of its samples. `movie`: what an MP4 file says of its audio. `compressed`: its audio
    takes a decoder of its own. `start`: where it begins, after tags in front.
    """

    container: str
    frames: int | None = None
    disagreements: tuple[str, ...] = ()
    chunks: ChunkList | None = None
    uncompressed: bool = False
    layout: WaveFormat | None = None
    movie: Movie | None = None
    compressed: bool = False
    start: int = 0


def read_header(file: IO[bytes]) -> Header | None:
    """Return what a file says of itself; None when it is no audio that is known here."""
    end = file.seek(0, 2)
    start = _after_tags(file, end)
    header = _header(file, start, end)
    return None if header is None else replace(header, start=start)


def _header(file: IO[bytes], start: int, end: int) -> Header | None:
    head = read_at(file, start, 40)
    chunks = read_chunks(file, start)
    if chunks is not None:
        return _aiff(file, chunks) if chunks.container in ("AIFF", "AIFC") else _wave(file, chunks)
    if head[:4] == b"caff":
        return _caf(file, start, end)
    if head[:4] == b"fLaC":
        return Header("FLAC")
    if head[:4] == b"OggS":
        return Header("OGG")
    if head[4:8] == b"ftyp":
        movie = read_movie(file, start)
        return Header("MP4", disagreements=movie.disagreements, movie=movie, compressed=True)
    if _is_mpeg_frame(head):
        return Header("MP3")
    if _is_adts_frame(head):
        return Header("AAC", compressed=True)
    return next((Header(name, compressed=True) for mark, name in _MARKS.items() if head.startswith(mark)), None)


def is_archive(start: bytes) -> bool:
    """Tell whether the first bytes of a file are those of an archive: ZIP, RAR, 7z, gzip."""
    return start.lower().startswith((b"pk\x03\x04", b"pk\x05\x06", b"rar!", b"7z\xbc\xaf", b"\x1f\x8b"))


def _after_tags(file: IO[bytes], end: int) -> int:
    """Skip ID3v2 tags in front (ID3v2.4.0, section 3.1)."""
    position = 0
    for _ in range(MAX_CHUNKS):
        size = id3_bytes(read_at(file, position, 10))
        position += size
        if not size or position >= end:
            break
    return position


def id3_bytes(head: bytes) -> int:
    """Return how long an ID3v2 tag says it is, with head and foot, by its first ten bytes; 0 where there is none."""
    if len(head) < 10 or head[:3] != b"ID3" or any(byte > 127 for byte in head[6:10]):
        return 0
    return 10 + seven_bits(head[6:10]) + (10 if head[5] & 0x10 else 0)


def seven_bits(four: bytes) -> int:
    """Return a size of four times seven bits (ID3v2.4.0, section 6.2)."""
    return four[0] << 21 | four[1] << 14 | four[2] << 7 | four[3]


def _is_mpeg_frame(head: bytes) -> bool:
    """Tell whether a frame header of MPEG audio stands here (ISO/IEC 11172-3, 2.4.2.3): no reserved value."""
    if len(head) < 4 or head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return False
    version, layer = head[1] >> 3 & 3, head[1] >> 1 & 3
    bitrate, rate = head[2] >> 4, head[2] >> 2 & 3
    return version != 1 and layer != 0 and bitrate not in (0, 15) and rate != 3


def _is_adts_frame(head: bytes) -> bool:
    """Tell whether a frame of AAC without a container stands here (ISO/IEC 13818-7, 6.2): a known rate, a length."""
    return (
        len(head) >= 7
        and head[0] == 0xFF
        and head[1] & 0xF6 == 0xF0
        and head[2] >> 2 & 15 < 13
        and (head[3] & 3) << 11 | head[4] << 3 | head[5] >> 5 > 7
    )


def _wave(file: IO[bytes], chunks: ChunkList) -> Header:
    """Read WAVE in any of its containers: `fmt ` tells what a frame is, `data` holds them."""
    data, layout = chunks.first(b"data"), WaveFormat.read(file, chunks)
    said = [*_of_all_chunks(file, chunks), *_of_order(chunks)]
    if data is not None and layout is not None:
        said += _of_audio(data, layout)
    frames = None
    if data is not None and data.size is not None and layout is not None and layout.frame_bytes:
        frames = data.size // layout.frame_bytes
    uncompressed = data is not None and layout is not None and layout.frame_bytes > 0
    return Header(chunks.container, frames, tuple(said), chunks, uncompressed, layout)


def _of_all_chunks(file: IO[bytes], chunks: ChunkList) -> Iterator[str]:
    """Say what is wrong with the list itself. Audio that was cut is told by its frames."""
    if chunks.container != "W64" and chunks.size in (0, NOT_HERE) and chunks.container not in ("RF64", "BW64"):
        yield "its header does not say how long the file is: perhaps it was not closed when it was written"
    for chunk in chunks.chunks:
        if chunk.cut and chunk.name not in (b"data", b"SSND"):
            yield f"its chunk '{chunk.label}' claims {chunk.size} bytes, {chunk.held} are there"
    if chunks.unpadded:
        yield "a byte is missing behind a chunk of odd length"
    if chunks.unlisted:
        yield f"it has more than {MAX_CHUNKS} chunks; the others are not looked at"
    # Both lists begin with a count: marks of 24 bytes, and sizes of long chunks, 12 bytes each.
    for name, what, count_at, entry_bytes in ((b"cue ", "marks", 0, 24), (b"ds64", "sizes", 24, 12)):
        counted = chunks.first(name)
        body = read_body(file, counted, count_at + 4) if counted is not None else b""
        if counted is not None and len(body) == count_at + 4:
            claimed = struct.unpack_from(f"{chunks.order}I", body, count_at)[0]
            fit = (counted.held - len(body)) // entry_bytes
            if claimed > fit:
                yield f"its list of {what} claims {claimed}, {fit} are there"


def _of_order(chunks: ChunkList) -> Iterator[str]:
    """Say which chunks are missing, too many or in the wrong place."""
    names = [chunk.name for chunk in chunks.chunks]
    layouts, audio = names.count(b"fmt "), names.count(b"data")
    if chunks.container in ("RF64", "BW64") and b"ds64" not in names[:1]:
        yield "it has no chunk 'ds64' with its sizes"
    if not chunks.unlisted and not layouts:
        yield "its header does not say in which format its audio is"
    if not chunks.unlisted and not audio:
        yield "it holds no chunk of audio"
    if audio > 1:
        yield f"it has {audio} chunks of audio, of which only the first is read"
    if layouts and audio and names.index(b"fmt ") > names.index(b"data"):
        yield "its format is told only behind its audio"


def _of_audio(data: Chunk, layout: WaveFormat) -> Iterator[str]:
    """Say where format and audio do not go together."""
    if data.size is None:
        yield "its header does not say how much audio it holds: it is read to the end"
    if not layout.frame_bytes:
        return
    yield from layout.disagreements()
    if layout.block_align != layout.frame_bytes:
        yield f"its header gives a frame {layout.block_align} bytes, its samples take {layout.frame_bytes}"
    if (left := data.held % layout.frame_bytes) and not data.cut:
        yield f"its audio ends within a frame: {left} bytes are left over"


def _aiff(file: IO[bytes], chunks: ChunkList) -> Header:
    """Read AIFF and AIFC: `COMM` counts the frames, `SSND` holds them. Of compressed kinds some count packets."""
    common = chunks.first(b"COMM")
    body = read_body(file, common, 22) if common is not None else b""
    said = list(_of_all_chunks(file, chunks))
    if chunks.first(b"SSND") is None:
        said.append("it holds no chunk of audio")
    counts_frames = len(body) >= 8 and (chunks.container == "AIFF" or body[18:22] in _PLAIN_AIFC)
    frames = struct.unpack(">I", body[2:6])[0] if counts_frames else None
    return Header(chunks.container, frames, tuple(said), chunks)


def _caf(file: IO[bytes], start: int, end: int) -> Header:
    position = start + 8
    packet_bytes, packet_frames, compressed = 0, 0, False
    for _ in range(MAX_CHUNKS):
        head = read_at(file, position, 12)
        if len(head) < 12:
            break
        name, size = struct.unpack(">4sq", head)
        if name == b"desc":
            body = read_at(file, position + 12, 32)
            if len(body) == 32:
                packet_bytes, packet_frames = struct.unpack(">II", body[16:24])
                compressed = body[8:12] not in _PLAIN_CAF
        elif name == b"data":
            known = size >= 4 and packet_bytes and packet_frames
            frames = (size - 4) // packet_bytes * packet_frames if known else None
            return Header("CAF", None if frames is None else min(frames, _MOST_PROMISED), compressed=compressed)
        if size < 0:
            break
        position += 12 + size
        if position >= end:
            break
    return Header("CAF", compressed=compressed)
