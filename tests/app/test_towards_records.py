# SPDX-License-Identifier: Apache-2.0
"""A plan and its references: small moves towards what they were ticked for, never at the cost of what is heard."""

from pathlib import Path

import numpy as np
import pytest

from made_songs import write_audio
from mixwright.app.compare import compare
from mixwright.app.decide import accept, refuse
from mixwright.app.plan import plan
from mixwright.io.song_file import create_song, edit_song, load_song
from mixwright.model.song import Lock, Reference, Section, Song, Track, changed

RATE_HZ, SECONDS = 32000, 5
#: id, role, place, loudest frequency, level in dB
LAYERS = (
    ("bass", "bass", "support", 70.0, -24.0),
    ("keys", "keys", "support", 330.0, -30.0),
    ("vox", "lead vocal", "lead", 1300.0, -28.0),
    ("shaker", "percussion", "bed", 6500.0, -38.0),
)


def layer(seed: int, hz: float, level_db: float, wide: float = 0.0) -> np.ndarray:
    """Return noise less than an octave wide, float32 (frames, 2); `wide`: the side beside the middle."""
    frames = SECONDS * RATE_HZ
    octaves = np.log2(np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 1.0) / hz)
    noises = np.random.default_rng(seed).standard_normal((2, frames))
    mid, side = np.fft.irfft(np.fft.rfft(noises) * np.exp(-0.5 * (octaves / 0.35) ** 2), frames)
    gain = 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(mid**2))
    return (gain * np.stack([mid + wide * side, mid - wide * side], axis=1)).astype(np.float32)


def song_of(folder: Path, use_for: tuple[str, ...], mix_db: dict[str, float], width: tuple[float, float]) -> Path:
    """Write a song as mixed and a record that differs from it by `mix_db` and `width`, its own second."""
    record = np.zeros((SECONDS * RATE_HZ, 2), dtype=np.float32)
    tracks = []
    for seed, (id_, role, place, hz, level_db) in enumerate(LAYERS):
        wides = width if id_ in ("keys", "shaker") else (0.0, 0.0)
        write_audio(
            folder / "tracks" / f"{id_}.wav", layer(seed, hz, level_db + mix_db.get(id_, 0.0), wides[0]), RATE_HZ
        )
        record += layer(seed, hz, level_db, wides[1])
        tracks.append(Track(id=id_, name=id_, file=f"../tracks/{id_}.wav", role=role, place=place))
    write_audio(folder / "record.wav", record, RATE_HZ)
    create_song(
        folder / "song",
        Song(
            title="Made up",
            rate_hz=RATE_HZ,
            lead=("vox",),
            tracks=tuple(tracks),
            tracks_are="as mixed",
            sections=(
                Section(name="verse", start_s=0.0, end_s=2.5),
                Section(name="chorus", start_s=2.5, end_s=5.0),
            ),
            references=(Reference(id="record", file="../record.wav", use_for=use_for),),
        ),
    )
    return folder / "song"


def rows_outside(folder: Path, figure: str) -> dict[str, float]:
    return {row.section: row.outside for row in compare(folder).rows if row.figure == figure}


@pytest.fixture(scope="module")
def lean(tmp_path_factory):
    """A mix with 6 dB less bass than its record, and what a plan makes of it."""
    folder = song_of(tmp_path_factory.mktemp("lean"), ("low_end",), {"bass": -6.0}, (0.3, 0.3))
    return folder, plan(folder)


def test_a_lean_mix_is_taken_towards_a_record_ticked_for_its_low_end(lean):
    folder, planned = lean
    (move,) = (one for one in planned.moves if one.towards)
    assert (move.kind, move.target, move.towards) == ("level", "bass", "low_end_db")
    assert 0.0 < move.settings["gain_db"] <= 3.0
    assert move.reason.startswith("Towards the records: ")
    assert "leaner (low end beside the middle) than the record spans" in move.reason
    before = rows_outside(folder, "low_end_db")
    assert move.measured["outside_db"] == pytest.approx(before[""], abs=0.01)
    findings = {(one.track, one.section, one.kind): one.excess_db for one in planned.findings}
    accept(folder, [move.id])
    # What is rendered is what was foretold, in the whole song and where sections stand outside.
    after = rows_outside(folder, "low_end_db")
    assert after[""] == pytest.approx(move.predicted["outside_db"], abs=0.3)
    assert all(abs(after[name]) < abs(far) for name, far in before.items() if far)
    # Nothing is heard less well than before: audibility comes first.
    again = plan(folder)
    assert not [one for one in again.moves if one.towards]
    now = {(one.track, one.section, one.kind): one.excess_db for one in again.findings}
    assert now.keys() <= findings.keys()
    # A band may be told as one sixth of an octave wider, and so as a little further outside.
    assert all(excess <= findings[one] + 0.25 for one, excess in now.items())


@pytest.mark.slow
def test_no_more_than_two_go_towards_the_records_and_none_that_was_refused(tmp_path):
    folder = song_of(tmp_path, ("width",), {}, (0.9, 0.35))
    (first,) = (one for one in plan(folder).moves if one.towards)
    assert (first.kind, first.target) == ("width", "keys")
    assert "wider (side beside middle)" in first.reason
    refuse(folder, [first.id])
    assert not [one for one in plan(folder).moves if (one.kind, one.target) == ("width", "keys")]
    edit_song(folder, "again", lambda now: changed(now, moves=()))
    made = []
    for _ in range(3):
        towards = [one.id for one in plan(folder).moves if one.towards]
        made += towards
        if towards:
            accept(folder, towards)
    assert len(made) == 2


def test_what_nobody_ticked_or_what_is_locked_asks_for_nothing(lean, tmp_path):
    folder = song_of(tmp_path, (), {"bass": -6.0}, (0.3, 0.3))
    assert not [one for one in plan(folder).moves if one.towards]
    locks = tuple(Lock(target="bass", parameter=name) for name in ("level", "shape"))
    ticked = (changed(load_song(folder).references[0], use_for=("low_end",)),)
    edit_song(folder, "tick and lock", lambda now: changed(now, references=ticked, locks=locks))
    assert not [one for one in plan(folder).moves if one.target == "bass"]
