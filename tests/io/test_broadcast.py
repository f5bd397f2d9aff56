# SPDX-License-Identifier: Apache-2.0
"""What stands beside the audio: broadcast extension, iXML, marks."""

from __future__ import annotations

import struct
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from malformed import TAG, UNKNOWN, chunk, ds64, fmt, long_riff, noise, riff
from mixwright.io.broadcast import Broadcast, BroadcastLoudness, Mark, Texts, read_broadcast

NOT_SET = 0x7FFF


def bext(version: int = 2, loudness: tuple[int, ...] = (-2310, 740, -104, -1850, -2005)) -> bytes:
    """Every field at its offset in EBU Tech 3285 version 2, Table 1."""
    body = bytearray(602)

    def put(offset: int, value: bytes) -> None:
        body[offset : offset + len(value)] = value

    put(0, b"Lead, verse")
    put(256, b"Invented recorder")
    put(288, b"REF0001")
    put(320, b"2024-02-29")
    put(330, b"23:59:58")
    put(338, struct.pack("<II", 5, 1))
    put(346, struct.pack("<H", version))
    put(348, bytes(range(64)))
    put(412, struct.pack("<5h", *loudness))
    return bytes(body) + b"A=PCM,F=48000,W=24,M=mono\r\nA=PCM,F=48000,W=16,M=mono\r\n\0"


IXML = """<?xml version="1.0" encoding="UTF-8"?>
<BWFXML><IXML_VERSION>2.0</IXML_VERSION><PROJECT>Invented caf\u00e9</PROJECT><SCENE>1A</SCENE><TAKE>3</TAKE>
<NOTE>quiet &lt; loud</NOTE><SPEED><FILE_SAMPLE_RATE>48000</FILE_SAMPLE_RATE></SPEED><TRACK_LIST>
<TRACK><CHANNEL_INDEX>1</CHANNEL_INDEX><NAME>Boom</NAME></TRACK><TRACK><NAME>Lav</NAME></TRACK></TRACK_LIST></BWFXML>"""


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
    return read_broadcast(path)


