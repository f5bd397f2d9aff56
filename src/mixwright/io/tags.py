# SPDX-License-Identifier: Apache-2.0
"""What an audio file says of itself, read, and written into compressed files; :mod:`mixwright.io.write` tags WAV."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import IO

from mixwright.errors import InputError, OutputError, printable
from mixwright.io.chunks import read_at
from mixwright.io.flac_blocks import FlacBlocks
from mixwright.io.header import Header, read_header
from mixwright.io.id3 import MOST_BYTES, id3_tag, read_id3
from mixwright.io.ogg import comment_packet, comments_of, rate_of, with_opus_comments
from mixwright.io.replace import replacing
from mixwright.io.vorbis_comments import CommentError, comment_block, read_comments, vendor_of
from mixwright.io.wave_tags import read_wave_tags
from mixwright.jobs.paced_file import PacedFile
from mixwright.model.tags import Tags, clean_tags

_WAVE = ("WAV", "RF64", "BW64")
#: Rates of MPEG audio by the two bits of a frame header: versions 1, 2, 2.5 (ISO/IEC 11172-3 and 13818-3).
_MPEG_HZ = {3: (44100, 48000, 32000), 2: (22050, 24000, 16000), 0: (11025, 12000, 8000)}
_OLD_TAG_BYTES = 128
_PIECE_BYTES = 1 << 20


def read_tags(path: Path) -> Tags | None:
    """Return what a file says of itself: WAV, RF64, BW64, FLAC, Ogg Opus, Ogg Vorbis and MP3.

    Returns
    -------
    Tags or None
        Texts are cleaned as by :func:`mixwright.model.tags.clean_tags`; what a file does not say is at its default.
        None for other files, of which nothing is known.

    Raises
    ------
    InputError
        when the file cannot be read
    """
    try:
        if path.exists() and not path.is_file():
            raise InputError("is not a file (but a folder, a pipe or a device)", where=printable(path))
        with path.open("rb") as file:
            header = read_header(file)
            tags = None if header is None else _tags(file, header)
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror or error})", where=printable(path)) from error
    return None if tags is None else clean_tags(tags)


def _tags(file: IO[bytes], header: Header) -> Tags | None:
    if header.chunks is not None and header.container in _WAVE:
        return read_wave_tags(file, header.chunks)
    if header.container == "MP3":
        return read_id3(read_at(file, 0, min(header.start, MOST_BYTES)), _mpeg_hz(file, header.start))
    try:
        if header.container == "FLAC":
            blocks = FlacBlocks(file, header.start)
            return read_comments(blocks.comments(), blocks.rate_hz)
        if header.container == "OGG":
            file.seek(header.start)
            first, packet, _ = comment_packet(file)
            return read_comments(comments_of(packet), rate_of(first))
    except CommentError:
        return Tags()
    return None


def _mpeg_hz(file: IO[bytes], start: int) -> int:
    head = read_at(file, start, 4)
    return _MPEG_HZ[head[1] >> 3 & 3][head[2] >> 2 & 3]


def tag_file(path: Path, tags: Tags, *, frames: int) -> str:
    """Write tags into a FLAC, Ogg Opus or MP3 file, in place of those it has; it stays whole at any moment.

    The audio stays as it is, to the byte. The same file and tags give the same bytes. Times of marks are told in whole
    milliseconds, loudness and time reference not at all.

    Parameters
    ----------
    path : Path
        The file.
    tags : Tags
        Cleaned here.
    frames : int
        How long its audio is.

    Returns
    -------
    str
        SHA-256 of the file as it is then.

    Raises
    ------
    OutputError
        when it is none of these, is damaged, or cannot be written
    """
    tags = clean_tags(tags)
    digest = hashlib.sha256()
    try:
        with replacing(path) as part, path.open("rb") as file, PacedFile(part) as out:
            for piece in _tagged(file, tags, frames):
                digest.update(piece)
                out.write(piece)
    except OutputError:
        raise
    except OSError as error:
        raise OutputError(f"cannot be tagged ({error.strerror or error})", where=printable(path)) from error
    except CommentError as error:
        raise OutputError(f"cannot be tagged: {error}", where=printable(path)) from error
    return digest.hexdigest()


def _tagged(file: IO[bytes], tags: Tags, frames: int) -> Iterator[bytes]:
    header = read_header(file)
    container = "" if header is None else header.container
    start = 0 if header is None else header.start
    end = file.seek(0, 2)
    if container == "FLAC":
        blocks = FlacBlocks(file, start)
        comments = comment_block(tags, blocks.rate_hz, vendor_of(blocks.comments()))
        yield blocks.with_comments(comments)
        yield from _copied(file, blocks.audio_start, end)
    elif container == "OGG":
        file.seek(start)
        first, packet, _ = comment_packet(file)
        comments = comment_block(tags, rate_of(first), vendor_of(comments_of(packet)))
        file.seek(start)
        yield from with_opus_comments(file, comments, zlib.crc32(comments))
    elif container == "MP3":
        yield id3_tag(tags, _mpeg_hz(file, start), frames)
        # A tag of the first version at the end holds thirty letters of each thing: it would contradict the new one.
        old = end - start >= _OLD_TAG_BYTES and read_at(file, end - _OLD_TAG_BYTES, 3) == b"TAG"
        yield from _copied(file, start, end - _OLD_TAG_BYTES if old else end)
    else:
        raise CommentError("it is neither FLAC nor Ogg nor MP3")


def _copied(file: IO[bytes], start: int, end: int) -> Iterator[bytes]:
    file.seek(start)
    while start < end and (piece := file.read(min(_PIECE_BYTES, end - start))):
        start += len(piece)
        yield piece
