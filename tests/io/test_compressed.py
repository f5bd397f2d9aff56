# SPDX-License-Identifier: Apache-2.0
"""Compressed audio that takes PyAV or `ffmpeg`: length and start to the sample, limits, and what is said without."""

from __future__ import annotations

import contextlib
import os
import stat
import struct
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from mixwright.app.start import start
from mixwright.errors import FileFormatError, LimitError, NoDecoderError
from mixwright.io import compressed, decode
from mixwright.io.decode import Decoder
from mixwright.io.header import read_header
from mixwright.io.limits import Limits
from mixwright.io.movie import Movie, _boxes, read_movie
from mixwright.model.audio import AudioInfo

RATE_HZ = 44100
FRAMES = 50_001  # no multiple of the 1024 frames of an AAC packet
CLICK = 40_000


def click() -> np.ndarray:
    audio = 0.01 * np.sin(2 * np.pi * 440 / RATE_HZ * np.arange(FRAMES))[:, None] * [1.0, 0.5]
    audio[CLICK] = 0.8
    return audio


def encoded(path: Path, codec: str, container: str, rate_hz: int = RATE_HZ, **options: str) -> Path:
    av: Any = pytest.importorskip("av", reason="PyAV is not installed: pip install mixwright[aac]")
    with av.open(str(path), "w", format=container, options=options) as out:
        stream = out.add_stream(codec, rate=rate_hz, layout="stereo")
        stream.bit_rate = 192_000
        frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(click().T, np.float32), "fltp", "stereo")
        frame.sample_rate, frame.pts = rate_hz, 0
        for part in (frame, None):
            out.mux(stream.encode(part))
    return path


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder(1) as opened:
        yield opened


def decoded(decoder: Decoder, path: Path) -> tuple[AudioInfo, np.ndarray]:
    info = decoder.decode(path, path.with_suffix(".npy"))
    return info, np.load(path.with_suffix(".npy"))


def where_the_click_is(audio: np.ndarray) -> int:
    return 20_000 + int(np.argmax(np.abs(audio[20_000:, 0])))


@pytest.mark.parametrize(
    ("codec", "container", "rate_hz", "named"),
    [
        ("aac", "ipod", RATE_HZ, ("MP4", "aac")),
        ("alac", "ipod", RATE_HZ, ("MP4", "alac")),
        ("wavpack", "wv", RATE_HZ, ("WavPack", "wavpack")),
        ("libopus", "matroska", 48000, ("Matroska", "opus")),
    ],
)
def test_length_and_start_are_right(
    tmp_path: Path, decoder: Decoder, codec: str, container: str, rate_hz: int, named: tuple[str, str]
) -> None:
    path = encoded(tmp_path / "looks like.wav", codec, container, rate_hz)
    info, audio = decoded(decoder, path)
    assert (info.container, info.encoding) == named
    assert (info.sample_rate_hz, info.channels, info.frames) == (rate_hz, 2, FRAMES)
    assert (info.header_frames, info.disagreements, info.start_known) == (None, (), True)
    assert audio.shape == (FRAMES, 2)
    assert where_the_click_is(audio) == CLICK
    assert audio[CLICK] == pytest.approx(0.8, abs=0.2)
    assert decoder.probe(path).channels == 2
    if codec in ("alac", "wavpack"):  # 16 and 8 bits here: nothing is lost but their rounding
        np.testing.assert_allclose(audio, click(), atol=2**-15 if codec == "alac" else 2**-7)


@pytest.mark.parametrize(("codec", "container", "named"), [("aac", "adts", "AAC"), ("ac3", "ac3", "AC-3")])
def test_what_does_not_tell_where_it_starts_says_so(
    tmp_path: Path, decoder: Decoder, codec: str, container: str, named: str
) -> None:
    info, audio = decoded(decoder, encoded(tmp_path / "a", codec, container))
    assert (info.container, info.start_known, info.header_frames) == (named, False, None)
    assert 0 < where_the_click_is(audio) - CLICK <= 1024  # what the encoder put in front is still there


