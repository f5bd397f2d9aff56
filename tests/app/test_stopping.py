# SPDX-License-Identifier: Apache-2.0
"""Every long command sees a stop at any moment: looks are close to one another, and none goes on after a thrown switch.

How long a look may be away is counted in frames of audio, never in seconds: the kernels here take far less than a
microsecond a frame.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from made_songs import RATE_HZ, copy_song, make_song, write_audio
from mixwright.app.check import check
from mixwright.app.decide import accept
from mixwright.app.deliver import deliver
from mixwright.app.measure import measure
from mixwright.app.mix import mix
from mixwright.app.plan import plan
from mixwright.app.refresh import refresh
from mixwright.app.start import start
from mixwright.core.align import fit_gain, lag_and_polarity
from mixwright.errors import Cancelled
from mixwright.intake.listening import listen
from mixwright.io import stems
from mixwright.io.decode import Decoder
from mixwright.jobs.progress import Cancel
from mixwright.meter.measure import measure as measure_levels
from mixwright.reference.profile import profile

#: Four seconds at 192 kHz: 40 ms of the slowest of these kernels.
MOST_FRAMES = 4 * 192_000


class CountedArray(np.ndarray):
    """An array that adds up the frames that are taken from it since the last look."""

    since_look = 0

    def __getitem__(self, key: object) -> np.ndarray:
        found = np.asarray(self)[key]
        CountedArray.since_look += len(found) if isinstance(found, np.ndarray) else 1
        return found


class Looking(Cancel):
    """Notes the most frames that were taken between two looks."""

    def __init__(self) -> None:
        super().__init__()
        CountedArray.since_look = self.most = 0

    def check(self) -> None:
        self.most, CountedArray.since_look = max(self.most, CountedArray.since_look), 0


def silence(frames: int, channels: int) -> CountedArray:
    audio = np.zeros((frames, channels), dtype=np.float32)
    audio[::50_000] = 0.5
    return audio.view(CountedArray)


STAGES: dict[str, Callable[[CountedArray, Cancel, Path], object]] = {
    "listen": lambda audio, cancel, _: listen(audio, 192_000, cancel),
    "measure": lambda audio, cancel, _: measure_levels(audio, 192_000, cancel=cancel),
    "profile": lambda audio, cancel, _: profile(audio, 192_000, cancel=cancel),
    "resample": lambda audio, cancel, into: stems._resample(audio, 192_000, 48_000, into / "a.npy", cancel),
    "align": lambda audio, cancel, _: lag_and_polarity(audio, audio, 192_000, look=cancel.check),
    "gain": lambda audio, cancel, _: fit_gain(audio, audio, look=cancel.check),
}


@pytest.mark.parametrize("stage", STAGES)
def test_looks_are_close_to_one_another(stage: str, tmp_path: Path) -> None:
    cancel = Looking()
    STAGES[stage](silence(12 * 192_000, 2), cancel, tmp_path)
    cancel.check()
    assert 0 < cancel.most <= MOST_FRAMES


class AtLook(Cancel):
    """Is thrown at a look, as if by the user; counts the looks of every thread."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number, self.looks = number, 0
        self._guard = threading.Lock()

    def check(self) -> None:
        with self._guard:
            self.looks += 1
            thrown = self.looks == self.number
        if thrown:
            self.cancel()
        super().check()


@pytest.fixture(scope="module")
def songs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return songs as received and with all that is proposed accepted, and the folder of their tracks."""
    folder = tmp_path_factory.mktemp("stopping")
    rng = np.random.default_rng(3)
    reference = (rng.standard_normal((8 * RATE_HZ, 2)) * 0.1).astype(np.float32)
    raw = make_song(folder / "raw", reference=reference)
    for path in (folder / "raw").rglob("*.wav"):
        os.utime(path, (1e9, 1e9))  # long ago: a digest is remembered, so that every run looks as often
    planned = copy_song(raw, folder / "planned")
    plan(planned)
    accept(planned, (), everything=True)
    (folder / "raw" / "song" / "cache").mkdir(exist_ok=True)
    return {"raw": raw, "planned": planned}


COMMANDS: dict[str, tuple[str, Callable[[Path, Cancel], object]]] = {
    "start": ("raw", lambda song, cancel: start(song.parent / "tracks", song.parent / "new", cancel=cancel)),
    "measure": ("raw", lambda song, cancel: measure(song, cancel=cancel)),
    "plan": ("raw", lambda song, cancel: plan(song, cancel=cancel)),
    "mix": ("planned", lambda song, cancel: mix(song, cancel=cancel)),
    "deliver": ("planned", lambda song, cancel: deliver(song, cancel=cancel)),
    "refresh": ("raw", lambda song, cancel: refresh(song, cancel=cancel)),
    "check": ("raw", lambda song, cancel: check(sorted((song.parent / "tracks").iterdir()), cancel=cancel)),
}


@pytest.mark.parametrize("command", COMMANDS)
def test_a_stop_at_any_look_ends_the_command_and_leaves_nothing_half_made(
    command: str, songs: dict[str, Path], tmp_path: Path
) -> None:
    state, work = COMMANDS[command]
    whole = copy_song(songs[state], tmp_path / "whole")
    if command == "refresh":
        late = whole.parent / "tracks" / "late.wav"
        write_audio(late, np.full((RATE_HZ, 1), 0.1, dtype=np.float32))
        os.utime(late, (1e9, 1e9))
    counting = AtLook(0)
    song = copy_song(whole, tmp_path / "counting")
    work(song, counting)
    assert counting.looks > 10
    for number in (1, counting.looks // 2, counting.looks - 1):
        song = copy_song(whole, tmp_path / f"stopped-{number}")
        before = files(song.parent)
        cancel = AtLook(number)
        with pytest.raises(Cancelled):
            work(song, cancel)
        # Every other thread looks once more and ends.
        assert cancel.looks <= number + 2 * (os.cpu_count() or 1) + 2
        assert files(song.parent) == before


def files(folder: Path) -> dict[str, bytes]:
    """Return what lies in a folder, without caches: they only ever grow by whole entries."""
    paths = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in paths if not is_sound(path)}


def is_sound(path: Path) -> bool:
    """Tell whether a file is a whole entry of a cache."""
    return path.parent.name == "cache" and path.suffix in {".npy", ".seal", ".json"}


def test_a_stopped_start_goes_on_from_what_is_decoded(
    songs: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tracks, into = songs["raw"].parent / "tracks", tmp_path / "song"
    decoded: list[str] = []
    decode = Decoder.decode
    monkeypatch.setattr(
        Decoder, "decode", lambda self, path, to: (decoded.append(path.name), decode(self, path, to))[1]
    )
    counting = AtLook(0)
    start(tracks, tmp_path / "whole", cancel=counting)
    assert len(decoded) == len(set(decoded)) > 4
    decoded.clear()
    with pytest.raises(Cancelled):
        start(tracks, into, cancel=AtLook(2 * counting.looks // 3))
    assert [path.name for path in into.iterdir()] == ["cache"]
    first = len({path.stem for path in (into / "cache").glob("*.seal")})
    assert first > 0
    decoded.clear()
    start(tracks, into)
    assert len(decoded) == len(list(tracks.iterdir())) - first
    assert (into / "song.toml").read_text() == (tmp_path / "whole" / "song.toml").read_text()
