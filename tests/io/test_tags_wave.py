# SPDX-License-Identifier: Apache-2.0
"""Tags of WAV and RF64: each chunk as published, read back by libsndfile, FFmpeg and a plain parser."""

from __future__ import annotations

import hashlib
import struct
from pathlib import Path
from xml.etree import ElementTree

import msgspec
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings

from malformed import chunk, fmt, noise, riff
from mixwright.io.tags import read_tags
from mixwright.io.wave_tags import wave_chunks
from mixwright.io.write import SampleFormat, wav_header, write_wav
from mixwright.model.tags import MOST_FRAMES, Credit, Marker, TagLoudness, Tags, clean_tags
from plain_tags import cue_points, id3_frames, id3_texts, list_entries, riff_chunks
from strategies import tags as any_tags

RATE_HZ, FRAMES = 48000, 4801
TAGS = Tags(
    title="Harbour & <Lights>",
    print="Instrumental",
    artist="Ada \u00c9xample \u65e5\u672c",
    album="Night Ferry",
    kind="instrumental",
    isrc="QZABC2600002",
    date="2026-07-01",
    bpm=119.6,
    comment="no voices",
    software="Mixwright 0",
    credits=(Credit(role="Composer", name="Ada"), Credit(role="bass (DI)", name="Bo")),
    time_reference_frames=2**33 + 5,
    loudness=TagLoudness(
        integrated_lufs=-14.236, range_lu=6.1, true_peak_dbtp=-1.0, momentary_max_lufs=-9.994, short_term_max_lufs=None
    ),
    markers=(Marker(name="verse \u00e9", frame=0), Marker(name="", frame=7), Marker(name="chorus", frame=FRAMES)),
)


def write(path: Path, tags: Tags | None, sample_format: SampleFormat = "pcm24", channels: int = 2) -> bytes:
    audio = np.random.default_rng(5).normal(0.0, 0.1, (FRAMES, channels))
    written = write_wav(
        path, [audio], rate_hz=RATE_HZ, channels=channels, frames=FRAMES, sample_format=sample_format, tags=tags
    )
    content = path.read_bytes()
    assert written.sha256 == hashlib.sha256(content).hexdigest()
    return content


@pytest.fixture(scope="module")
def tagged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[bytes, bytes], bytes]:
    """A tagged file, its chunks but LIST adtl by name, and the body of that."""
    path = tmp_path_factory.mktemp("tags") / "a.wav"
    chunks = riff_chunks(write(path, TAGS))
    (adtl,) = [body for name, body in chunks if name == b"LIST" and body[:4] == b"adtl"]
    return path, {name: body for name, body in chunks if body != adtl}, adtl


def test_chunks_stand_in_order_and_sizes_fit(tagged: tuple[Path, dict[bytes, bytes], bytes]) -> None:
    content = tagged[0].read_bytes()
    names = [name for name, _ in riff_chunks(content)]
    assert names == [b"fmt ", b"bext", b"iXML", b"LIST", b"cue ", b"LIST", b"id3 ", b"data"]
    assert struct.unpack_from("<I", content, 4)[0] == len(content) - 8


def test_bext_as_published(tagged: tuple[Path, dict[bytes, bytes], bytes]) -> None:
    # EBU Tech 3285 version 2, Table 1: offsets of the fields, hundredths, 0x7FFF for what is not told (from memory).
    body = tagged[1][b"bext"]
    texts = [body[a:b].rstrip(b"\0") for a, b in ((0, 256), (256, 288), (288, 320), (320, 330), (330, 338))]
    described = b"Ada Example ?? - Harbour & <Lights> (Instrumental) - no voices"
    assert texts == [described, b"Mixwright 0", b"QZABC2600002", b"2026-07-01", b""]
    assert struct.unpack_from("<IIH", body, 338) == (5, 2, 2)
    assert body[348:412] == bytes(64)
    assert struct.unpack_from("<5h", body, 412) == (-1424, 610, -100, -999, 0x7FFF)
    assert body[422:602] == bytes(180)
    assert body[602:].rstrip(b"\0") == b"A=PCM,F=48000,W=24,M=stereo\r\n"


def test_bext_as_libsndfile_reads_it(tagged: tuple[Path, dict[bytes, bytes], bytes]) -> None:
    # SFC_GET_BROADCAST_INFO (0x10F0) of libsndfile fills SF_BROADCAST_INFO (sndfile.h), in which the compiler puts two
    # bytes before the time reference.
    with soundfile.SoundFile(tagged[0]) as sound:
        info = soundfile._ffi.new("char[]", 2048)
        assert soundfile._snd.sf_command(sound._file, 0x10F0, info, 864) == 1
        found = bytes(soundfile._ffi.buffer(info, 864))
    assert found[256:288].rstrip(b"\0") == b"Mixwright 0"
    assert struct.unpack_from("<IIh", found, 340) == (5, 2, 2)
    assert struct.unpack_from("<5h", found, 414) == (-1424, 610, -100, -999, 0x7FFF)
    size = struct.unpack_from("<I", found, 604)[0]
    assert found[608 : 608 + size].startswith(b"A=PCM,F=48000,W=24,M=stereo\r\n")


