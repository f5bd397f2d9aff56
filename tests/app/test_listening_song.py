# SPDX-License-Identifier: Apache-2.0
"""What is heard again after a change, what is not, and that both are the same."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest

from app.test_hearing_song import SECONDS, edit_track, heard, song_of, three
from mixwright.app import listening
from mixwright.app.hearing import heard as hear_song
from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.errors import Cancelled
from mixwright.hearing.heard import Stretch
from mixwright.hearing.moments import MOMENTS
from mixwright.io.kept import read_kept
from mixwright.io.song_file import edit_song
from mixwright.jobs.progress import Cancel
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.hearing import Calibration
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Section, Send, changed
from mixwright.model.strip import Limiter, Master, Reverb, Strip

SECTIONS = (Section(name="one", start_s=0.0, end_s=1.0), Section(name="two", start_s=1.0, end_s=SECONDS))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return song_of(tmp_path, three(), sections=SECTIONS)


class Watched:
    """Which stretches are heard, and which layers are rendered to look for changes."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.stretches: list[Stretch] = []
        self.rendered: list[tuple[str, ...] | None] = []
        self._count(monkeypatch, "hear_stretch", lambda args, _: self.stretches.append(args[2]))
        self._count(monkeypatch, "render", lambda _, settings: self.rendered.append(settings["tracks"]))

    def _count(self, monkeypatch: pytest.MonkeyPatch, name: str, note: Callable[..., object]) -> None:
        real = getattr(listening, name)

        def watched(*args: object, **settings: object) -> object:
            note(args, settings)
            return real(*args, **settings)

        monkeypatch.setattr(listening, name, watched)


def late_lane(folder: Path, db: float) -> None:
    """Move the pad in the second section alone, further from its edge than a stretch hears."""
    points = (Breakpoint(at_s=1.7, value=0.0), Breakpoint(at_s=1.8, value=db))
    (folder / "kept").mkdir(exist_ok=True)
    lanes = (Lane(target="pad", parameter="level", points=points),)
    (folder / "kept" / "lanes.json").write_bytes(msgspec.json.encode(lanes))


def without_cache(folder: Path) -> object:
    """What is heard with nothing but what the song keeps."""
    (folder / "cache").rename(folder.parent / "old cache")
    return heard(folder)


