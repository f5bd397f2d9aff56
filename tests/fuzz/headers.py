# SPDX-License-Identifier: Apache-2.0
"""Heads of audio files: what is read of them in Python, and the same files through the decoding child."""

from __future__ import annotations

import atexit
import io
import random
import struct
from pathlib import Path

import numpy as np
import soundfile

from fuzz.target import EDGES, MAX_BYTES, Target, Try, mutated_bytes
from malformed import UNKNOWN, aiff, chunk, ds64, fmt, long_riff, noise, riff
from mixwright.errors import InputError
from mixwright.intake.faults import header_faults, stamp_faults
from mixwright.intake.listening import listen
from mixwright.io.broadcast import Broadcast, read_broadcast
from mixwright.io.chunks import MAX_CHUNKS
from mixwright.io.decode import Decoder
from mixwright.io.header import Header, read_header
from mixwright.io.view import sound_wave

FRAMES = 60
_NOTES = (
    b'<?xml version="1.0" encoding="UTF-8"?><BWFXML><PROJECT>p</PROJECT><SPEED><FILE_SAMPLE_RATE>48000'
    b"</FILE_SAMPLE_RATE></SPEED><TRACK_LIST><TRACK><NAME>Kick &amp; co</NAME></TRACK></TRACK_LIST></BWFXML>"
)
_NAMES = (b"fmt ", b"data", b"ds64", b"LIST", b"cue ", b"bext", b"iXML", b"COMM", b"SSND", b"fact", b"RIFX", b"BW64")
_W64_TAIL = bytes.fromhex("f3acd3118cd100c04f8edb8a")


def _bext() -> bytes:
    texts = struct.pack("<256s32s32s10s8s", b"a take", b"recorder", b"r1", b"2026-07-01", b"10:00:00")
    return texts + struct.pack("<IIH64s5h180x", 48000, 1, 2, bytes(64), -2300, 800, -100, -1900, 0x7FFF) + b"A=PCM\r\n"


def _w64() -> bytes:
    data = noise(3, FRAMES)

    def part(name: bytes, body: bytes) -> bytes:
        return name + _W64_TAIL + struct.pack("<Q", 24 + len(body)) + body + bytes(-len(body) % 8)

    rest = b"wave" + _W64_TAIL + part(b"fmt ", fmt()[8:]) + part(b"junk", b"abc") + part(b"data", data)
    return b"riff" + bytes.fromhex("2e91cf11a5d628db04c10000") + struct.pack("<Q", 24 + len(rest)) + rest


def _written(container: str, subtype: str) -> bytes:
    """Return a sound written by libsndfile."""
    into = io.BytesIO()
    sound = np.random.default_rng(7).normal(0, 0.1, (4 * FRAMES, 1))
    soundfile.write(into, sound, 48000, format=container, subtype=subtype)
    return into.getvalue()


def seeds() -> list[bytes]:
    """Return a small file of every container and of every chunk that is read."""
    audio = chunk(b"data", noise(1, FRAMES))
    marks = chunk(b"cue ", struct.pack("<I", 2) + struct.pack("<II4sIII", 1, 0, b"data", 0, 0, 30) * 2)
    label = chunk(b"labl", struct.pack("<I", 1) + b"verse\0")
    length = chunk(b"ltxt", struct.pack("<II", 1, 10) + bytes(12))
    long = chunk(b"data", noise(2, FRAMES), UNKNOWN)
    table = struct.pack("<4sQ", b"junk", 8)
    return [
        riff(fmt(), audio),
        riff(fmt(2, bits=24), chunk(b"data", bytes(6 * FRAMES))),
        riff(chunk(b"bext", _bext()), fmt(), chunk(b"iXML", _NOTES), audio),
        riff(fmt(), marks, chunk(b"LIST", b"adtl" + label + length), audio, chunk(b"LIST", b"INFOINAM\2\0\0\0a\0")),
        riff(chunk(b"fmt ", struct.pack("<HHIIHHHHIH14x", 0xFFFE, 2, 48000, 192000, 4, 16, 22, 16, 3, 1)), audio),
        long_riff(b"RF64", ds64(2 * FRAMES, table), fmt(), chunk(b"junk", bytes(8), UNKNOWN), long),
        long_riff(b"BW64", ds64(2 * FRAMES), chunk(b"chna", bytes(44)), fmt(), long, chunk(b"axml", b"<a/>")),
        riff(fmt(), chunk(b"data", noise(1, FRAMES), 0)),
        _w64(),
        aiff(FRAMES, noise(4, FRAMES)),
        b"ID3\x04\0\0\0\0\x01\0" + bytes(128) + riff(fmt(), audio),
        struct.pack(">4sI8s", b"\0\0\0\x18", 0x66747970, b"M4A \0\0\0\0") + bytes(64),
        b"<!doctype html><html>",
        *(
            _written(*kind)
            for kind in (
                ("WAV", "DOUBLE"), ("WAV", "FLOAT"), ("WAV", "ULAW"), ("WAV", "IMA_ADPCM"), ("AIFF", "PCM_24"),
                ("AIFF", "FLOAT"), ("AIFF", "ULAW"), ("AIFF", "DOUBLE"), ("CAF", "PCM_16"), ("CAF", "FLOAT"),
                ("FLAC", "PCM_16"),
                ("OGG", "VORBIS"), ("OGG", "OPUS"), ("MP3", "MPEG_LAYER_III"), ("W64", "PCM_24"), ("RF64", "FLOAT"),
            )
        ),
    ]  # fmt: skip


