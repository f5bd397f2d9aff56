# SPDX-License-Identifier: Apache-2.0
"""Bounces: taken, kept beside what they superseded, and told beside the moves that they hold."""

import numpy as np
import pytest
from scipy.signal import lfilter

import mixwright
from made_songs import LAYERS, RATE_HZ, SECONDS, band_noise, make_song, write_audio
from mixwright.app import bounces
from mixwright.app.bounce_match import matched
from mixwright.app.bounces import bounces_view, kept_bounces, release, take_bounces
from mixwright.app.clean import clean
from mixwright.app.refresh import refresh
from mixwright.errors import OutputError
from mixwright.io.hashing import file_sha256
from mixwright.io.song_file import edit_song, load_song
from mixwright.model.bounces import Bounce
from mixwright.model.song import Section, changed
from mixwright.report.text import refresh_text

SECTIONS = (Section(name="verse", start_s=0.0, end_s=6.0), Section(name="chorus", start_s=6.0, end_s=12.0))


def layer(name):
    """A layer as `make_song` writes it, float32 ``(frames, 1)``."""
    seed, (_, _, _, _, hz, start_s, end_s, level_db) = next(
        (seed, one) for seed, one in enumerate(LAYERS) if one[0] == name
    )
    return band_noise(seed, hz, level_db, start_s, end_s)


def bell(audio, hz, gain_db, q):
    """A bell by Audio EQ Cookbook (R. Bristow-Johnson), run by scipy."""
    a, w = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * hz / RATE_HZ
    alpha = np.sin(w) / (2.0 * q)
    b = [1.0 + alpha * a, -2.0 * np.cos(w), 1.0 - alpha * a]
    return lfilter(b, [1.0 + alpha / a, -2.0 * np.cos(w), 1.0 - alpha / a], audio, axis=0).astype(np.float32)


def both(audio):
    return np.repeat(audio, 2, axis=1)


def test_a_share_of_a_move_is_found_and_what_else_changed():
    before = both(layer("pad"))
    moved = {"cut": bell(before, 1000.0, -4.0, 1.0), "raise": before * np.float32(10.0 ** (2.0 / 20.0))}
    found = matched(before, bell(before, 1000.0, -2.8, 1.0), moved, RATE_HZ, SECTIONS)
    assert found.shares == {"cut": pytest.approx(0.7, abs=0.03)}
    assert found.also == ()
    after = bell(before, 1000.0, -4.0, 1.0) * np.float32(10.0 ** (2.0 / 20.0))
    found = matched(before, after, moved, RATE_HZ, SECTIONS)
    assert found.shares == {"cut": pytest.approx(1.0, abs=0.03), "raise": pytest.approx(1.0, abs=0.03)}
    other = bell(after, 300.0, 6.0, 4.0)
    other[6 * RATE_HZ :] *= np.float32(0.7)
    found = matched(before, other, {"cut": moved["cut"]}, RATE_HZ, SECTIONS)
    assert list(found.shares) == ["cut"]
    assert any("dB at 2" in one for one in found.also)
    assert any("in chorus" in one for one in found.also)
    hostile = tuple(changed(one, name=f"{one.name}\x1b") for one in SECTIONS)
    assert not any("\x1b" in one for one in matched(before, other, {"cut": moved["cut"]}, RATE_HZ, hostile).also)


def test_what_is_no_move_is_told_as_changed():
    before = both(layer("keys"))
    moved = {"cut": bell(before, 500.0, -6.0, 1.0)}
    later = np.concatenate([np.zeros((160, 2), np.float32), -before])
    later[:, 0] *= np.float32(0.5)
    found = matched(before, later, moved, RATE_HZ, SECTIONS)
    assert found.shares == {}
    assert found.also[:2] == ("10 ms later", "polarity turned")
    assert "6.0 dB more on the right" in found.also
    assert matched(before, before, moved, RATE_HZ, SECTIONS).also == ()
    assert matched(0.0 * before, 0.0 * before, {}, RATE_HZ).shares == {}


@pytest.fixture
def folder(tmp_path):
    """A made song whose tracks are known by their hashes and decoded, with moves of the engineer's own."""
    folder = make_song(tmp_path, sections=SECTIONS[:1])
    tracks = lambda song: tuple(changed(t, sha256=file_sha256(folder / t.file)) for t in song.tracks)  # noqa: E731
    edit_song(folder, "hashes", lambda song: changed(song, tracks=tracks(song)))
    mixwright.mix(folder)
    mixwright.add(folder, "shape pad -4 dB at 1 kHz q 1")
    mixwright.add(folder, "level guitar-1 -2 dB")
    return folder