def box(name: bytes, *parts: bytes) -> bytes:
    body = b"".join(parts)
    return struct.pack(">I", 8 + len(body)) + name + body


def note(delay: int, padding: int, frames: int) -> bytes:
    """`iTunSMPB` as Apple's encoders write it (from memory)."""
    text = f" 00000000 {delay:08X} {padding:08X} {frames:016X} 00000000"
    parts = box(b"mean", bytes(4), b"com.apple.iTunes"), box(b"name", bytes(4), b"iTunSMPB")
    return box(b"----", *parts, box(b"data", struct.pack(">II", 1, 0), text.encode()))


def movie(tmp_path: Path, *, edits: bytes = b"", notes: bytes = b"", scale: int = RATE_HZ, packets: int = 50) -> Movie:
    """The boxes of ISO/IEC 14496-12 around no audio at all; a track of so many packets of 1024 frames."""
    sizes = box(b"stts", struct.pack(">IIII", 0, 1, packets, 1024))
    media = (
        box(b"mdhd", struct.pack(">IIIIII", 0, 0, 0, RATE_HZ, packets * 1024, 0)),
        box(b"hdlr", bytes(8), b"soun", bytes(12)),
        box(b"minf", box(b"stbl", sizes)),
    )
    track = box(b"trak", box(b"edts", edits) if edits else b"", box(b"mdia", *media))
    user = box(b"udta", box(b"meta", bytes(4), box(b"ilst", notes))) if notes else b""
    path = tmp_path / "a.m4a"
    head = box(b"mvhd", struct.pack(">IIIII", 0, 0, 0, scale, 0))
    path.write_bytes(box(b"ftyp", b"M4A ") + box(b"mdat", bytes(9)) + box(b"moov", head, track, user))
    with path.open("rb") as file:
        header = read_header(file)
        assert header is not None
        assert header.movie == read_movie(file, 0)
        return header.movie


def edit(*entries: tuple[int, int]) -> bytes:
    return box(b"elst", struct.pack(">II", 0, len(entries)), *(struct.pack(">Iii", *one, 1 << 16) for one in entries))


def frames(told: Movie) -> float | None:
    return None if told.length_s is None else float(told.length_s * RATE_HZ)


def test_the_boxes_tell_how_long_it_is(tmp_path: Path) -> None:
    whole = 50 * 1024
    assert (frames(movie(tmp_path)), movie(tmp_path).start_known) == (whole, False)
    # The edit list counts in frames of the audio, or more coarsely: then nothing may be lost by rounding.
    exact = movie(tmp_path, edits=edit((FRAMES, 1024)))
    assert (frames(exact), exact.start_known) == (FRAMES, True)
    coarse = movie(tmp_path, edits=edit((int(600 * 49_000 / RATE_HZ), 1024)), scale=600)
    assert 49_000 <= (frames(coarse) or 0) < 49_000 + 2 * RATE_HZ / 600
    apple = movie(tmp_path, notes=note(2112, whole - 2112 - 48_000, 48_000))
    assert (frames(apple), apple.start_known) == (48_000, True)
    # A note that leaves out more than any encoder pads is about something else.
    assert frames(movie(tmp_path, notes=note(0, 0, 3))) == whole


def test_what_the_boxes_hold_beside_is_said(tmp_path: Path) -> None:
    pause = movie(tmp_path, edits=edit((500, -1), (FRAMES, 1024)))
    assert (frames(pause), pause.disagreements) == (FRAMES, ("its edit list starts with a pause, which is left out",))
    parts = movie(tmp_path, edits=edit((500, 1024), (500, 9000)))
    assert "2 parts" in parts.disagreements[0]


