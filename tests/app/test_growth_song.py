# SPDX-License-Identifier: Apache-2.0
"""What a change of a song buried since the last measure, from what the cache holds of both."""

from __future__ import annotations

import shutil
from pathlib import Path

import msgspec
import numpy as np
import pytest

from made_songs import write_audio
from mixwright.app.measure import measure
from mixwright.app.told import document_of, told
from mixwright.io.kept import read_kept, write_kept
from mixwright.io.song_file import create_song, edit_song
from mixwright.model.ledger import Growth
from mixwright.model.results import MeasureResult
from mixwright.model.song import Section, Song, Track, changed
from mixwright.model.strip import Strip

RATE_HZ, SECONDS = 48_000, 3.0
SECTIONS = (
    Section(name="verse", start_s=0.0, end_s=SECONDS),
    Section(name="chorus", start_s=SECONDS, end_s=2 * SECONDS),
)
FRAMES = round(2 * SECONDS * RATE_HZ)
#: id, band in Hz, level in dB, start in seconds, place
LAYERS = (
    ("voice", (300.0, 3400.0), -30.0, 0.0, "lead"),
    ("pad", (200.0, 5000.0), -36.0, 0.0, "bed"),
    ("horn", (1000.0, 1700.0), -28.0, SECONDS + 0.5, "support"),
)


def noise(seed: int, band_hz: tuple[float, float], level_db: float, start_s: float) -> np.ndarray:
    rng, hz = np.random.default_rng(seed), np.fft.rfftfreq(FRAMES, 1.0 / RATE_HZ)
    inside = (hz >= band_hz[0]) & (hz <= band_hz[1])
    spectrum = np.where(inside, rng.standard_normal((2, len(hz))).T @ [1.0, 1.0j] / np.sqrt(np.maximum(hz, 1.0)), 0.0)
    audio = np.fft.irfft(spectrum, FRAMES)
    audio *= 10.0 ** (level_db / 20.0) / audio.std()
    return (audio * (np.arange(FRAMES) >= start_s * RATE_HZ))[:, None].astype(np.float32)


@pytest.fixture
def song(tmp_path: Path) -> Path:
    """A voice, a pad, and a horn that covers the voice in the chorus and is muted."""
    for seed, (id_, band_hz, level_db, start_s, _) in enumerate(LAYERS):
        write_audio(tmp_path / "tracks" / f"{id_}.wav", noise(seed, band_hz, level_db, start_s), RATE_HZ)
    tracks = tuple(
        Track(id=id_, name=id_.capitalize(), file=f"../tracks/{id_}.wav", place=place, mute=id_ == "horn")
        for id_, _, _, _, place in LAYERS
    )
    create_song(tmp_path / "song", Song(title="Made up", rate_hz=RATE_HZ, tracks=tracks, sections=SECTIONS))
    return tmp_path / "song"


def edit(song: Path, id_: str, **fields: object) -> None:
    def made(old: Song) -> Song:
        return changed(old, tracks=tuple(changed(t, **fields) if t.id == id_ else t for t in old.tracks))

    edit_song(song, "test", made)


def grew(song: Path) -> tuple[Growth, ...]:
    return measure(song).hearing.grew


def test_what_a_change_buried_is_told_until_the_next_and_not_what_came_back(song):
    assert grew(song) == ()
    edit(song, "horn", mute=False)
    result = measure(song)
    (one,) = result.hearing.grew
    assert (one.track, one.section, one.caused_by[0].track) == ("voice", "chorus", "horn")
    assert one.band_hz[0] < 1300.0 < one.band_hz[1]
    assert one.start_s == pytest.approx(SECONDS + 0.5, abs=0.1)
    # Measured again, nothing has changed since: what was told is told still.
    assert measure(song).hearing.grew == (one,)
    document = msgspec.to_builtins(document_of(result))
    assert [found["track"] for found in document["grew"]] == ["voice"]
    assert not {"grew", "stretches", "heard_by"} & document["hearing"].keys()
    assert told(result, sections=["verse"]).hearing.grew == ()
    assert told(result, ["pad"]).hearing.grew == ()
    assert told(result, ["voice"]).hearing.grew == (one,)
    edit(song, "voice", place_in={"chorus": "bed"})
    assert grew(song) == ()
    edit(song, "voice", place_in={})
    edit(song, "horn", mute=True)
    assert grew(song) == ()


def test_a_section_is_told_by_the_name_it_has_now(song):
    edit(song, "horn", mute=False)
    measure(song)
    assert grew(song) == ()
    edit(song, "horn", strip=Strip(fader_db=2.0))
    assert {one.section for one in grew(song)} == {"chorus"}
    edit_song(song, "test", lambda old: changed(old, sections=(SECTIONS[0], changed(SECTIONS[1], name="hook"))))
    assert {one.section for one in grew(song)} == {"hook"}


def test_sections_that_sound_the_same_are_not_compared(song, monkeypatch):
    compared = []
    monkeypatch.setattr(
        "mixwright.app.growth.growth", lambda *given: compared.extend(part.name for part in given[3]) or ()
    )
    edit(song, "horn", mute=False)
    measure(song)
    edit(song, "horn", strip=Strip(fader_db=-0.3))  # within the drift that calibration allows
    measure(song)
    assert compared == ["chorus"]
    edit(song, "horn", place="bed")
    measure(song)
    assert compared == ["chorus"]


def test_nothing_is_compared_with_what_is_gone_or_was_heard_in_another_way(song):
    measure(song)
    edit(song, "horn", mute=False)
    assert measure(song, listening="loudspeakers").hearing.grew == ()
    assert grew(song) == ()
    edit(song, "horn", mute=True)
    measure(song)
    shutil.rmtree(song / "cache")
    edit(song, "horn", mute=False)
    assert grew(song) == ()


def test_of_a_measure_of_other_code_nothing_is_read(song):
    measure(song)
    kept = read_kept(song, "measure", MeasureResult)
    write_kept(song, "measure", changed(kept, hearing=changed(kept.hearing, heard_by="other")))
    edit(song, "horn", mute=False)
    assert grew(song) == ()
