# SPDX-License-Identifier: Apache-2.0
"""Stems: decoded once, resampled once, mapped, whatever happens to the cache."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixwright.app.keys import RENDERED_BY
from mixwright.core.resample import resample
from mixwright.errors import FileFormatError, InputError, LimitError
from mixwright.io import stems
from mixwright.io.decode import Decoder
from mixwright.io.stems import DECODED_BY, StemStore
from mixwright.io.write import write_wav
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel
from mixwright.model.audio import AudioInfo

AUDIO = np.random.default_rng(4).uniform(-0.5, 0.5, (70_001, 2)).astype(np.float32)


class CountingDecoder(Decoder):
    """Counts what is decoded."""

    calls = 0

    def decode(self, path: Path, into: Path) -> AudioInfo:
        self.calls += 1
        return super().decode(path, into)


@pytest.fixture(scope="module")
def decoder() -> Iterator[CountingDecoder]:
    with CountingDecoder() as opened:
        yield opened


@pytest.fixture
def store(tmp_path: Path, decoder: CountingDecoder) -> StemStore:
    decoder.calls = 0
    return StemStore(Cache(tmp_path / "cache"), decoder)


@pytest.fixture
def track(tmp_path: Path) -> Path:
    path = tmp_path / "track.wav"
    soundfile.write(path, AUDIO, 44100, subtype="FLOAT")
    return path


def test_own_rate_is_exact_and_mapped(store: StemStore, track: Path) -> None:
    stem = store.open(track)
    assert (stem.rate_hz, stem.info.sample_rate_hz, stem.info.frames) == (44100, 44100, 70_001)
    assert isinstance(stem.audio, np.memmap)
    np.testing.assert_array_equal(stem.audio, AUDIO)


def test_other_rate_is_resampled_once(store: StemStore, track: Path) -> None:
    stem = store.open(track, 48000)
    assert (stem.rate_hz, stem.info.sample_rate_hz) == (48000, 44100)
    assert isinstance(stem.audio, np.memmap)
    np.testing.assert_array_equal(stem.audio, resample(AUDIO, 44100, 48000))
    assert store.open(track, 44100).rate_hz == 44100


def test_same_content_is_decoded_once(store: StemStore, track: Path, tmp_path: Path, decoder: CountingDecoder) -> None:
    store.open(track)
    shutil.copy(track, tmp_path / "copy.wav")
    assert store.open(tmp_path / "copy.wav", 48000).sha256 == store.open(track).sha256
    assert decoder.calls == 1
    soundfile.write(track, AUDIO[:100], 44100, subtype="FLOAT")
    assert store.open(track).audio.shape == (100, 2)
    assert decoder.calls == 2


def test_cache_may_vanish_or_rot(store: StemStore, track: Path, tmp_path: Path) -> None:
    held = store.open(track, 48000)
    shutil.rmtree(tmp_path / "cache")
    np.testing.assert_array_equal(held.audio, store.open(track, 48000).audio)
    for path in (tmp_path / "cache").iterdir():
        path.write_bytes(b"\x93NUMPY rotten")
    np.testing.assert_array_equal(held.audio[:0], store.open(track, 48000).audio[:0])
    np.testing.assert_array_equal(store.open(track, 48000).audio, resample(AUDIO, 44100, 48000))


def test_lost_facts_are_read_again(store: StemStore, track: Path, tmp_path: Path, decoder: CountingDecoder) -> None:
    track.write_bytes(track.read_bytes()[:-80])
    info = store.open(track).info
    assert (info.frames, info.header_frames) == (69_991, 70_001)
    for path in (tmp_path / "cache").glob("*.json"):
        path.unlink()
    assert store.open(track).info == info
    assert decoder.calls == 1


def test_a_file_that_changes_while_it_is_read_is_refused(
    tmp_path: Path, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with StemStore(Cache(tmp_path / "cache")) as store:
        decode = store._decoder.decode

        def meddling(path: Path, into: Path) -> AudioInfo:
            info = decode(path, into)
            os.utime(path, (1, 1))
            return info

        monkeypatch.setattr(store._decoder, "decode", meddling)
        with pytest.raises(InputError, match="changed while it was read"):
            store.open(track)
        assert list((tmp_path / "cache").glob("*.npy")) == []


def test_a_file_that_changes_between_its_digest_and_its_decoding_is_refused(
    tmp_path: Path, track: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The audio of the new file must never lie under the digest of the old one."""
    digest = stems.file_sha256

    def meddling(path: Path, cache: Cache, cancel: Cancel | None) -> str:
        found = digest(path, cache)
        soundfile.write(path, AUDIO[:100], 44100, subtype="FLOAT")
        return found

    monkeypatch.setattr(stems, "file_sha256", meddling)
    with StemStore(Cache(tmp_path / "cache")) as store:
        with pytest.raises(InputError, match="changed while it was read"):
            store.open(track)
        assert list((tmp_path / "cache").glob("*.npy")) == []


def test_faulty_files_leave_nothing_behind(store: StemStore, tmp_path: Path) -> None:
    (tmp_path / "bad.wav").write_bytes(b"not audio")
    with pytest.raises(FileFormatError):
        store.open(tmp_path / "bad.wav")
    with pytest.raises(InputError):
        store.open(tmp_path / "missing.wav")
    assert list((tmp_path / "cache").glob("*.npy")) == []
    assert list((tmp_path / "cache").glob(".*")) == []


def test_rate_limits(store: StemStore, track: Path) -> None:
    with pytest.raises(LimitError):
        store.open(track, 0)


def test_empty_file(store: StemStore, tmp_path: Path) -> None:
    write_wav(tmp_path / "e.wav", [], rate_hz=44100, channels=1, frames=0, sample_format="pcm16")
    assert store.open(tmp_path / "e.wav", 48000).audio.shape == (0, 1)


def test_threads(store: StemStore, track: Path, tmp_path: Path, decoder: CountingDecoder) -> None:
    paths = [track] * 3
    for i in range(3):
        soundfile.write(tmp_path / f"{i}.wav", AUDIO[i:], 44100, subtype="FLOAT")
        paths.append(tmp_path / f"{i}.wav")
    shapes: dict[int, int] = {}

    def work(i: int) -> None:
        shapes[i] = store.open(paths[i], 48000).audio.shape[0]

    threads = [threading.Thread(target=work, args=(i,)) for i in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(shapes) == 6
    assert decoder.calls == 3  # 0.wav holds the same audio as the track


def test_the_key_of_decoded_audio_follows_all_code_that_decodes() -> None:
    told = "import sys, mixwright.io.decoder_child; print(*(name for name in sys.modules if name.count('.') == 2))"
    loaded = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True).stdout.split()
    # Limits and the wording of errors change which files are refused, not what is read of the others.
    deciding = {name for name in loaded if name.startswith("mixwright.")} - {
        "mixwright.io.limits",
        "mixwright.jobs.parts",
    }
    assert deciding == set(DECODED_BY)
    assert set(DECODED_BY) <= set(RENDERED_BY)