def mutate(data: bytes, rng: random.Random) -> bytes:
    """Return a file with a change that knows of chunks, or of none."""
    at = [data.find(name) for name in _NAMES]
    found = [place for place in at if place >= 0]
    content = bytearray(data)
    kind = rng.randrange(6)
    if kind == 0 and found:  # a size
        place = rng.choice(found) + rng.choice((4, 4, 16))
        width = rng.choice((4, 4, 8))
        size = rng.choice((*EDGES, UNKNOWN, len(data), len(data) - place)) & ((1 << 8 * width) - 1)
        content[place : place + width] = size.to_bytes(width, rng.choice(("little", "little", "big")))
    elif kind == 1 and found:  # a name
        place = rng.choice(found)
        content[place : place + 4] = rng.choice(_NAMES)
    elif kind == 2 and found:  # a chunk moved or doubled
        place = rng.choice(found)
        size = min(int.from_bytes(data[place + 4 : place + 8], "little") + 8, len(data))
        piece = bytes(content[place : place + size])
        if rng.random() < 0.5:
            del content[place : place + size]
        to = rng.choice((12, 36, len(content), rng.choice(found)))
        content[to:to] = piece * rng.choice((1, 1, 2, 20))
    elif kind == 3 and found:  # a field of the format or of a count
        place = rng.choice(found) + 8 + rng.choice(range(0, 40, 2))
        width = rng.choice((2, 4))
        content[place : place + width] = (rng.choice((*EDGES, UNKNOWN)) & ((1 << 8 * width) - 1)).to_bytes(
            width, "little"
        )
    else:
        return mutated_bytes(data, rng)
    return bytes(content[:MAX_BYTES])


def _is_line(text: str) -> bool:
    return text.isprintable() and len(text) < 200


def open_headers(folder: Path) -> Try:
    """Return what reads a head in every way that Python does."""
    del folder

    def attempt(data: bytes) -> None:
        header = read_header(io.BytesIO(data))
        if header is not None:
            _check_header(header, data)
            if header.chunks is not None:
                _check_broadcast(read_broadcast(io.BytesIO(data), header.chunks))

    return attempt


def _check_header(header: Header, data: bytes) -> None:
    assert header.frames is None or header.frames >= 0
    assert all(map(_is_line, header.disagreements))
    if header.chunks is None:
        return
    assert len(header.chunks.chunks) <= MAX_CHUNKS
    for one in header.chunks.chunks:
        assert one.held <= len(data) - min(one.start, len(data))
        assert one.size is None or one.held <= one.size
        assert _is_line(one.label)
    if header.uncompressed:
        audio = header.chunks.first(b"data")
        assert audio is not None
        view = sound_wave(io.BytesIO(data), header.chunks)
        assert view.read().endswith(data[audio.start : audio.start + audio.held])


def _check_broadcast(found: Broadcast) -> None:
    assert len(found.marks) <= 1000
    assert len(found.channels) <= 1000
    assert all(len(text) <= 250 for text in (*found.channels, *(mark.label for mark in found.marks)))


def open_audio(folder: Path) -> Try:
    """Return what decodes a file, listens to it and lists its faults, as `start` and `check` do."""
    decoder = Decoder(1, silent_limit_s=5.0)
    atexit.register(decoder.close)
    path, into = folder / "a.wav", folder / "a.npy"

    def attempt(data: bytes) -> None:
        path.write_bytes(data)
        try:
            info = decoder.decode(path, into)
        except InputError as error:
            assert _is_one_line(str(error)), str(error)
            assert "crash" not in error.message, error.message
            return
        audio = np.load(into)
        assert audio.shape == (info.frames, info.channels)
        again = decoder.probe(path)
        assert again.disagreements == info.disagreements
        for fault in (*header_faults(info), *stamp_faults([info])[0]):
            assert fault.detail.isprintable()
        if audio.size < 1 << 18:
            listen(audio, info.sample_rate_hz)

    return attempt


def _is_one_line(text: str) -> bool:
    return "\n" not in text and len(text) < 1000


HEADERS = Target("headers", seeds, mutate, open_headers)
AUDIO = Target("audio", seeds, mutate, open_audio)