def test_boxes_that_lie_are_bounded(tmp_path: Path) -> None:
    path = tmp_path / "a"
    for content in (
        box(b"moov") * 20_000,
        struct.pack(">I", 8) + b"moov" + struct.pack(">I", 2**31) + b"trak" + struct.pack(">IQ", 1, 2**63) * 9,
        b"".join(struct.pack(">I", 2**30) + b"moov" for _ in range(5000)),
        box(b"moov", box(b"trak", box(b"stts", struct.pack(">II", 0, 2**32 - 1)))),
    ):
        path.write_bytes(box(b"ftyp", b"M4A ") + content)
        with path.open("rb") as file:
            told = read_movie(file, 0)
            assert sum(1 for _ in _boxes(file, 0, len(path.read_bytes()))) <= 4000
        assert told.length_s is None
        assert told.disagreements


@pytest.mark.parametrize("edits", ["0", "1"])
def test_a_note_is_followed_with_an_edit_list_and_without(tmp_path: Path, decoder: Decoder, edits: str) -> None:
    path = encoded(tmp_path / "a.m4a", "aac", "ipod", use_editlist=edits)
    content = path.read_bytes()
    at = content.index(b"moov") - 4
    moov, size = content[at:], int.from_bytes(content[at : at + 4])
    assert len(moov) == size  # it stands at the end, so that nothing behind it moves
    handler = box(b"hdlr", bytes(8), b"mdirappl", bytes(9))
    user = box(b"udta", box(b"meta", bytes(4), handler, box(b"ilst", note(1024, 175, FRAMES))))
    moov = moov.replace(b"udta", b"free")
    path.write_bytes(content[:at] + struct.pack(">I", size + len(user)) + moov[4:] + user)
    info, audio = decoded(decoder, path)
    assert (info.frames, info.start_known) == (FRAMES, True)
    assert where_the_click_is(audio) == CLICK


def test_a_cut_file_is_told(tmp_path: Path, decoder: Decoder) -> None:
    path = encoded(tmp_path / "a.m4a", "aac", "ipod", movflags="+faststart")
    path.write_bytes(path.read_bytes()[:-4000])
    info, audio = decoded(decoder, path)
    assert info.header_frames == FRAMES
    assert 1024 < info.frames == len(audio) < FRAMES


def test_damage_and_limits(tmp_path: Path, decoder: Decoder) -> None:
    path = encoded(tmp_path / "a.m4a", "aac", "ipod")
    with Decoder(1, limits=Limits(hours=1.0 / 3600)) as strict, pytest.raises(LimitError, match="MAX_HOURS"):
        strict.probe(path)
    content = bytearray(path.read_bytes())
    content[40 : content.index(b"moov") - 8] = os.urandom(content.index(b"moov") - 48)
    path.write_bytes(content)
    with contextlib.suppress(FileFormatError):
        assert decoded(decoder, path)[0].frames <= FRAMES
    # A codec that nobody knows.
    path.write_bytes(path.read_bytes().replace(b"mp4a", b"????").replace(b"esds", b"free"))
    with pytest.raises(FileFormatError, match="in a format that is not read"):
        decoder.probe(path)
    path.write_bytes(content[:60])
    with pytest.raises(FileFormatError, match="cannot be decoded"):
        decoder.probe(path)


# The program is played by a script that gives noise in the same form, so that the test needs no ffmpeg.
PLAYED = """#!{python}
import os, struct, sys
given = sys.argv[1:]
source = given[given.index("-i") + 1]
assert source.startswith("file:/"), source
assert given[given.index("-protocol_whitelist") + 1] == "file" and given[given.index("-f") + 1] == "mov"
content = open(source[5:], "rb").read()
if b"refused" in content:
    sys.exit(1)
print("  Duration: 00:00:02.50, start: 0.0", file=sys.stderr)
print("  Stream #0:0: Audio: aac (LC) (mp4a)", file=sys.stderr, flush=True)
out = sys.stdout.buffer
out.write(struct.pack(">4sIIIII", b".snd", 32, 0xFFFFFFFF, 6, 44100, 2) + bytes(8))
out.write(struct.pack(">2f", 0.25, -0.5) * 44100)
out.flush()
if b"damaged" in content:
    os.abort()
"""