@pytest.mark.parametrize(
    ("value", "steps"),
    [(-23.005, -2300), (-23.015, -2302), (327.66, 32766), (327.67, 0x7FFF), (-400.0, 0x7FFF), (float("inf"), 0x7FFF)],
)
def test_loudness_in_hundredths(value: float, steps: int) -> None:
    tags = Tags(loudness=TagLoudness(range_lu=value))
    body = riff_chunks(bytes(12) + wave_chunks(tags, rate_hz=48000, channels=1, frames=1, bits=16))[0][1]
    # A half step goes to the even one: what the field cannot hold is not told.
    assert struct.unpack_from("<h", body, 414)[0] in (steps, steps - 1)


def test_ixml_is_xml(tagged: tuple[Path, dict[bytes, bytes], bytes]) -> None:
    root = ElementTree.fromstring(tagged[1][b"iXML"])  # the parser of the standard library, on our own file
    found = {element.tag: element.text for element in root.iter()}
    assert root.tag == "BWFXML"
    assert (found["PROJECT"], found["NOTE"]) == (TAGS.title, "Instrumental - no voices")
    assert (found["FILE_SAMPLE_RATE"], found["AUDIO_BIT_DEPTH"], found["TRACK_COUNT"]) == ("48000", "24", "2")
    assert found["TIMESTAMP_SAMPLES_SINCE_MIDNIGHT_HI"] == "2"
    assert [track.findtext("NAME") for track in root.iter("TRACK")] == ["Left", "Right"]


def test_info_cue_points_labels_and_id3(tagged: tuple[Path, dict[bytes, bytes], bytes]) -> None:
    _, chunks, adtl = tagged
    info = {name: bodies[0] for name, bodies in list_entries(chunks[b"LIST"]).items()}
    assert info[b"INAM"] == b"Harbour & <Lights> (Instrumental)\0"
    assert info[b"IART"].decode("utf-8") == TAGS.artist + "\0"
    assert {b"IPRD", b"ICRD", b"ICMT", b"ISFT"} <= set(info)
    points = cue_points(chunks[b"cue "])
    assert points == [(1, 0, b"data", 0), (2, 7, b"data", 7), (3, FRAMES, b"data", FRAMES)]
    labels = [(body[:4], body[4:].decode("utf-8")) for body in list_entries(adtl)[b"labl"]]
    assert labels == [(struct.pack("<I", 1), "verse \u00e9\0"), (struct.pack("<I", 3), "chorus\0")]
    frames = id3_frames(chunks[b"id3 "])
    assert id3_texts(frames, "TIT2") == ["Harbour & <Lights> (Instrumental)"]
    assert id3_texts(frames, "TSRC") == ["QZABC2600002"]
    assert id3_texts(frames, "TIPL") == ["Composer", "Ada", "bass (DI)", "Bo"]
    assert "CHAP" not in dict(frames)  # beside cue points they would be told twice


def test_soundfile_reads_text_and_audio(tagged: tuple[Path, dict[bytes, bytes], bytes], tmp_path: Path) -> None:
    path = tagged[0]
    write(tmp_path / "plain.wav", None)
    np.testing.assert_array_equal(soundfile.read(path)[0], soundfile.read(tmp_path / "plain.wav")[0])
    with soundfile.SoundFile(path) as sound:
        assert sound.title == "Harbour & <Lights> (Instrumental)"
        assert (sound.artist, sound.album, sound.date) == (TAGS.artist, TAGS.album, TAGS.date)
        assert "chorus" in sound.extra_info  # its log of the chunks


def test_ffmpeg_reads_it(tagged: tuple[Path, dict[bytes, bytes], bytes]) -> None:
    av = pytest.importorskip("av", reason="PyAV is not installed: pip install mixwright[aac]")
    with av.open(str(tagged[0])) as found:
        said = found.metadata
        assert (said["title"], said["artist"]) == ("Harbour & <Lights> (Instrumental)", TAGS.artist)
        assert (said["time_reference"], said["TSRC"], said["TIT3"]) == (str(2**33 + 5), TAGS.isrc, "Instrumental")
        chapters = {one["start"]: one["metadata"].get("title") for one in found.chapters()}
        assert chapters == {0: "verse \u00e9", 7: None, FRAMES: "chorus"}


