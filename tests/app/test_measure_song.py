# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest

from made_songs import LAYERS, RATE_HZ, band_noise, copy_song, make_song, write_audio
from mixwright.app import scene, session
from mixwright.app.decide import add
from mixwright.app.measure import measure
from mixwright.errors import InputError
from mixwright.io.kept import read_kept, read_lanes
from mixwright.io.song_file import edit_song, load_song
from mixwright.meter.measure import measure as measure_audio
from mixwright.model.results import MeasureResult
from mixwright.model.song import Group, changed, replace_in
from mixwright.model.strip import Strip
from mixwright.report.text import measure_text


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    folder = make_song(tmp_path_factory.mktemp("made"))
    return folder, measure(folder)


def test_a_layer_reads_what_its_audio_reads_in_the_centre(measured):
    # Pan law 3 dB: a mono track in the centre reads on two sides what it reads as one channel.
    _, result = measured
    for seed, (id_, *_, hz, start_s, end_s, level_db) in enumerate(LAYERS):
        audio = band_noise(seed, hz, level_db, start_s, end_s)
        track = next(track for track in result.tracks if track.id == id_)
        assert track.integrated_lufs == pytest.approx(measure_audio(audio, RATE_HZ).integrated_lufs, abs=0.01)
        assert track.re_mix_lu == pytest.approx(track.integrated_lufs - result.mix.integrated_lufs, abs=1e-9)


def test_a_layer_says_when_it_sounds(measured):
    _, result = measured
    keys = next(track for track in result.tracks if track.id == "keys")
    assert len(keys.sounds) == 1
    assert keys.sounds[0] == pytest.approx((4.0, 12.0), abs=0.25)
    assert keys.active_s == pytest.approx(8.0, abs=0.3)
    verse, chorus = keys.sections
    assert (verse.name, chorus.name) == ("verse", "chorus")
    assert verse.integrated_lufs == pytest.approx(chorus.integrated_lufs, abs=0.6)


def test_the_result_is_kept_and_known_to_be_stale_after_a_change(measured, tmp_path):
    folder, result = measured
    assert read_kept(folder, "measure", MeasureResult) == result
    own = copy_song(folder, tmp_path / "copy")
    kept = measure(own)
    before = scene.sounding_hash(load_song(own), read_lanes(own))
    edit_song(own, "fader", lambda song: changed(song, tempo_bpm=90.0))
    assert scene.sounding_hash(load_song(own), read_lanes(own)) == before
    add(own, "level pad -3 dB")
    assert scene.sounding_hash(load_song(own), read_lanes(own)) != before
    assert measure(own).sounding != kept.sounding


def test_after_one_changed_fader_only_that_layer_and_the_mix_are_rendered(measured, tmp_path, monkeypatch):
    folder = copy_song(measured[0], tmp_path / "copy")
    rendered = []
    real = session.render
    monkeypatch.setattr(
        session, "render", lambda *a, tracks=None, **k: rendered.append(tracks) or real(*a, tracks=tracks, **k)
    )
    first = measure(folder)
    assert rendered == []

    def louder(song):
        pad = next(track for track in song.tracks if track.id == "pad")
        return changed(song, tracks=replace_in(song.tracks, changed(pad, strip=Strip(fader_db=-6.0))))

    edit_song(folder, "fader", louder)
    second = measure(folder)
    assert sorted(rendered, key=str) == sorted([None, frozenset(["pad"])], key=str)
    pads = [next(t for t in result.tracks if t.id == "pad").integrated_lufs for result in (first, second)]
    assert pads[1] - pads[0] == pytest.approx(-6.0, abs=0.01)


