# SPDX-License-Identifier: Apache-2.0
"""Tags of FLAC, Opus and MP3: read back by libsndfile, FFmpeg and a plain parser; the audio stays to the byte."""

from __future__ import annotations

import hashlib
import io
import struct
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings

from mixwright.errors import InputError, OutputError
from mixwright.io.ogg import check_sum
from mixwright.io.tags import read_tags, tag_file
from mixwright.model.tags import Credit, Marker, TagLoudness, Tags, clean_tags, whole_ms
from plain_tags import flac_blocks, id3_chapters, id3_frames, id3_texts, ogg_crc, ogg_pages, vorbis_comments
from strategies import tags as any_tags

RATE_HZ, FRAMES = 48000, 24000
TAGS = Tags(
    title="Harbour & <Lights>",
    print="Instrumental",
    artist="Ada \u00c9xample \u65e5\u672c",
    album="Night Ferry",
    kind="instrumental",
    isrc="QZABC2600002",
    date="2026-07-01",
    bpm=120.0,
    comment="no voices",
    software="Mixwright 0",
    credits=(Credit(role="composer", name="Ada"), Credit(role="bass", name="Bo (x)")),
    markers=(Marker(name="verse \u00e9", frame=0), Marker(name="chorus", frame=12000)),
)
KINDS = {".flac": ("FLAC", "PCM_16"), ".opus": ("OGG", "OPUS"), ".mp3": ("MP3", "MPEG_LAYER_III")}


def encoded(ending: str, frames: int = FRAMES) -> bytes:
    into = io.BytesIO()
    sound = np.random.default_rng(7).normal(0.0, 0.1, (frames, 2))
    with soundfile.SoundFile(into, "w", RATE_HZ, 2, KINDS[ending][1], format=KINDS[ending][0]) as file:
        file.title, file.artist, file.comment = "an old title", "nobody", "gone"
        file.write(sound)
    return into.getvalue()


@pytest.fixture(scope="module")
def sounds() -> dict[str, bytes]:
    return {ending: encoded(ending) for ending in KINDS}


@pytest.fixture(params=KINDS)
def tagged(request: pytest.FixtureRequest, sounds: dict[str, bytes], tmp_path: Path) -> Path:
    path = tmp_path / f"a{request.param}"
    path.write_bytes(sounds[request.param])
    assert tag_file(path, TAGS, frames=FRAMES) == hashlib.sha256(path.read_bytes()).hexdigest()
    return path


def test_they_are_read_back(tagged: Path) -> None:
    assert read_tags(tagged) == TAGS


def test_the_same_tags_again_change_no_byte(tagged: Path) -> None:
    before = tagged.read_bytes()
    tag_file(tagged, TAGS, frames=FRAMES)
    assert tagged.read_bytes() == before
    tag_file(tagged, Tags(title="another"), frames=FRAMES)
    assert read_tags(tagged) == Tags(title="another")


def test_soundfile_reads_text_and_the_same_audio(tagged: Path, sounds: dict[str, bytes]) -> None:
    with soundfile.SoundFile(tagged) as sound:
        assert (sound.title, sound.artist) == ("Harbour & <Lights> (Instrumental)", TAGS.artist)
        assert (sound.album, sound.date, sound.comment) == (TAGS.album, TAGS.date, TAGS.comment)
        found = sound.read()
    np.testing.assert_array_equal(found, soundfile.read(io.BytesIO(sounds[tagged.suffix]))[0])


def test_ffmpeg_reads_it(tagged: Path) -> None:
    av = pytest.importorskip("av", reason="PyAV is not installed: pip install mixwright[aac]")
    with av.open(str(tagged)) as found:
        said = {key.upper(): value for key, value in {**found.streams[0].metadata, **found.metadata}.items()}
        assert (said["TITLE"], said["ARTIST"]) == ("Harbour & <Lights> (Instrumental)", TAGS.artist)
        assert said.get("ISRC") or said["TSRC"] == TAGS.isrc
        assert said["COMPOSER"] == "Ada"
        chapters = [(one["start"], one["metadata"]["title"]) for one in found.chapters()]
        assert chapters == [(0, "verse \u00e9"), (250, "chorus")]
        assert sum(frame.samples for frame in found.decode(audio=0)) >= FRAMES