def test_every_field_of_the_broadcast_extension(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", chunk(b"bext", bext()), chunk(b"data", noise(1))).extension
    assert found is not None
    assert (found.description, found.originator, found.originator_reference) == (
        "Lead, verse",
        "Invented recorder",
        "REF0001",
    )
    assert (found.origination_date, found.origination_time) == ("2024-02-29", "23:59:58")
    assert found.time_reference_frames == 2**32 + 5
    assert (found.version, found.umid) == (2, bytes(range(64)))
    assert found.loudness == BroadcastLoudness(-23.1, 7.4, -1.04, -18.5, -20.05)
    assert found.coding_history == ("A=PCM,F=48000,W=24,M=mono", "A=PCM,F=48000,W=16,M=mono")


def test_loudness_that_is_not_set(tmp_path: Path) -> None:
    unset = (NOT_SET, 740, NOT_SET, NOT_SET, NOT_SET)
    found = read(tmp_path / "a.wav", chunk(b"bext", bext(loudness=unset))).extension
    assert found is not None
    assert found.loudness == BroadcastLoudness(range_lu=7.4)
    old = read(tmp_path / "b.wav", chunk(b"bext", bext(version=1))).extension
    assert old is not None
    assert old.loudness == BroadcastLoudness()  # version 1 has no such fields: what stands there is reserved


def test_notes_of_the_session(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", chunk(b"iXML", IXML.encode() + b"\0\0")).notes
    assert found is not None
    assert (found.project, found.scene, found.take, found.tape) == ("Invented caf\u00e9", "1A", "3", "")
    assert (found.note, found.rate_hz, found.tracks) == ("quiet < loud", 48000, ("Boom", "Lav"))


LAUGHS = b'<!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;&b;&b;">]><BWFXML><PROJECT>&c;</PROJECT></BWFXML>'
OUTSIDE = b'<!DOCTYPE a SYSTEM "file:///etc/passwd"><BWFXML><PROJECT>x</PROJECT></BWFXML>'
WIDE = b"<BWFXML>" + b"<" + b"n" * 400_000 + b">" + b"<a/>" * 50_000


@pytest.mark.parametrize("text", [LAUGHS, OUTSIDE, b"<a>" * 1000, b"<BWFXML>", b"no xml", b"\xff\xfe\0", WIDE])
def test_hostile_notes_are_not_read(tmp_path: Path, text: bytes) -> None:
    assert read(tmp_path / "a.wav", chunk(b"iXML", text)).notes is None


def test_the_encoding_that_notes_name_is_not_looked_up(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", chunk(b"iXML", IXML.replace("UTF-8", "rot13").encode())).notes
    assert found is not None
    assert found.project == "Invented caf\u00e9"


def test_marks_with_labels_and_lengths(tmp_path: Path) -> None:
    found = read(tmp_path / "a.wav", cue((7, 96000), (2, 480)), chunk(b"data", noise(1)), adtl())
    assert found.marks == (Mark(480), Mark(96000, "Chorus", 4800))


def test_counts_that_lie(tmp_path: Path) -> None:
    assert len(read(tmp_path / "a.wav", cue((1, 5), (2, 6), count=UNKNOWN)).marks) == 2
    endless = chunk(b"LIST", b"adtl" + chunk(b"labl", struct.pack("<I", 1) + b"x", UNKNOWN))
    assert read(tmp_path / "b.wav", cue((1, 5)), endless).marks == (Mark(5, "x"),)


def test_bw64_has_them_too_and_text_of_no_known_encoding_is_kept(tmp_path: Path) -> None:
    body = bext().replace(b"Lead, verse", b"Caf\xe9 verse!")
    data = noise(1)
    path = tmp_path / "a.wav"
    path.write_bytes(
        long_riff(b"BW64", ds64(len(data)), fmt(), chunk(b"data", data, UNKNOWN), chunk(b"bext", body[:602]))
    )
    found = read_broadcast(path).extension
    assert found is not None
    assert (found.description, found.coding_history) == ("Caf\u00e9 verse!", ())


def test_a_tag_in_front_hides_nothing(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(TAG + riff(fmt(), chunk(b"data", noise(1)), cue((1, 77))))
    assert read_broadcast(path).marks == (Mark(77),)


def test_texts_of_riff(tmp_path: Path) -> None:
    entries = (
        (b"INAM", b"Night ferry\0"),
        (b"IART", b"Invented caf\xc3\xa9\0"),
        (b"ICRD", b"2024-02-29"),
        (b"INAM", b"x"),
    )
    info = chunk(b"LIST", b"INFO" + b"".join(chunk(name, body) for name, body in entries))
    found = read(tmp_path / "a.wav", chunk(b"data", noise(1)), adtl(), info).texts
    assert found == Texts(title="Night ferry", artist="Invented caf\u00e9", date="2024-02-29")
    cut = chunk(b"LIST", b"INFO" + chunk(b"ICMT", b"half", UNKNOWN))
    assert read(tmp_path / "a.wav", chunk(b"data", noise(1)), cut).texts == Texts(comment="half")


def aiff(*chunks: bytes) -> bytes:
    body = b"AIFF" + b"".join(chunks)
    return b"FORM" + struct.pack(">I", len(body)) + body


def test_texts_and_marks_of_aiff(tmp_path: Path) -> None:
    # AIFF 1.3, from memory: names are Pascal strings filled up to an even number of bytes with their length.
    marks = struct.pack(">HhIB", 2, 1, 9600, 6) + b"Chorus\0" + struct.pack(">hIB", 2, 480, 5) + b"Verse"
    comment = struct.pack(">HIhH", 1, 0, 0, 6) + b"louder"
    parts = ((b"NAME", b"Night ferry"), (b"AUTH", b"Nobody"), (b"MARK", marks), (b"COMT", comment))
    (tmp_path / "a.aiff").write_bytes(aiff(*(chunk(name, body, order=">") for name, body in parts)))
    found = read_broadcast(tmp_path / "a.aiff")
    assert found.marks == (Mark(480, "Verse"), Mark(9600, "Chorus"))
    assert found.texts == Texts(title="Night ferry", artist="Nobody", comment="louder")
    (tmp_path / "a.aiff").write_bytes(aiff(chunk(b"MARK", b"\xff\xff" + marks[2:16], order=">")))
    assert read_broadcast(tmp_path / "a.aiff") == Broadcast(marks=(Mark(9600, "Chorus"),))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([b"MARK", b"NAME", b"COMT", b"ANNO"]), st.binary(max_size=300))))
def test_any_bytes_of_aiff_are_read_or_not(
    tmp_path_factory: pytest.TempPathFactory, bodies: list[tuple[bytes, bytes]]
) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.aiff"
    path.write_bytes(aiff(*(chunk(name, body, order=">") for name, body in bodies)))
    assert all(mark.frame >= 0 for mark in read_broadcast(path).marks)


def test_nothing_beside_the_audio(tmp_path: Path) -> None:
    assert read(tmp_path / "a.wav", chunk(b"data", noise(1)), chunk(b"bext", bytes(601))) == Broadcast()
    (tmp_path / "b.wav").write_bytes(b"no audio")
    assert read_broadcast(tmp_path / "b.wav") == Broadcast()


def test_no_more_lists_are_read_than_are_used(tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    with path.open("wb") as file:
        file.write(riff(fmt(), chunk(b"data", noise(1)), size=UNKNOWN))
        for _ in range(40):  # a megabyte each, with nothing in them on the disk
            file.write(struct.pack("<4sI4s", b"LIST", 1 << 20, b"adtl"))
            file.truncate(file.seek((1 << 20) - 4, 1))
    tracemalloc.start()
    assert read_broadcast(path).marks == ()
    peak_bytes = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak_bytes < 25 << 20


@settings(max_examples=200, deadline=None)
@given(st.lists(st.tuples(st.sampled_from([b"bext", b"iXML", b"cue ", b"LIST", b"data"]), st.binary(max_size=700))))
def test_any_bytes_are_read_or_not(tmp_path_factory: pytest.TempPathFactory, bodies: list[tuple[bytes, bytes]]) -> None:
    path = tmp_path_factory.getbasetemp() / "fuzz.wav"
    path.write_bytes(riff(*(chunk(name, body) for name, body in bodies)))
    found = read_broadcast(path)
    assert all(mark.frame >= 0 for mark in found.marks)
