# SPDX-License-Identifier: Apache-2.0
"""What muting a layer gives back: as a mix is heard that never had it."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_hearing_song import LAYERS, edit_track, song_of, sound

from mixwright.app.listening import layer_audio, layers_of
from mixwright.app.measure import measure
from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.app.without import without
from mixwright.errors import SettingError
from mixwright.hearing.hear import hear
from mixwright.hearing.places import calibration_db
from mixwright.hearing.statistics import loudness_of
from mixwright.model.song import Send
from mixwright.model.strip import Reverb


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three invented layers, of which one covers another."""
    files = {id_: sound(k, hz, level_db, 48000) for k, (id_, hz, level_db, _) in enumerate(LAYERS)}
    return song_of(tmp_path_factory.mktemp("three"), files)


def test_a_layer_is_heard_as_if_the_other_had_never_been(song: Path) -> None:
    heard = measure(song).hearing
    assert heard is not None
    told = without(song, heard, ["vox", "Bass", "pad"], "pad").without
    assert [(one.track, one.without) for one in told] == [("vox", "pad"), ("bass", "pad")]
    with open_song(song, Making()) as session:
        rows = [row for row in layers_of(session.song, session.graph) if row.id != "pad"]
        offset_db = calibration_db(heard.calibrated_lufs, heard.listening_level_db_spl, heard.listening)
        found = hear(layer_audio(session, rows), rate_hz=48000, frames=session.graph.frames, offset_db=offset_db)
    for one in told:
        then, now = loudness_of(found.layers[one.track]), next(la for la in heard.layers if la.id == one.track)
        assert one.in_mix_phon.cued == pytest.approx(then.in_mix_phon.cued, abs=0.01)
        assert one.in_mix_phon.strict == pytest.approx(then.in_mix_phon.strict, abs=0.01)
        assert one.gives_back_phon.cued == pytest.approx(then.in_mix_phon.cued - now.in_mix_phon.cued, abs=0.01)
    back = {one.track: one.gives_back_phon.cued for one in told}
    assert back["vox"] > back["bass"] + 1.0 > 1.0  # the pad lies over the voice, far from the bass


@pytest.mark.parametrize("feeds", [("pad",), ("pad", "bass"), ("bass",)])
def test_what_a_muted_layer_sends_is_muted_with_it(tmp_path: Path, feeds: tuple[str, ...]) -> None:
    files = {id_: sound(k, hz, level_db, 48000) for k, (id_, hz, level_db, _) in enumerate(LAYERS)}
    folder = song_of(
        tmp_path, files, sends=(Send(id="hall", name="Hall", reverb=Reverb(kind="instruments", decay_s=0.8)),)
    )
    for id_ in feeds:
        edit_track(folder, id_, sends={"hall": 12.0})
    heard = measure(folder).hearing
    (told,) = without(folder, heard, ["vox"], "pad").without
    # The same as a song in which the track is muted, heard as loud as before.
    edit_track(folder, "pad", mute=True)
    with open_song(folder, Making()) as session:
        rows = layers_of(session.song, session.graph)
        offset_db = calibration_db(heard.calibrated_lufs, heard.listening_level_db_spl, heard.listening)
        found = hear(layer_audio(session, rows), rate_hz=48000, frames=session.graph.frames, offset_db=offset_db)
    then = loudness_of(found.layers["vox"]).in_mix_phon
    assert told.in_mix_phon.cued == pytest.approx(then.cued, abs=0.01)
    assert told.in_mix_phon.strict == pytest.approx(then.strict, abs=0.01)


def test_a_layer_that_is_not_there_is_one_line(song: Path) -> None:
    heard = measure(song).hearing
    with pytest.raises(SettingError, match="no layer is called 'tuba'"):
        without(song, heard, ["vox"], "tuba")


@pytest.mark.parametrize("layers", [[], ["pad"]])
def test_where_nothing_is_left_to_be_heard_that_is_said(song: Path, layers: list[str]) -> None:
    heard = measure(song).hearing
    with pytest.raises(SettingError, match="no layer is left to be heard without it"):
        without(song, heard, layers, "pad")