def comments_of(content: bytes, ending: str) -> tuple[bytes, list[str]]:
    if ending == ".flac":
        return vorbis_comments(next(body for kind, body in flac_blocks(content)[0] if kind == 4))
    packet = next(pieces[0] for _, _, _, number, pieces in ogg_pages(content) if number == 1)
    assert packet[:8] == b"OpusTags"
    return vorbis_comments(packet[8:])


@pytest.mark.parametrize("ending", [".flac", ".opus"])
def test_comments_as_published(sounds: dict[str, bytes], tmp_path: Path, ending: str) -> None:
    path = tmp_path / f"a{ending}"
    path.write_bytes(sounds[ending])
    tag_file(path, TAGS, frames=FRAMES)
    vendor, comments = comments_of(path.read_bytes(), ending)
    assert vendor == comments_of(sounds[ending], ending)[0]  # the encoder's own name
    assert comments == [
        "TITLE=Harbour & <Lights> (Instrumental)",
        "VERSION=Instrumental",
        f"ARTIST={TAGS.artist}",
        "ALBUM=Night Ferry",
        "DATE=2026-07-01",
        "ISRC=QZABC2600002",
        "ENCODER=Mixwright 0",
        "COMMENT=no voices",
        "PRINT_KIND=instrumental",
        "BPM=120",
        "COMPOSER=Ada",
        "PERFORMER=Bo (x) (bass)",
        "CHAPTER000=00:00:00.000",
        "CHAPTER000NAME=verse \u00e9",
        "CHAPTER001=00:00:00.250",
        "CHAPTER001NAME=chorus",
    ]


def test_flac_keeps_all_other_blocks_and_the_audio(sounds: dict[str, bytes], tmp_path: Path) -> None:
    blocks, audio = flac_blocks(sounds[".flac"])
    extra = [(1, bytes(100)), (2, b"test" + b"x" * 9), (6, bytes(32))]  # padding, application, picture
    path = tmp_path / "a.flac"

    def laid(parts: list[tuple[int, bytes]]) -> bytes:
        heads = (bytes([kind | (128 if i == len(parts) - 1 else 0)]) for i, (kind, _) in enumerate(parts))
        joined = (head + len(body).to_bytes(3) + body for head, (_, body) in zip(heads, parts, strict=True))
        return b"fLaC" + b"".join(joined)

    # Old comments may stand anywhere, or be missing; a tag of MP3 in front is not part of the format.
    stream, rest = blocks[0], [block for block in blocks[1:] if block[0] != 4]
    old = next(block for block in blocks if block[0] == 4)
    for before in ([stream, *rest, *extra, old], [stream, *rest, *extra], [stream, old, *rest, *extra]):
        path.write_bytes(b"ID3\4\0\0\0\0\0\2\0\0" + laid(before) + audio)
        tag_file(path, TAGS, frames=FRAMES)
        now, same = flac_blocks(path.read_bytes())
        assert same == audio
        assert [now[0], *now[2:]] == [stream, *rest, *extra]
        assert now[1][0] == 4
        assert read_tags(path) == TAGS
        assert soundfile.info(path).frames == FRAMES


def test_check_sums_of_pages() -> None:
    # Those that libsndfile wrote, and a plain one, bit by bit.
    content = encoded(".opus", 4800)
    assert ogg_pages(content)
    for page in (b"OggS" + bytes(30), bytes(range(256)) * 3):
        assert check_sum(page) == ogg_crc(page)


