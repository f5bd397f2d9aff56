# SPDX-License-Identifier: Apache-2.0
"""Layers of a song as they are heard: what is a layer, what adds up to the mix, what is kept, what is told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest

from made_songs import write_audio
from mixwright.app import hearing, listening
from mixwright.app.hearing import NEVER_SOUNDS, SILENT_MIX
from mixwright.app.listening import layer_audio, layers_of
from mixwright.app.measure import measure
from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.engine.render import render
from mixwright.errors import Cancelled, SettingError
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ALONE, CUED, STRICT, Heard, Stretch
from mixwright.hearing.rise import rise_curve
from mixwright.hearing.statistics import loudness_of
from mixwright.io.song_file import create_song, edit_song
from mixwright.jobs.progress import Cancel
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import Pass
from mixwright.model.hearing import HeardLayer, HearingResult, Range
from mixwright.model.song import Group, Section, Send, Song, Source, Track, changed
from mixwright.model.strip import Limiter, Master, Reverb, Strip

SECONDS = 3.0
#: id, loudest frequency, level in dB, place; no two are alike
LAYERS = (("vox", 900.0, -26.0, "lead"), ("pad", 700.0, -24.0, "bed"), ("bass", 90.0, -22.0, "support"))


def sound(seed: int, hz: float, level_db: float, rate_hz: int, channels: int = 1) -> np.ndarray:
    """Return noise two octaves wide; the same at any rate, as all of it lies below 8 kHz."""
    rng, bins = np.random.default_rng(seed), round(8000 * SECONDS)
    frames = round(SECONDS * rate_hz)
    spectrum = np.zeros((frames // 2 + 1, channels), dtype=complex)
    spectrum[1:bins] = rng.standard_normal((bins - 1, channels)) + 1j * rng.standard_normal((bins - 1, channels))
    at_hz = np.maximum(np.arange(frames // 2 + 1) / SECONDS, 1.0)
    spectrum *= np.exp(-0.5 * np.log2(at_hz / hz) ** 2)[:, None]
    audio = np.fft.irfft(spectrum, frames, axis=0)
    audio *= 10.0 ** (level_db / 20.0) / np.sqrt(np.mean(audio**2))
    return audio.astype(np.float32)


def song_of(folder: Path, files: Mapping[str, np.ndarray], rate_hz: int = 48000, **fields: object) -> Path:
    places = {id_: place for id_, _, _, place in LAYERS}
    for id_, audio in files.items():
        write_audio(folder / "tracks" / f"{id_}.wav", audio, rate_hz)
    tracks = tuple(
        Track(id=id_, name=id_.capitalize(), file=f"../tracks/{id_}.wav", place=places.get(id_, "support"))
        for id_ in files
    )
    create_song(folder / "song", Song(**{"title": "Made up", "rate_hz": rate_hz, "tracks": tracks, **fields}))
    return folder / "song"


def three(rate_hz: int = 48000) -> dict[str, np.ndarray]:
    return {id_: sound(seed, hz, level_db, rate_hz) for seed, (id_, hz, level_db, _) in enumerate(LAYERS)}


def edit_track(folder: Path, id_: str, **fields: object) -> None:
    def edit(song: Song) -> Song:
        return changed(song, tracks=tuple(changed(t, **fields) if t.id == id_ else t for t in song.tracks))

    edit_song(folder, "test", edit)


def heard(folder: Path, **settings: object) -> HearingResult:
    with open_song(folder, Making()) as session:
        return hearing.heard(session, **settings)


def by_id(result: HearingResult) -> dict[str, HeardLayer]:
    return {layer.id: layer for layer in result.layers}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return song_of(tmp_path, three())


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> HearingResult:
    return heard(song_of(tmp_path_factory.mktemp("plain"), three()))


def busy(song: Song) -> Song:
    """A song with everything that could come between its layers and the mix."""
    strips = {
        "vox": Strip(high_pass=Pass(hz=120.0), fader_db=-2.0),
        "pad": Strip(pan=-0.4, delay_ms=3.0),
        "bass": Strip(trim_db=6.0, polarity="inverted"),
    }
    sends = {"vox": {"bass": -3.0, "hall": 0.0}, "pad": {}, "bass": {}}
    reverbs = (Reverb(kind="voice", decay_s=0.4), Reverb(kind="instruments", decay_s=0.3))
    return changed(
        song,
        tracks=tuple(
            changed(t, strip=strips[t.id], sends=sends[t.id], group="low" if t.id == "bass" else "")
            for t in song.tracks
        ),
        groups=(Group(id="low", name="Low", strip=Strip(fader_db=-1.0), sends={"hall": -6.0}),),
        # One send has the id of a track.
        sends=(
            Send(id="bass", name="Short", reverb=reverbs[0]),
            Send(id="hall", name="Hall", reverb=reverbs[1]),
            Send(id="unfed", name="Unfed"),
        ),
    )


@pytest.mark.parametrize("curved", [False, True], ids=["linear", "compressed and limited"])
def test_layers_and_returns_add_up_to_the_mix(folder: Path, curved: bool) -> None:
    def edit(song: Song) -> Song:
        if not curved:
            return busy(song)
        compressor = Compressor(threshold_db=-30.0, ratio=4.0)
        made = busy(song)
        groups = tuple(changed(group, strip=changed(group.strip, inserts=(compressor,))) for group in made.groups)
        return changed(made, groups=groups, master=Master(fader_db=14.0, inserts=(compressor,), limiter=Limiter()))

    edit_song(folder, "busy", edit)
    with open_song(folder, Making()) as session:
        rows = layers_of(session.song, session.graph)
        assert [row.id for row in rows] == ["vox", "pad", "bass", "send bass", "send hall"]
        audio = [np.concatenate(list(part(0, session.graph.frames))) for part in layer_audio(session, rows).values()]
        mix = np.concatenate(list(render(session.graph, session.audio, curves=session.curves())))
    assert all(np.abs(one).max() > 1e-4 for one in audio)
    # Doubles all the way, but for filtered tracks, which are kept as floats.
    np.testing.assert_allclose(np.sum(audio, axis=0), mix, atol=1e-6 * np.abs(mix).max())


def test_a_return_is_a_layer_and_takes_too(folder: Path) -> None:
    edit_song(folder, "busy", busy)
    layers = by_id(heard(folder))
    assert layers["send bass"].tracks == ()
    assert layers["send bass"].name == "Short"
    assert layers["bass"].tracks == ("bass",)
    # What returns is the voice itself, a little later: it lies where the voice does.
    assert {one.track for one in layers["vox"].taken_by} & {"send bass", "send hall"}


def test_what_is_muted_is_no_layer(folder: Path) -> None:
    edit_track(folder, "pad", mute=True)
    edit_song(folder, "group", lambda song: changed(song, groups=(Group(id="low", name="Low", mute=True),)))
    edit_track(folder, "bass", group="low")
    result = measure(folder)
    (layer,) = result.hearing.layers
    assert layer.id == "vox"
    assert layer.share.strict == pytest.approx(1.0, abs=0.001)
    assert layer.fader_equivalent_db.strict == pytest.approx(0.0, abs=0.02)
    assert layer.taken_by == ()
    assert {track.id: track.not_heard for track in result.tracks} == {"vox": "", "pad": "muted", "bass": "muted"}
    assert all((track.share is None) == (track.id != "vox") for track in result.tracks)


def test_tracks_that_read_as_one_are_one_layer(folder: Path) -> None:
    edit_song(folder, "one", lambda song: changed(song, sources=(Source(id="bed-and-low", name="Bed and low"),)))
    for id_ in ("pad", "bass"):
        edit_track(folder, id_, source="bed-and-low")
    result = measure(folder)
    one = by_id(result.hearing)["bed-and-low"]
    assert (one.name, one.tracks, one.place) == ("Bed and low", ("pad", "bass"), "support")
    assert [track.share for track in result.tracks[1:]] == [one.share, one.share]
    assert [taken.track for taken in one.taken_by] == ["vox"]


def test_figures_are_ordered_as_they_must_be(plain: HearingResult) -> None:
    assert plain.k_offset_db == Range(cued=-10.0, strict=0.0)
    for layer in plain.layers:
        assert 0.0 <= layer.share.strict < layer.share.cued < 1.0
        assert layer.share.cued == pytest.approx(layer.in_mix_sone.cued / layer.alone_sone)
        assert layer.in_mix_phon.strict < layer.in_mix_phon.cued < layer.alone_phon
        assert 0.0 < layer.fader_equivalent_db.cued < layer.fader_equivalent_db.strict
        assert sum(one.fraction for one in layer.taken_by) == pytest.approx(1.0)
        # Bands add up to the whole; they are means over cells four times as long.
        assert sum(band.alone_sone for band in layer.bands) == pytest.approx(layer.alone_sone, rel=0.02)
    # The voice and the pad lie in one range, and the bass in another.
    assert {layer.id: layer.taken_by[0].track for layer in plain.layers} == {"vox": "pad", "pad": "vox", "bass": "pad"}


@pytest.mark.parametrize("rate_hz", [44100, 96000])
def test_the_rate_of_the_song_makes_no_difference(tmp_path: Path, plain: HearingResult, rate_hz: int) -> None:
    other = by_id(heard(song_of(tmp_path, three(rate_hz), rate_hz)))
    for layer in plain.layers:
        assert other[layer.id].alone_phon == pytest.approx(layer.alone_phon, abs=0.1)
        assert other[layer.id].in_mix_phon.strict == pytest.approx(layer.in_mix_phon.strict, abs=0.2)
        assert other[layer.id].fader_equivalent_db.cued == pytest.approx(layer.fader_equivalent_db.cued, abs=0.3)


def test_mono_in_the_middle_and_two_equal_sides_are_one_thing(tmp_path: Path, plain: HearingResult) -> None:
    sides = {id_: np.repeat(audio, 2, axis=1) for id_, audio in three().items()}
    folder = song_of(tmp_path, sides)
    layers = by_id(heard(folder))
    for layer in plain.layers:
        assert layers[layer.id].alone_phon == pytest.approx(layer.alone_phon, abs=0.05)
        assert layers[layer.id].share.strict == pytest.approx(layer.share.strict, abs=0.001)
    # Apart to the sides they mask each other in neither ear.
    edit_track(folder, "vox", strip=Strip(left=-1.0, right=-1.0))
    edit_track(folder, "pad", strip=Strip(left=1.0, right=1.0))
    assert by_id(heard(folder))["vox"].share.strict > layers["vox"].share.strict + 0.1
    # Loudspeakers bring each to both ears again.
    before = by_id(heard(folder))["vox"].share.strict
    assert by_id(heard(folder, listening="loudspeakers"))["vox"].share.strict < before


def test_louder_listening_is_louder_and_out_of_range_is_told(folder: Path, plain: HearingResult) -> None:
    quiet = by_id(heard(folder, listening_level_db_spl=65.0))
    for layer in plain.layers:
        assert quiet[layer.id].alone_phon == pytest.approx(layer.alone_phon - 14.0, abs=4.0)
    for wrong in (59.0, 91.0, float("nan")):
        with pytest.raises(SettingError, match="60 to 90"):
            heard(folder, listening_level_db_spl=wrong)


def test_silence_has_a_reason_in_place_of_figures(tmp_path: Path) -> None:
    nothing = np.zeros((48000, 1), dtype=np.float32)
    (layer,) = heard(song_of(tmp_path / "all", {"vox": nothing})).layers
    assert (layer.why, layer.share, layer.bands, layer.active_s) == (SILENT_MIX, None, (), 0.0)
    layers = by_id(heard(song_of(tmp_path / "one", {**three(), "hiss": nothing})))
    assert layers["hiss"].why == NEVER_SOUNDS
    assert layers["vox"].share is not None
    assert "hiss" not in {one.track for layer in layers.values() for one in layer.taken_by}


def test_a_song_of_a_few_samples(tmp_path: Path) -> None:
    (layer,) = heard(song_of(tmp_path, {"vox": three()["vox"][:30]})).layers
    assert (layer.why, layer.share) == (SILENT_MIX, None)


def test_sections(folder: Path) -> None:
    pad = three()["pad"]
    pad[round(1.4 * 48000) :] = 0.0
    write_audio(folder.parent / "tracks" / "pad.wav", pad, 48000)
    sections = (
        Section(name="with", start_s=0.1, end_s=1.3),
        Section(name="without", start_s=1.7, end_s=9.0),
        Section(name="past the end", start_s=10.0, end_s=12.0),
    )
    edit_song(folder, "sections", lambda song: changed(song, sections=sections))
    edit_track(folder, "pad", sha256="")
    result = measure(folder)
    layers = by_id(result.hearing)
    assert [part.name for part in layers["vox"].sections] == ["with", "without", "past the end"]
    there, gone, past = layers["vox"].sections
    assert gone.share.strict > there.share.strict + 0.2
    assert gone.active_s == pytest.approx(1.3, abs=0.1)
    assert there.taken_by[0].track == "pad"
    assert "pad" not in {one.track for one in gone.taken_by}
    assert (past.share, past.taken_by, past.active_s) == (None, (), 0.0)
    assert layers["pad"].sections[1].share is None
    assert result.tracks[0].sections[0].share == there.share


def test_a_raised_layer_is_heard_as_told(folder: Path) -> None:
    """The fader equivalent is solved on a sketch: what it says is tried on the song itself, at the same calibration."""
    audio = {id_: np.repeat(one, 2, axis=1) for id_, one in three().items()}
    beat = (np.arange(len(audio["vox"])) % 24000 < 9000)[:, None]
    audio["vox"] = audio["vox"] * beat  # a quarter of a second each, three times a second

    def listened(gain_db: float) -> Heard:
        layers = {**audio, "vox": audio["vox"] * np.float32(10.0 ** (gain_db / 20.0))}
        settings = {"rate_hz": 48000, "frames": len(beat), "offset_db": 95.0}
        found = hear({id_: held(one) for id_, one in layers.items()}, **settings)
        return found.layers["vox"]

    before = listened(0.0)
    told = hearing._fader_equivalent(before, [rise_curve(part.sketch) for part in before.stretches])
    wanted = loudness_of(before).alone_sone
    for row, gain_db in ((CUED, told.cued), (STRICT, told.strict)):
        assert gain_db > 1.0
        after = listened(gain_db)
        sounding = before.total[ALONE] > 0.05
        # Half a dB of fader is about 4 % of loudness.
        assert after.total[row, sounding].mean() == pytest.approx(wanted, rel=0.04)


def test_layers_mixed_elsewhere_are_heard_as_they_are(tmp_path: Path, plain: HearingResult) -> None:
    layers = by_id(heard(song_of(tmp_path, three(), tracks_are="as mixed")))
    assert {id_: layer.share for id_, layer in layers.items()} == {layer.id: layer.share for layer in plain.layers}


def test_what_did_not_change_comes_from_the_cache(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    times: list[Stretch] = []
    real: Callable[..., object] = listening.hear_stretch
    monkeypatch.setattr(listening, "hear_stretch", lambda *args: (times.append(args[2]), real(*args))[1])
    sections = (Section(name="verse", start_s=0.0, end_s=1.6),)
    edit_song(folder, "sections", lambda song: changed(song, sections=sections))
    before = heard(folder)
    assert heard(folder) == before
    # Names and places are no matter of hearing.
    edit_track(folder, "pad", name="The pad", place="support")
    edit_song(folder, "names", lambda song: changed(song, sections=(changed(sections[0], name="strophe"),)))
    renamed = by_id(heard(folder))["pad"]
    assert (renamed.name, renamed.place, renamed.sections[0].name) == ("The pad", "support", "strophe")
    assert len(times) == 2
    edit_track(folder, "pad", strip=Strip(fader_db=-6.0))
    after = by_id(heard(folder))
    assert len(times) == 4
    assert after["vox"].share.strict > by_id(before)["vox"].share.strict
    heard(folder, listening="loudspeakers")
    assert len(times) == 6
    edit_track(folder, "pad", strip=Strip())
    assert by_id(heard(folder))["vox"].share == by_id(before)["vox"].share
    assert len(times) == 6


def test_it_stops_when_asked(folder: Path) -> None:
    cancel = Cancel()
    told: list[str] = []

    def report(progress: object) -> None:
        told.append(progress.job)
        if progress.job == "hearing layers":
            cancel.cancel()

    with open_song(folder, Making()) as session, pytest.raises(Cancelled):
        hearing.heard(session, report=report, cancel=cancel)
    assert told[-1] == "hearing layers"
