# SPDX-License-Identifier: Apache-2.0
"""Phrases of the lead on a made-up song: the voice of noise sounds from 2 to 11 s."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from made_songs import make_song
from mixwright.app import hearing
from mixwright.app.session import open_song
from mixwright.io.song_file import edit_song
from mixwright.model.hearing import HearingResult
from mixwright.model.song import Track, changed


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The voice and what covers it most; the other layers are not used."""
    folder = make_song(tmp_path_factory.mktemp("phrases"))
    edit_tracks(folder, lambda track: changed(track, use=track.id in ("vox", "pad")))
    return folder


def edit_tracks(folder: Path, edit: Callable[[Track], Track], **fields: object) -> None:
    edit_song(folder, "test", lambda song: changed(song, tracks=tuple(map(edit, song.tracks)), **fields))


def told(folder: Path) -> HearingResult:
    with open_song(folder) as session:
        return hearing.heard(session)


def test_the_voice_is_more_audible_when_what_covers_it_falls(folder: Path) -> None:
    before = told(folder)
    (phrase,) = before.phrases
    assert before.why_no_phrases == ""
    assert phrase.layer == "vox"
    assert (phrase.start_s, phrase.end_s) == (pytest.approx(2.0, abs=0.04), pytest.approx(11.0, abs=0.04))
    edit_tracks(folder, lambda track: changed(track, strip=changed(track.strip, fader_db=-20.0 * (track.id == "pad"))))
    (after,) = told(folder).phrases
    assert after.glimpse_share > phrase.glimpse_share + 0.3
    assert after.band_audibility > phrase.band_audibility + 0.3
    assert before.phrases[0].flags == after.flags == ()  # a single phrase has no other to be beside


@pytest.mark.parametrize(
    ("lead", "muted", "reason"),
    [
        ((), "", "the lead is not confirmed"),
        (("pad",), "", "the lead is no voice by its role"),
        (("vox",), "vox", "the lead is muted"),
        (("vox",), "", "the voice of the lead never sounds for as long as a phrase"),
    ],
)
def test_no_phrases_for_a_reason(
    folder: Path, monkeypatch: pytest.MonkeyPatch, lead: tuple[str, ...], muted: str, reason: str
) -> None:
    monkeypatch.setattr(hearing, "calibrated", lambda *_: None)  # as for a silent mix: nothing is heard
    edit_tracks(folder, lambda track: changed(track, mute=track.id == muted), lead=lead)
    edit_tracks(folder, lambda track: changed(track, strip=changed(track.strip, trim_db=1.0)))
    result = told(folder)
    assert (result.phrases, result.why_no_phrases) == ((), reason)