def test_a_bounce_is_taken_heard_and_kept_until_it_is_released(folder):
    file = folder.parent / "tracks" / "pad.wav"
    received = layer("pad")
    half_s = np.zeros((RATE_HZ // 2, 1), np.float32)
    write_audio(file, np.concatenate([bell(received, 1000.0, -2.8, 1.0), half_s]))
    shorter = layer("guitar-1")[: -len(half_s)] * np.float32(10.0 ** (-2.0 / 20.0))
    write_audio(folder.parent / "tracks" / "guitar-1.wav", shorter)
    told = refresh(folder)
    assert ([one.id for one in told.changed], told.taken) == (["guitar-1", "pad"], ())
    told = refresh(folder, take=True)
    other, bounce = told.taken
    assert told.changed == ()
    assert other.moves[0].share == pytest.approx(1.0, abs=0.03)
    assert "Also changed: 0.5 s shorter." in other.told
    assert "What was dialled at once was heard together." in other.told
    (move,) = bounce.moves
    assert move.share == pytest.approx(0.7, abs=0.05)
    assert move.victim == "vox"
    assert move.got_db > 0.2
    text = "\n".join(refresh_text(told, "song"))
    assert "pad: Cut pad by 4.0 dB at 1 kHz, Q 1, as dialled, 0.7 of it: got +" in text
    assert "This move is accepted here, too, and now made twice" in text
    assert next(t.sha256 for t in load_song(folder).tracks if t.id == "pad") == file_sha256(file)
    mixwright.mix(folder)
    assert kept_bounces(folder).bounces == (other, bounce)
    from soundfile import read

    np.testing.assert_array_equal(read(folder / bounce.superseded, dtype="float32")[0], received[:, 0])
    assert refresh(folder, take=True).taken == ()
    assert clean(folder).released_bytes == 0
    assert bounces_view(folder).superseded_bytes > 4 * SECONDS * RATE_HZ
    assert clean(folder, superseded=True).released_bytes > 4 * SECONDS * RATE_HZ
    assert not (folder / bounce.superseded).exists()
    assert {one.superseded for one in kept_bounces(folder).bounces} == {""}
    assert release(folder) == bounces_view(folder).superseded_bytes == 0


def test_a_bounce_that_is_cut_off_or_no_audio_is_not_taken(folder):
    file = folder.parent / "tracks" / "keys.wav"
    whole = file.read_bytes()
    for wrong in (whole[: len(whole) // 2], b"no audio at all"):
        file.write_bytes(wrong)
        told = refresh(folder, take=True)
        assert told.taken == ()
        assert [one.id for one in told.changed] == ["keys"]
        assert any("cannot be taken" in note for note in told.notes)


def test_what_is_kept_stays_listed_beyond_the_most_that_are_told(tmp_path, monkeypatch):
    monkeypatch.setattr(bounces, "_MOST_KEPT", 2)
    taken = [Bounce(track=name, name=name, file=f"{name}.wav", sha256=name, superseded=kept)
             for name, kept in (("a", ""), ("b", "b.wav"), ("c", ""), ("d", "d.wav"))]  # fmt: skip
    bounces._keep(tmp_path, taken[2:])
    bounces._keep(tmp_path, taken[:2])
    assert [one.track for one in kept_bounces(tmp_path).bounces] == ["a", "b", "d"]


def test_a_bounce_is_listed_whatever_its_comparison_meets(tmp_path, monkeypatch):
    def full(*_):
        raise OutputError("the disk is full")

    monkeypatch.setattr(bounces, "_told", full)
    folder = make_song(tmp_path)
    taken, _ = take_bounces(folder, load_song(folder).tracks[:1])
    assert kept_bounces(folder).bounces == taken
    assert len(taken) == 1


def test_without_what_was_there_before_it_is_taken_and_that_is_said(folder):
    mixwright.clean(folder, everything=True)
    write_audio(folder.parent / "tracks" / "keys.wav", 0.5 * layer("keys"))
    (bounce,) = refresh(folder, take=True).taken
    assert bounce.told == (
        "keys: a new bounce was taken. It is not compared: the cache no longer had what it held before."
    )
    mixwright.mix(folder)