@pytest.mark.parametrize("length", [0, 200, 255, 254, 5000, 65_030, 70_000, 300_000])
def test_comments_of_any_length_are_paged(sounds: dict[str, bytes], tmp_path: Path, length: int) -> None:
    # RFC 7845, section 3: the header packets end their pages; RFC 3533: a page without an end of a packet has position
    # -1, a packet of a multiple of 255 ends with an empty segment, continued pages say so, numbers count on.
    path = tmp_path / "a.opus"
    path.write_bytes(sounds[".opus"])
    each = 240
    credits_ = tuple(Credit(role="r", name="n" * each) for _ in range(min(150, length // each)))
    markers = tuple(Marker(name="m" * 245, frame=i) for i in range(max(0, length - 40_000) // 290))
    tags = Tags(title="t" * min(length, 250), credits=credits_, markers=markers)
    tag_file(path, tags, frames=FRAMES)
    pages = ogg_pages(path.read_bytes(), check_sums=8)
    assert [number for _, _, _, number, _ in pages] == list(range(len(pages)))
    assert len({serial for _, _, serial, _, _ in pages}) == 1
    first_audio = next(i for i, page in enumerate(pages) if page[1] > 0)
    heads = pages[1:first_audio]
    assert [flags for flags, *_ in pages[: first_audio + 1]] == [2, 0, *[1] * (len(heads) - 1), 0]
    assert [position for _, position, *_ in heads] == [*[-1] * (len(heads) - 1), 0]
    before = ogg_pages(sounds[".opus"])
    was = next(i for i, page in enumerate(before) if page[1] > 0)
    assert [page[4] for page in pages[first_audio:]] == [page[4] for page in before[was:]]
    assert [page[:2] for page in pages[first_audio:]] == [page[:2] for page in before[was:]]
    found = read_tags(path)
    assert found is not None
    assert (found.title, found.credits, len(found.markers)) == (tags.title, credits_, len(markers))
    assert soundfile.info(path).frames == FRAMES


def test_encoders_draw_lots_but_the_file_does_not_show_it(tmp_path: Path) -> None:
    for name in ("a.opus", "b.opus"):
        (tmp_path / name).write_bytes(encoded(".opus", 4800))
        tag_file(tmp_path / name, TAGS, frames=4800)
    assert (tmp_path / "a.opus").read_bytes() == (tmp_path / "b.opus").read_bytes()


def test_id3_as_published(sounds: dict[str, bytes], tmp_path: Path) -> None:
    path = tmp_path / "a.mp3"
    path.write_bytes(sounds[".mp3"])
    assert sounds[".mp3"][-128:-125] == b"TAG"  # the encoder wrote an old title there
    tag_file(path, TAGS, frames=FRAMES)
    content = path.read_bytes()
    frames = id3_frames(content)
    texts = {name: id3_texts(frames, name) for name, _ in frames if name[0] == "T"}
    assert texts == {
        "TIT2": ["Harbour & <Lights> (Instrumental)"],
        "TIT3": ["Instrumental"],
        "TPE1": [TAGS.artist],
        "TALB": ["Night Ferry"],
        "TDRC": ["2026-07-01"],
        "TSRC": ["QZABC2600002"],
        "TSSE": ["Mixwright 0"],
        "TBPM": ["120"],
        "TCOM": ["Ada"],
        "TIPL": ["composer", "Ada", "bass", "Bo (x)"],
        "TXXX": ["PRINT_KIND", "instrumental"],
    }
    assert dict(frames)["COMM"] == b"\3XXX\0no voices"
    assert id3_chapters(frames) == [("verse \u00e9", 0, 250), ("chorus", 250, 500)]
    assert dict(frames)["CTOC"] == b"toc\0\3\2m0\0m1\0"
    assert content[10 + sum(byte << 7 * (3 - i) for i, byte in enumerate(content[6:10])) :] == sounds[".mp3"][:-128]


def frame(name: bytes, body: bytes, size: Callable[[int], bytes], flags: bytes = b"\0\0") -> bytes:
    return name + size(len(body)) + flags + body


def plain(size: int) -> bytes:
    return struct.pack(">I", size)


def seven(size: int) -> bytes:
    return bytes(size >> shift & 127 for shift in (21, 14, 7, 0))


DATE = frame(b"TDRC", b"\x032026", seven)


@pytest.mark.parametrize(
    ("version", "flags", "frames"),
    [
        (3, 0, frame(b"TIT2", b"\1\xff\xfeH\0i\0", plain) + frame(b"TYER", b"\x002026", plain)),
        (3, 0, frame(b"TIT2", b"\1\xfe\xff\0H\0i", plain) + frame(b"TYER", b"\x002026\0", plain)),
        (3, 0x40, plain(6) + bytes(6) + frame(b"TIT2", b"\0Hi\0", plain) + frame(b"TYER", b"\x002026", plain)),
        (3, 0x80, frame(b"TIT2", b"\1\xff\0\xfeH\0i\0", lambda _: plain(7)) + frame(b"TYER", b"\x002026", plain)),
        (4, 0, frame(b"TIT2", b"\2\0H\0i\0\0", seven) + DATE),
        (4, 0x40, seven(6) + b"\1\0" + frame(b"TIT2", b"\3Hi", seven) + DATE),
        (4, 0, frame(b"TIT2", plain(3) + b"\3Hi", seven, b"\0\1") + DATE),
        (4, 0, frame(b"TALB", b"zip", seven, b"\0\x08") + frame(b"TIT2", b"\3Hi", seven) + DATE),
        (4, 0, frame(b"PRIV", bytes(9), seven) + frame(b"TIT2", b"\3Hi\0no", seven) + DATE),
    ],
)  # fmt: skip
def test_tags_of_others(sounds: dict[str, bytes], tmp_path: Path, version: int, flags: int, frames: bytes) -> None:
    # ID3v2.3.0 and 2.4.0: encodings 0 to 3, extended headers, unsynchronisation, data length indicators, compression.
    body = frames + bytes(50)
    path = tmp_path / "a.mp3"
    path.write_bytes(b"ID3" + bytes([version, 0, flags]) + seven(len(body)) + body + sounds[".mp3"])
    assert read_tags(path) == Tags(title="Hi", date="2026")


def expected(tags: Tags, ending: str) -> Tags:
    """What such a file keeps: times in whole milliseconds, tempo of MP3 in whole beats; no loudness, no time."""
    tags = clean_tags(tags)
    markers = [msgspec.structs.replace(one, frame=round(whole_ms(one.frame, RATE_HZ) * 48)) for one in tags.markers]
    bpm, credits_ = tags.bpm, tags.credits
    if bpm is not None:
        bpm = float(round(bpm)) if ending == ".mp3" else float(f"{bpm:g}")
    own = {"composer", "lyricist", "arranger", "producer", "conductor"}
    if ending != ".mp3":
        credits_ = tuple(
            msgspec.structs.replace(one, role=one.role.casefold()) if one.role.casefold() in own else one
            for one in credits_
        )
    return msgspec.structs.replace(
        tags, markers=tuple(markers), bpm=bpm, credits=credits_, loudness=TagLoudness(), time_reference_frames=0
    )


@pytest.mark.parametrize("ending", KINDS)
@settings(max_examples=20, deadline=None)
@given(tags=any_tags(FRAMES))
def test_round_trip(
    sounds: dict[str, bytes], tmp_path_factory: pytest.TempPathFactory, ending: str, tags: Tags
) -> None:
    path = tmp_path_factory.getbasetemp() / f"round{ending}"
    path.write_bytes(sounds[ending])
    tag_file(path, tags, frames=FRAMES)
    assert read_tags(path) == expected(tags, ending)
    assert soundfile.info(path).frames == FRAMES


def test_what_cannot_be_tagged_stays_as_it_is(sounds: dict[str, bytes], tmp_path: Path) -> None:
    path = tmp_path / "a"
    opus = sounds[".opus"]
    for content in (b"", b"text", sounds[".flac"][:60], opus[:-9], opus + b"x" * 30, opus + encoded(".opus", 960)):
        path.write_bytes(content)
        with pytest.raises(OutputError, match="cannot be tagged"):
            tag_file(path, TAGS, frames=FRAMES)
        assert path.read_bytes() == content
        assert [one.name for one in tmp_path.iterdir()] == ["a"]
    with pytest.raises(OutputError, match=r"cannot be tagged \(No such file"):
        tag_file(tmp_path / "absent.mp3", TAGS, frames=FRAMES)


def test_files_without_tags_and_files_of_which_nothing_is_known(tmp_path: Path) -> None:
    path = tmp_path / "a"
    soundfile.write(path, np.zeros((99, 1)), 48000, format="WAV")
    assert read_tags(path) == Tags()
    soundfile.write(path, np.zeros((99, 1)), 48000, format="AIFF")
    assert read_tags(path) is None
    path.write_bytes(b"no audio")
    assert read_tags(path) is None
    with pytest.raises(InputError, match="cannot be read"):
        read_tags(tmp_path / "absent")
    with pytest.raises(InputError, match="is not a file"):
        read_tags(tmp_path)