def test_what_a_group_does_counts_for_its_tracks(measured, tmp_path):
    folder = copy_song(measured[0], tmp_path / "copy")
    group = Group(id="drums", name="Drums", strip=Strip(fader_db=-4.0))
    edit_song(folder, "group", lambda song: changed(song, groups=(group,)))
    plain, result = measured[1], measure(folder)
    for id_ in ("kick", "snare", "hats"):
        one, other = (next(t for t in r.tracks if t.id == id_).integrated_lufs for r in (plain, result))
        assert other - one == pytest.approx(-4.0, abs=0.01)


def test_layers_as_mixed_are_held_against_the_print_of_the_mix(tmp_path):
    folder = make_song(tmp_path, tracks_are="as mixed", mix_print="../print.wav")
    layers = sum(band_noise(seed, hz, db, a, b) for seed, (*_, hz, a, b, db) in enumerate(LAYERS))
    stereo = np.repeat(layers * np.sqrt(0.5), 2, axis=1)
    late = np.concatenate([np.zeros((160, 2), dtype=np.float32), -0.5 * stereo])
    hiss = 0.001 * np.random.default_rng(5).standard_normal(late.shape)
    write_audio(tmp_path / "print.wav", (late + hiss).astype(np.float32))
    fit = measure(folder).print_fit
    assert fit.lag_frames == 160
    assert fit.gain_db == pytest.approx(-6.02, abs=0.01)
    assert fit.polarity == "inverted"
    expected = 10.0 * np.log10(np.mean(hiss**2) / np.mean((late + hiss) ** 2))
    assert fit.residual_db == pytest.approx(expected, abs=0.5)
    # The layers themselves leave nothing over; what a cut print lacks is left over; a silent one tells nothing.
    write_audio(tmp_path / "print.wav", stereo.astype(np.float32))
    assert measure(folder).print_fit.residual_db < -100.0
    write_audio(tmp_path / "print.wav", stereo[: len(stereo) // 2].astype(np.float32))
    cut = 10.0 * np.log10(np.sum(stereo[len(stereo) // 2 :] ** 2) / np.sum(stereo**2))
    assert measure(folder).print_fit.residual_db == pytest.approx(cut, abs=0.1)
    write_audio(tmp_path / "print.wav", np.zeros_like(stereo, dtype=np.float32))
    assert measure(folder).print_fit.residual_db is None


def test_a_missing_reference_or_print_is_named(tmp_path):
    folder = make_song(tmp_path, reference=np.zeros((RATE_HZ, 2), dtype=np.float32))
    (tmp_path / "records" / "record.wav").unlink()
    with pytest.raises(InputError, match=r"record\.wav: this reference is missing"):
        measure(folder)
    edit_song(folder, "print", lambda song: changed(song, references=(), mix_print="gone.wav"))
    with pytest.raises(InputError, match=r"gone\.wav"):
        measure(folder)


@pytest.mark.parametrize("reference", [np.zeros((RATE_HZ, 2)), np.full((RATE_HZ // 4, 2), 0.1)])
def test_a_reference_that_has_no_loudness_is_told_and_not_used(tmp_path, reference):
    """ITU-R BS.1770-5 measures in blocks of 400 ms: what is shorter, or silent, has no integrated loudness."""
    folder = make_song(tmp_path, reference=reference.astype(np.float32))
    result = measure(folder)
    assert result.reference_spectrum is None
    (note,) = result.notes
    assert note.startswith("The reference record is not used: ")
    assert note in measure_text(result)
    assert note in (folder / "page.html").read_text(encoding="utf-8")


def test_references_give_a_spectrum_to_stand_beside(tmp_path):
    rng = np.random.default_rng(3)
    reference = (0.05 * rng.standard_normal((8 * RATE_HZ, 2))).astype(np.float32)
    spectrum = measure(make_song(tmp_path, reference=reference)).reference_spectrum
    assert len(spectrum.low_db) == len(spectrum.third_octave_hz) == len(spectrum.high_db)
    assert all(low < high for low, high in zip(spectrum.low_db, spectrum.high_db, strict=True))
    assert spectrum.references == ("../records/record.wav",)