@pytest.fixture
def program(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Decoder]:
    """A decoder that finds no PyAV, and a program in its place."""
    folder = tmp_path / "bin"
    folder.mkdir()
    (folder / "ffmpeg").write_text(PLAYED.format(python=sys.executable))
    (folder / "ffmpeg").chmod(stat.S_IRWXU)
    (tmp_path / "hidden" / "av").mkdir(parents=True)
    (tmp_path / "hidden" / "av" / "__init__.py").write_text("raise ImportError")
    monkeypatch.setenv("PATH", str(folder))
    monkeypatch.setenv("PYTHONPATH", str(tmp_path / "hidden"), prepend=os.pathsep)
    with Decoder(1) as opened:
        yield opened


@pytest.mark.skipif(os.name != "posix", reason="the program is a script")
@pytest.mark.parametrize("name", ["-i.m4a", "concat:a|b.m4a", "http:\n.m4a", "%d.wav"])
def test_a_found_program_decodes(tmp_path: Path, program: Decoder, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(box(b"ftyp", b"M4A "))
    info, audio = decoded(program, path)
    assert (info.container, info.encoding, info.sample_rate_hz, info.channels) == ("MP4", "aac", 44100, 2)
    assert info.frames == 44100
    np.testing.assert_array_equal(audio, np.tile(np.float32([0.25, -0.5]), (44100, 1)))
    assert program.probe(path).frames == round(2.5 * 44100)  # as the program says it is likely to be
    path.write_bytes(box(b"ftyp", b"M4A ") + b"damaged")
    info, _ = decoded(program, path)
    assert info.disagreements[1] == "it is damaged after 1.00 s: what follows is not read"
    path.write_bytes(box(b"ftyp", b"M4A ") + b"refused")
    with pytest.raises(FileFormatError, match="no audio track that its boxes tell of"):
        program.probe(path)


@pytest.mark.skipif(os.name != "posix", reason="the program is a script")
def test_without_any_decoder_the_others_make_a_song(
    tmp_path: Path, program: Decoder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    tracks = tmp_path / "tracks"
    tracks.mkdir()
    (tracks / "Voice.m4a").write_bytes(box(b"ftyp", b"M4A "))
    (tracks / "no ending").write_bytes(box(b"ftyp", b"M4A "))
    soundfile.write(tracks / "Kick.wav", click()[:, :1], RATE_HZ)
    result = start(tracks, tmp_path / "song")
    assert [track.use for track in result.tracks] == [True, False, False]
    (fault,) = result.tracks[2].faults
    assert (fault.kind, fault.severity) == ("needs_decoder", "unusable")
    assert 'pip install "mixwright[aac]"' in fault.detail
    assert "ffmpeg" in fault.detail
    assert "Please send no ending and Voice.m4a as WAV, from the start of the song." in result.questions
    with pytest.raises(NoDecoderError, match=r"reference\.m4a: is M4A or MP4, for which no decoder is installed; pip"):
        start(tracks, tmp_path / "other", references=[write_to(tmp_path / "reference.m4a")])


def write_to(path: Path) -> Path:
    path.write_bytes(box(b"ftyp", b"M4A "))
    return path


def test_a_program_in_the_folder_one_is_in_is_not_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "ffmpeg").write_text("#!/bin/sh\n")
    (tmp_path / "ffmpeg").chmod(stat.S_IRWXU)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert compressed._program() == os.path.realpath(tmp_path / "ffmpeg")
    monkeypatch.chdir(tmp_path)
    assert compressed._program() is None
    assert decode._ERRORS["decoder"] is NoDecoderError