def test_a_change_in_one_section_is_heard_there_alone(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = heard(folder)
    watched = Watched(monkeypatch)
    late_lane(folder, -1.0)
    after = heard(folder)
    assert [stretch.first > 0 for stretch in watched.stretches] == [True]
    # To look for changes, the pad alone is rendered; all are where they are heard again.
    assert watched.rendered[:2] == [("pad",)] * 2
    assert sorted(watched.rendered[2:]) == [("bass",), ("pad",), ("vox",)]
    pad, pad_before = (next(one for one in result.layers if one.id == "pad") for result in (after, before))
    assert pad.sections[0] == pad_before.sections[0]
    assert pad.sections[1] != pad_before.sections[1]
    assert after == without_cache(folder)


def test_a_change_up_to_the_edges_of_a_section_stays_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of the sections beside it, no more is heard again than lies at the edges."""
    files = {name: np.tile(audio, (6, 1)) for name, audio in three().items()}
    edges_s = [0.0, 4.5, 9.0, 6 * SECONDS]
    sections = tuple(
        Section(name=f"part {k}", start_s=start_s, end_s=end_s)
        for k, (start_s, end_s) in enumerate(itertools.pairwise(edges_s))
    )
    folder = song_of(tmp_path, files, sections=sections)
    before = heard(folder)
    watched = Watched(monkeypatch)
    points = [(4.48, 0.0), (4.5, -1.0), (8.98, -1.0), (9.0, 0.0)]
    lane = Lane(target="pad", parameter="level", points=tuple(Breakpoint(at_s=at_s, value=db) for at_s, db in points))
    (folder / "kept" / "lanes.json").write_bytes(msgspec.json.encode((lane,)))
    after = heard(folder)
    assert after.calibrated_lufs == before.calibrated_lufs
    assert min(one.start_s for one in watched.stretches) > 3.9
    assert max(one.end_s for one in watched.stretches) < 10.6
    assert after != before
    assert after == without_cache(folder)


@pytest.mark.parametrize("how", ["fader", "file", "mute", "dynamics", "44100", "role"])
def test_what_is_heard_again_is_what_is_heard_anew(tmp_path: Path, how: str) -> None:
    rate_hz = 44100 if how == "44100" else 48000
    folder = song_of(tmp_path, three(rate_hz), rate_hz, sections=SECTIONS)
    if how == "dynamics":
        master = Master(fader_db=14.0, inserts=(Compressor(threshold_db=-30.0, ratio=4.0),), limiter=Limiter())
        edit_song(folder, "master", lambda song: changed(song, master=master))
    if how == "role":
        edit_song(folder, "lead", lambda song: changed(song, lead=("vox",)))
    before = heard(folder)
    if how == "mute":
        edit_track(folder, "pad", mute=True)
    elif how == "file":
        edit_track(folder, "pad", file="../tracks/bass.wav", sha256="")
    elif how == "role":  # what sings has phrases of its own
        edit_track(folder, "vox", role="lead vocal")
    else:
        edit_track(folder, "pad", strip=Strip(fader_db=-1.0))
    after = heard(folder)
    assert after != before
    assert after == without_cache(folder)


def test_gains_that_recover_where_nothing_else_changed(tmp_path: Path) -> None:
    """A send that falls silent before the second section moves the compressor of the master into it."""
    files = three()
    files["vox"] = 8.0 * files["vox"] * (np.arange(len(files["vox"])) < 24000)[:, None]
    sections = (Section(name="one", start_s=0.0, end_s=1.8), Section(name="two", start_s=1.8, end_s=SECONDS))
    hall = Send(id="hall", name="Hall", reverb=Reverb(kind="voice", decay_s=0.1))
    master = Master(inserts=(Compressor(threshold_db=-40.0, ratio=10.0, release_ms=3000.0),))
    folder = song_of(tmp_path, files, sections=sections, sends=(hall,), master=master)
    edit_track(folder, "vox", sends={"hall": 4.0})
    before = heard(folder)
    edit_track(folder, "vox", sends={"hall": 5.0})
    after = heard(folder)
    assert after.calibrated_lufs == before.calibrated_lufs
    assert after.layers[1].sections[1] != before.layers[1].sections[1]
    assert after == without_cache(folder)


def test_a_guess_that_is_confirmed_is_none(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is heard again, as the same line is followed."""
    monkeypatch.setattr(listening, "guessed_lead", lambda *_: "vox")
    before = heard(folder)
    assert before.followed_by_guess
    edit_song(folder, "lead", lambda song: changed(song, lead=("vox",)))
    after = heard(folder)
    assert not after.followed_by_guess
    assert after.voice_line == before.voice_line


def test_calibration_holds_until_the_mix_drifts(folder: Path) -> None:
    """Half an LU is the project's own mark."""
    first = heard(folder).calibrated_lufs
    edit_track(folder, "pad", strip=Strip(fader_db=-0.5))
    assert heard(folder).calibrated_lufs == first
    # Another level is a calibration of its own; the first one stays.
    quiet = heard(folder, listening_level_db_spl=65.0).calibrated_lufs
    assert 0.0 < first - quiet < 0.5
    assert heard(folder).calibrated_lufs == first
    for id_ in ("pad", "vox", "bass"):
        edit_track(folder, id_, strip=Strip(fader_db=-0.6))
    drifted = heard(folder)
    assert drifted.calibrated_lufs == pytest.approx(first - 0.6, abs=0.02)
    # All of it 0.6 dB lower is calibrated back to where it was: heard as at first.
    kept = read_kept(folder, "calibration", Calibration)
    assert {pin.listening_level_db_spl for pin in kept.pins} == {65.0, 79.0}
    (folder / "kept" / "calibration.json").write_text("{")
    assert heard(folder).calibrated_lufs == drifted.calibrated_lufs


def test_a_small_move_is_no_new_calibration(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    heard(folder)
    watched = Watched(monkeypatch)
    late_lane(folder, -0.2)
    heard(folder)
    assert len(watched.stretches) == 1


def test_a_confirmed_lead_is_sketched_densely(folder: Path) -> None:
    def frames() -> int:
        with open_song(folder, Making()) as session:
            rows = listening.layers_of(session.song, session.graph)
            hearing, *_ = listening.hearing_of(session, rows, calibrated_lufs=-20.0, listening_level_db_spl=79.0)
            return len(hearing.layers["vox"].sketch)

    assert frames() == 2 * MOMENTS
    edit_song(folder, "lead", lambda song: changed(song, lead=("vox",)))
    edit_track(folder, "vox", role="lead vocal")
    assert frames() > 2 * MOMENTS


@pytest.mark.parametrize("job", ["looking for changes", "hearing layers", "rises"])
def test_it_stops_in_every_part(folder: Path, monkeypatch: pytest.MonkeyPatch, job: str) -> None:
    cancel, looked = Cancel(), []

    def report(progress: object) -> None:
        if progress.job == job:
            cancel.cancel()

    if job == "rises":
        real = listening.rise_curve

        def stopping(sketch: object, switch: Cancel) -> np.ndarray:
            cancel.cancel()
            looked.append(1)
            return real(sketch, switch)

        monkeypatch.setattr(listening, "rise_curve", stopping)
    with open_song(folder, Making()) as session, pytest.raises(Cancelled):
        hear_song(session, report=report, cancel=cancel)
    assert len(looked) <= 8  # one for each thread at most
