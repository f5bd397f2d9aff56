# SPDX-License-Identifier: Apache-2.0
"""Tagged files: what is read of their tags, and the same files tagged again."""

from __future__ import annotations

import random
import struct
from pathlib import Path

import msgspec
import numpy as np
import soundfile

from fuzz.target import EDGES, MAX_BYTES, Target, Try, mutated_bytes
from mixwright.errors import OutputError
from mixwright.io.tags import read_tags, tag_file
from mixwright.io.write import write_wav
from mixwright.model.tags import Credit, Marker, TagLoudness, Tags, clean_tags

_RATE_HZ, _FRAMES = 48000, 4800
_TAGS = Tags(
    title="Night & Day",
    print="A cappella",
    artist="Ada É",
    album="b",
    kind="a_cappella",
    isrc="QZABC2600001",
    date="2026",
    bpm=99.0,
    comment="one",
    software="s",
    credits=(Credit(role="composer", name="Ada"), Credit(role="bass", name="Bo")),
    loudness=TagLoudness(integrated_lufs=-14.0),
    markers=(Marker(name="verse", frame=0), Marker(name="chorus", frame=2400)),
)
_MARKS = (
    b"ID3",
    b"TIT2",
    b"TIPL",
    b"COMM",
    b"CHAP",
    b"fLaC",
    b"OggS",
    b"OpusTags",
    b"vorbis",
    b"id3 ",
    b"LIST",
    b"cue ",
)
_KINDS = (("flac", "FLAC", "PCM_16"), ("opus", "OGG", "OPUS"), ("ogg", "OGG", "VORBIS"), ("mp3", "MP3", None))


def seeds(folder: Path) -> list[bytes]:
    """Return a small file of every kind, tagged, and with what others write."""
    sound = np.random.default_rng(3).normal(0.0, 0.05, (_FRAMES, 1))
    path, found = folder / "seed", []
    write_wav(path, [sound], rate_hz=_RATE_HZ, channels=1, frames=_FRAMES, sample_format="pcm16", tags=_TAGS)
    found.append(path.read_bytes()[:4000])
    for _, container, subtype in _KINDS:
        with soundfile.SoundFile(path, "w", _RATE_HZ, 1, subtype, format=container) as file:
            file.title, file.comment = "other", "x" * 300
            file.write(sound)
        found.append(path.read_bytes())
        if subtype != "VORBIS":
            tag_file(path, _TAGS, frames=_FRAMES)
            found.append(path.read_bytes())
    wide = "\ufeffSong".encode("utf-16-le") + b"\0\0" + "\ufeffmore".encode("utf-16-le")
    frame = b"TPE1" + struct.pack(">IH", len(wide) + 1, 0) + b"\1" + wide
    old = b"ID3\3\0\x40\0\0\1\0" + struct.pack(">IHI", 6, 0, 0) + frame + bytes(118 - len(frame))
    return [*found, old + found[-1][128:]]


def mutate(data: bytes, rng: random.Random) -> bytes:
    """Return a file with a size, a count or a mark changed, or any bytes."""
    found = [at for at in (data.find(mark) for mark in _MARKS) if at >= 0]
    if not found or rng.random() < 0.4:
        return mutated_bytes(data, rng)
    content = bytearray(data)
    place = rng.choice(found)
    if rng.random() < 0.2:
        content[place : place + 4] = rng.choice(_MARKS)[:4]
    else:
        at, width = place + rng.randrange(4, 40), rng.choice((1, 2, 4))
        number = rng.choice(EDGES) & ((1 << 8 * width) - 1)
        content[at : at + width] = number.to_bytes(width, rng.choice(("little", "big")))
    return bytes(content[:MAX_BYTES])


def open_tags(folder: Path) -> Try:
    """Return what reads the tags of a file, and writes others."""
    path = folder / "tagged"

    def attempt(data: bytes) -> None:
        path.write_bytes(data)
        found = read_tags(path)
        if found is None:
            return
        assert found == clean_tags(found)
        assert msgspec.json.decode(msgspec.json.encode(found), type=Tags) == found
        try:
            tag_file(path, _TAGS, frames=_FRAMES)
        except OutputError:
            assert path.read_bytes() == data
            return
        again = read_tags(path)
        assert again is not None
        assert (again.title, again.credits, again.isrc) == (_TAGS.title, _TAGS.credits, _TAGS.isrc)

    return attempt


def _seeds() -> list[bytes]:
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        return seeds(Path(folder))


TAGS = Target("tags", _seeds, mutate, open_tags)
