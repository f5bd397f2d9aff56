# SPDX-License-Identifier: Apache-2.0
"""Kinds of samples and speakers, as the headers of files name them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from malformed import FRAMES, PLAIN, chunk, extensible, fmt, noise, riff
from mixwright.io.decode import Decoder
from mixwright.io.wave_format import SPEAKERS


@pytest.fixture(scope="module")
def decoder() -> Iterator[Decoder]:
    with Decoder(1) as opened:
        yield opened


def test_bits_that_count_stand_at_the_top(tmp_path: Path, decoder: Decoder) -> None:
    # 20 bits in three bytes, the lowest four zero: WAVEFORMATEXTENSIBLE aligns what counts to the left.
    codes = np.random.default_rng(3).integers(-(2**19), 2**19, FRAMES)
    body = b"".join(int(code << 4).to_bytes(3, "little", signed=True) for code in codes)
    (tmp_path / "a").write_bytes(riff(extensible(1, 24, valid=20), chunk(b"data", body)))
    info = decoder.decode(tmp_path / "a", tmp_path / "a.npy")
    assert (info.encoding, info.bits) == ("pcm24", 20)
    np.testing.assert_array_equal(np.load(tmp_path / "a.npy")[:, 0], (codes / 2**19).astype(np.float32))


def test_extensible_holds_what_plain_holds(tmp_path: Path, decoder: Decoder) -> None:
    data = chunk(b"data", noise(8, 2 * FRAMES))
    (tmp_path / "a").write_bytes(riff(fmt(2), data))
    (tmp_path / "b").write_bytes(riff(extensible(2, mask=3), data))
    plain = decoder.decode(tmp_path / "a", tmp_path / "a.npy")
    named = decoder.decode(tmp_path / "b", tmp_path / "b.npy")
    assert (plain.speakers, named.speakers) == ((), ("front left", "front right"))
    assert named.disagreements == ()
    np.testing.assert_array_equal(np.load(tmp_path / "a.npy"), np.load(tmp_path / "b.npy"))


# Bits of dwChannelMask (Microsoft, from memory): 5.1 with sides is 0x60F, 7.1 is 0x63F.
@pytest.mark.parametrize(
    ("mask", "speakers"),
    [
        (0x60F, ("front left", "front right", "centre", "low frequency", "side left", "side right")),
        (0x3F000, tuple(SPEAKERS[12:])),
        (0x80000003, ("front left", "front right")),
    ],
)
def test_speakers_of_a_mask(tmp_path: Path, decoder: Decoder, mask: int, speakers: tuple[str, ...]) -> None:
    (tmp_path / "a").write_bytes(riff(extensible(6, mask=mask), chunk(b"data", noise(9, 6 * 100))))
    info = decoder.probe(tmp_path / "a")
    assert (info.channels, info.frames, info.speakers) == (6, 100, speakers)
    assert bool(info.disagreements) == (mask == 0x80000003)


@pytest.mark.parametrize("form", ["AIFF", "CAF", "FLAC", "WAV", "W64", "RF64"])
def test_many_channels_of_any_format_are_read(tmp_path: Path, decoder: Decoder, form: str) -> None:
    audio = np.random.default_rng(2).uniform(-0.5, 0.5, (500, 6))
    soundfile.write(tmp_path / "a", audio, 48000, format=form, subtype="PCM_24")
    info = decoder.decode(tmp_path / "a", tmp_path / "a.npy")
    assert (info.channels, info.frames) == (6, 500)
    # RFC 9639, section 9.1.3: six channels of FLAC are left, right, centre, LFE, back left, back right.
    # The library writes RF64 as extensible, with the mask of 5.1; the others do not name speakers.
    assert info.speakers == (tuple(SPEAKERS[:6]) if form in ("FLAC", "RF64") else ())
    np.testing.assert_allclose(np.load(tmp_path / "a.npy"), audio, atol=2**-22)


def test_a_big_endian_file_is_told_by_the_same_identifier(tmp_path: Path, decoder: Decoder) -> None:
    body = extensible(kind="12345678" + PLAIN)[8:]
    swapped = bytearray()
    for size in (2, 2, 4, 4, 2, 2, 2, 2, 4, 4, 2, 2):
        swapped += body[len(swapped) : len(swapped) + size][::-1]
    head = b"RIFX" + (200).to_bytes(4) + b"WAVE" + chunk(b"fmt ", bytes(swapped) + body[-8:], order=">")
    (tmp_path / "a").write_bytes(head + chunk(b"data", bytes(100), order=">"))
    with pytest.raises(ValueError, match=f"12345678{PLAIN}"):
        decoder.probe(tmp_path / "a")
