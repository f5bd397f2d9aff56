# SPDX-License-Identifier: Apache-2.0
"""What stands beside the audio: time stamp, names of channels, marks."""

from __future__ import annotations

import struct
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from malformed import TAG, UNKNOWN, chunk, ds64, fmt, long_riff, noise, riff
from mixwright.io.broadcast import Broadcast, Mark, read_broadcast
from mixwright.io.header import read_header


def bext() -> bytes:
    """Fields at their offsets in EBU Tech 3285 version 2, Table 1."""
    body = bytearray(602)

    def put(offset: int, value: bytes) -> None:
        body[offset : offset + len(value)] = value

    put(0, b"Lead, verse")
    put(320, b"2024-02-29")
    put(330, b"23:59:58")
    put(338, struct.pack("<II", 5, 1))
    put(346, struct.pack("<H", 2))
    return bytes(body) + b"A=PCM,F=48000,W=24,M=mono\r\n\0"


IXML = """<?xml version="1.0" encoding="UTF-8"?>
<BWFXML><IXML_VERSION>2.0</IXML_VERSION><PROJECT>Invented caf\u00e9</PROJECT><SCENE>1A</SCENE><TAKE>3</TAKE>
<NOTE>quiet &lt; loud</NOTE><SPEED><FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE></SPEED><TRACK_LIST>
<TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><NAME>Boom</NAME></TRACK><TRACK><NAME>Caf\u00e9 mic</NAME></TRACK>
</TRACK_LIST></BWFXML>"""


def cue(*points: tuple[int, int], count: int | None = None) -> bytes:
    body = b"".join(struct.pack("<II4sIII", number, 0, b"data", 0, 0, frame) for number, frame in points)
    return chunk(b"cue ", struct.pack("<I", len(points) if count is None else count) + body)


def adtl() -> bytes:
    label = chunk(b"labl", struct.pack("<I", 7) + b"Chorus\0")
    note = chunk(b"note", struct.pack("<I", 7) + b"louder\0")
    length = chunk(b"ltxt", struct.pack("<II4s4H", 7, 4800, b"rgn ", 0, 0, 0, 0))
    return chunk(b"LIST", b"adtl" + label + note + length)


def read(path: Path, *chunks: bytes) -> Broadcast:
    path.write_bytes(riff(fmt(), *chunks))
    return read_path(path)


def read_path(path: Path) -> Broadcast:
    with path.open("rb") as file:
        header = read_header(file)
        return Broadcast() if header is None or header.chunks is None else read_broadcast(file, header.chunks)