@pytest.mark.parametrize("sample_format", ["pcm16", "pcm24", "float32"])
@pytest.mark.parametrize("channels", [1, 3])
def test_odd_sizes_are_filled_up(tmp_path: Path, sample_format: SampleFormat, channels: int) -> None:
    for length in range(4):
        tags = Tags(title="t" * length, comment="c" * length, markers=(Marker(name="m" * length, frame=0),))
        content = write(tmp_path / f"{length}.wav", tags, sample_format, channels)
        assert len(content) % 2 == 0
        assert struct.unpack_from("<I", content, 4)[0] == len(content) - 8
        chunks = riff_chunks(content)
        assert chunks[-1][0] == b"data"
        assert all(len(body) % 2 == 0 for _, body in chunks[:-1])  # libsndfile 1.2.2 reads no odd ones in RF64
        assert len(chunks[-1][1]) == FRAMES * channels * {"pcm16": 2, "pcm24": 3, "float32": 4}[sample_format]
        assert read_tags(tmp_path / f"{length}.wav") == tags
        assert soundfile.info(tmp_path / f"{length}.wav").frames == FRAMES


def test_rf64_counts_the_chunks_and_holds_the_same_tags(tmp_path: Path) -> None:
    # EBU Tech 3306: `ds64` first. A sparse file: only its head and its last frame take room on the disk.
    def head(frames: int) -> bytes:
        beside = wave_chunks(TAGS, rate_hz=RATE_HZ, channels=2, frames=frames, bits=24)
        return wav_header(frames, 2, RATE_HZ, "pcm24", beside)

    frames = next(n for n in range(2**32 // 6 - 1000, 2**32 // 6) if head(n)[:4] == b"RF64")
    assert len(head(frames - 1)) - 8 + 6 * (frames - 1) < 2**32 - 1  # the last file whose size fits
    content, path = head(frames), tmp_path / "long.wav"
    with path.open("wb") as file:
        file.write(content)
        file.truncate(len(content) + 6 * frames)
    assert riff_chunks(content)[0][0] == b"ds64"
    riff_bytes, data_bytes = struct.unpack_from("<QQ", riff_chunks(content)[0][1])
    assert (riff_bytes, data_bytes) == (path.stat().st_size - 8, 6 * frames)
    assert read_tags(path) == expected(TAGS)
    with soundfile.SoundFile(path) as sound:
        assert (sound.format, sound.frames, sound.artist) == ("RF64", frames, TAGS.artist)


def expected(tags: Tags) -> Tags:
    """What a WAV file keeps of tags: tempo in whole beats, loudness in hundredths."""
    tags = clean_tags(tags)
    steps = {name: getattr(tags.loudness, name) for name in TagLoudness.__struct_fields__}
    loudness = TagLoudness(
        **{name: None if value is None else round(100 * value) / 100 for name, value in steps.items()}
    )
    return msgspec.structs.replace(tags, bpm=None if tags.bpm is None else round(tags.bpm), loudness=loudness)


@settings(max_examples=30, deadline=None)
@given(any_tags(FRAMES))
def test_round_trip(tmp_path_factory: pytest.TempPathFactory, tags: Tags) -> None:
    path = tmp_path_factory.getbasetemp() / "round.wav"
    content = write(path, tags, "pcm16", 1)
    assert read_tags(path) == expected(tags)
    assert write(path, tags, "pcm16", 1) == content
    names = [name for name, _ in riff_chunks(content)]
    assert (names[0], names[-1]) == (b"fmt ", b"data")
    ElementTree.fromstring(dict(riff_chunks(content))[b"iXML"])
    assert soundfile.info(path).frames == FRAMES


def test_what_others_write(tmp_path: Path) -> None:
    # Latin-1 in INFO, no `id3 `, a bext of version 1, in which the bytes of loudness are reserved (EBU Tech 3285).
    info = chunk(b"LIST", b"INFO" + chunk(b"INAM", b"Caf\xe9\0") + chunk(b"IKEY", b"x\0") + chunk(b"IART", b"Bo"))
    bext = bytearray(602)
    bext[346] = 1
    bext[412:414] = struct.pack("<h", -1400)
    path = tmp_path / "a.wav"
    path.write_bytes(riff(fmt(), chunk(b"bext", bytes(bext)), chunk(b"data", noise(1)), info))
    assert read_tags(path) == Tags(title="Caf\u00e9", artist="Bo")
    bext[346] = 2
    path.write_bytes(riff(fmt(), chunk(b"bext", bytes(bext)), chunk(b"data", noise(1))))
    found = read_tags(path)
    assert found is not None
    assert found.loudness.integrated_lufs == -14.0


def test_marks_that_a_cue_point_cannot_tell_are_left_out(tmp_path: Path) -> None:
    behind = Tags(markers=(Marker(name="in", frame=FRAMES), Marker(name="behind", frame=FRAMES + 1)))
    write(tmp_path / "a.wav", behind)
    found = read_tags(tmp_path / "a.wav")
    assert found is not None
    assert [marker.name for marker in found.markers] == ["in"]
    far = Tags(markers=(Marker(name="far", frame=2**32),))
    assert b"cue " not in wave_chunks(far, rate_hz=48000, channels=1, frames=MOST_FRAMES, bits=16)
