# SPDX-License-Identifier: Apache-2.0
"""Prints in place of tracks: a voice and an instrumental alone, and prints of groups; nothing is configured."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from made_songs import write_audio
from mixwright.app.measure import measure
from mixwright.app.start import start
from mixwright.errors import InputError
from mixwright.io.song_file import edit_song
from mixwright.meter.measure import measure as measure_audio
from mixwright.model.results import MeasureResult
from mixwright.model.song import Song, changed

RATE_HZ = 44_100
SECONDS = 8.0
#: Sung three times; the guitars come with the second phrase, and stay.
SUNG_S = ((0.5, 2.2), (3.2, 4.6), (5.8, 7.4))
GUITARS_S = (3.0, SECONDS)


def band(seed: int, low_hz: float, high_hz: float, level_db: float, *when_s: tuple[float, float]) -> np.ndarray:
    """Return stereo pink noise in a band, sounding at some times."""
    frames = round(SECONDS * RATE_HZ)
    rng, hz = np.random.default_rng(seed), np.fft.rfftfreq(frames, 1.0 / RATE_HZ)
    spectrum = (rng.standard_normal((2, len(hz))) + 1j * rng.standard_normal((2, len(hz)))) / np.sqrt(hz + 1.0)
    audio = np.fft.irfft(np.where((hz >= low_hz) & (hz <= high_hz), spectrum, 0.0), frames).T
    audio *= 10.0 ** (level_db / 20.0) / audio.std()
    at_s = np.arange(frames) / RATE_HZ
    sounds = np.any([(at_s >= start_s) & (at_s < end_s) for start_s, end_s in when_s], axis=0)
    return (audio * sounds[:, None]).astype(np.float32)


VOICE = band(1, 250.0, 4000.0, -26.0, *SUNG_S)
DRUMS = band(2, 60.0, 9000.0, -44.0, (0.0, SECONDS))
GUITARS = band(3, 400.0, 2500.0, -16.0, GUITARS_S)


def measured(folder: Path, files: dict[str, np.ndarray]) -> MeasureResult:
    for name, audio in files.items():
        write_audio(folder / "prints" / name, audio, RATE_HZ)
    start(folder / "prints", folder / "song")
    return measure(folder / "song")


def loudness(audio: np.ndarray, start_s: float, end_s: float) -> float:
    return measure_audio(audio[round(start_s * RATE_HZ) : round(end_s * RATE_HZ)], RATE_HZ).integrated_lufs


def check_line(result: MeasureResult, voice: str) -> None:
    line = result.hearing.voice_line
    assert {one.track for one in line} == {voice}
    assert [(one.start_s, one.end_s) for one in line] == [pytest.approx(part, abs=0.1) for part in SUNG_S]
    free, *covered = line
    assert all(one.margin_db.cued < free.margin_db.cued - 3.0 for one in covered)
    assert all(one.rise_db.cued > free.rise_db.cued + 3.0 for one in covered)
    # Nobody has confirmed a lead: the guess of intake is followed, and said so.
    assert result.hearing.followed_by_guess


def test_a_voice_and_an_instrumental_give_the_voice_line(tmp_path):
    files = {"Lantern Song - Vocal.wav": VOICE, "Lantern Song - Instrumental.wav": DRUMS + GUITARS}
    result = measured(tmp_path, files)
    check_line(result, "lantern-song-vocal")
    assert result.hearing.voice_line[1].taken_by[0].track == "lantern-song-instrumental"
    # Each phrase beside the mix, by the meter (ITU-R BS.1770), over the same time.
    for one in result.hearing.voice_line:
        when_s = one.start_s, one.end_s
        ours = loudness(VOICE, *when_s) - loudness(VOICE + DRUMS + GUITARS, *when_s)
        assert one.re_mix_lu == pytest.approx(ours, abs=0.1)
    # De Man et al. 2014: -2.65 LU, and 1.31 between engineers.
    interval = result.hearing.voice_interval
    assert (interval.low_lu, interval.high_lu, interval.references) == (pytest.approx(-3.96), pytest.approx(-1.34), 0)


def test_references_whose_voice_is_there_alone_say_where_it_stands(tmp_path):
    write_audio(tmp_path / "record.wav", VOICE + 0.3 * GUITARS, RATE_HZ)
    write_audio(tmp_path / "its voice.wav", VOICE, RATE_HZ)
    write_audio(tmp_path / "prints" / "Vocals.wav", VOICE, RATE_HZ)
    write_audio(tmp_path / "prints" / "Guitars.wav", GUITARS, RATE_HZ)
    folder = tmp_path / "song"
    start(tmp_path / "prints", folder, references=[tmp_path / "record.wav"])
    assert measure(folder).hearing.voice_interval.references == 0

    def edit(song: Song) -> Song:
        return changed(song, references=tuple(changed(one, voice="../its voice.wav") for one in song.references))

    edit_song(folder, "test", edit)
    interval = measure(folder).hearing.voice_interval
    ours = loudness(VOICE, 0.0, SECONDS) - loudness(VOICE + 0.3 * GUITARS, 0.0, SECONDS)
    assert interval.references == 1
    assert (interval.low_lu + interval.high_lu) / 2 == pytest.approx(ours, abs=0.02)
    assert interval.high_lu - interval.low_lu == pytest.approx(2 * 1.31)
    (tmp_path / "its voice.wav").unlink()
    with pytest.raises(InputError, match="missing"):
        measure(folder)


def test_nothing_is_published_of_a_lead_that_is_no_voice(tmp_path):
    write_audio(tmp_path / "prints" / "Guitars.wav", GUITARS, RATE_HZ)
    write_audio(tmp_path / "prints" / "Drums.wav", DRUMS, RATE_HZ)
    folder = tmp_path / "song"
    start(tmp_path / "prints", folder)
    edit_song(folder, "test", lambda song: changed(song, lead=("guitars",)))
    hearing = measure(folder).hearing
    assert hearing.voice_line
    assert hearing.voice_interval is None


def test_prints_of_groups_give_the_culprits(tmp_path):
    files = {"Vocals.wav": VOICE, "Drums.wav": DRUMS, "Guitars.wav": GUITARS}
    result = measured(tmp_path, files)
    check_line(result, "vocals")
    assert result.hearing.voice_line[1].taken_by[0].track == "guitars"
    found = [one for one in result.hearing.findings if one.track == "vocals"]
    assert found
    assert {one.caused_by[0].track for one in found} == {"guitars"}
    # It is told when it happens: while the guitars play.
    assert all(GUITARS_S[0] <= one.start_s < one.end_s <= SECONDS for one in found)