def test_the_time_stamp(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", chunk(b"bext", bext()), chunk(b"data", noise(1)))
    assert found == Broadcast(time_stamp_frames=2**32 + 5)


def test_names_of_channels(tmp_path: Path) -> None:
    assert read(tmp_path / "a.wav", chunk(b"iXML", IXML.encode() + b"\0\0")).channels == ("Boom", "Caf\u00e9 mic")


LAUGHS = b'<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;&b;">]><BWFXML><PROJECT>&c;</PROJECT></BWFXML>'
OUTSIDE = b'<!DOCTYPE a SYSTEM "file:///etc/passwd"><BWFXML><PROJECT>x</PROJECT></BWFXML>'
WIDE = b"<BWFXML>" + b"<" + b"n" * 400_000 + b">" + b"<a/>" * 50_000


@pytest.mark.parametrize("text", [LAUGHS, OUTSIDE, b"<a>" * 1000, b"<BWFXML>", b"no xml", b"\xff\xfe\0", WIDE])
def test_hostile_notes_are_not_read(tmp_path: Path, text: bytes) -> None:
    assert read(tmp_path / "a.wav", chunk(b"iXML", text)).channels == ()


def test_the_encoding_that_notes_name_is_not_looked_up(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", chunk(b"iXML", IXML.replace("UTF-8", "rot13").encode()))
    assert found.channels == ("Boom", "Caf\u00e9 mic")


def test_marks_with_labels(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", cue((7, 96000), (2, 480)), chunk(b"data", noise(1)), adtl())
    assert found.marks == (Mark(480), Mark(96000, "Chorus"))


def test_counts_that_lie(tmp_path: Path) -> None:
    assert len(read(tmp_path / "a.wav", cue((1, 5), (2, 6), count=UNKNOWN)).marks) == 2
    endless = chunk(b"LIST", b"adtl" + chunk(b"labl", struct.pack("<I", 1) + b"x", UNKNOWN))
    assert read(tmp_path / "b.wav", cue((1, 5)), endless).marks == (Mark(5, "x"),)


def test_bw64_has_them_too_and_text_of_no_known_encoding_is_kept(tmp_path: Path) -> None:
    data, path = noise(1), tmp_path / "a.wav"
    labels = adtl().replace(b"Chorus", b"Caf\xe9 s")
    parts = (ds64(len(data)), fmt(), chunk(b"bext", bext()[:602]), cue((7, 3)), labels, chunk(b"data", data, UNKNOWN))
    path.write_bytes(long_riff(b"BW64", *parts))
    assert read_path(path) == Broadcast(time_stamp_frames=2**32 + 5, marks=(Mark(3, "Caf\u00e9 s"),))


def test_a_tag_in_front_hides_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(TAG + riff(fmt(), chunk(b"data", noise(1)), cue((1, 77))))
    assert read_path(path).marks == (Mark(77),)


def aiff(*chunks: bytes) -> bytes:
    body = b"AIFF" + b"".join(chunks)
    return b"FORM" + struct.pack(">I", len(body)) + body


def test_marks_of_aiff(tmp_path: Path) -> None:
    # AIFF 1.3, from memory: names are Pascal strings filled up to an even number of bytes with their length.
    marks = struct.pack(">HhIB", 2, 1, 9600, 6) + b"Chorus\0" + struct.pack(">hIB", 2, 480, 5) + b"Verse"
    parts = ((b"NAME", b"Night ferry"), (b"MARK", marks))
    (tmp_path / "a.aiff").write_bytes(aiff(*(chunk(name, body, order=">") for name, body in parts)))
    assert read_path(tmp_path / "a.aiff") == Broadcast(marks=(Mark(480, "Verse"), Mark(9600, "Chorus")))
    (tmp_path / "a.aiff").write_bytes(aiff(chunk(b"MARK", b"\xff\xff" + marks[2:16], order=">")))
    assert read_path(tmp_path / "a.aiff") == Broadcast(marks=(Mark(9600, "Chorus"),))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([b"MARK", b"NAME"]), st.binary(max_size=300))))
def test_any_bytes_of_aiff_are_read_or_not(
    tmp_path_factory: pytest.TempPathFactory, bodies: list[tuple[bytes, bytes]]
) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.aiff"
    path.write_bytes(aiff(*(chunk(name, body, order=">") for name, body in bodies)))
    assert all(mark.frame >= 0 for mark in read_path(path).marks)


def test_nothing_beside_the_audio(tmp_path: Path) -> None:
    assert read(tmp_path / "a.wav", chunk(b"data", noise(1)), chunk(b"bext", bytes(601))) == Broadcast()
    (tmp_path / "b.wav").write_bytes(b"no audio")
    assert read_path(tmp_path / "b.wav") == Broadcast()


def test_no_more_lists_are_read_than_are_used(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    with path.open("wb") as file:
        file.write(riff(fmt(), chunk(b"data", noise(1)), size=UNKNOWN))
        for _ in range(40):  # a megabyte each, with nothing in them on the disk
            file.write(struct.pack("<4sI4s", b"LIST", 1 << 20, b"adtl"))
            file.truncate(file.seek((1 << 20) - 4, 1))
    tracemalloc.start()
    assert read_path(path).marks == ()
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak_bytes < 25 << 20


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([b"bext", b"iXML", b"cue ", b"LIST", b"data"]), st.binary(max_size=700))))
def test_any_bytes_are_read_or_not(tmp_path_factory: pytest.TempPathFactory, bodies: list[tuple[bytes, bytes]]) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.wav"
    path.write_bytes(riff(*(chunk(name, body) for name, body in bodies)))
    found = read_path(path)
    assert all(mark.frame >= 0 for mark in found.marks)
