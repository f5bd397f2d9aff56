# SPDX-License-Identifier: Apache-2.0
"""A song with bus compressors, a reverb and a limiter driven hard: ceiling, sums of what is printed, what is told."""

from __future__ import annotations

import json
import shutil

import numpy as np
import pytest
import soundfile

from made_songs import LAYERS, RATE_HZ, copy_song, make_song
from mixwright.app import dynamics as dynamics_module
from mixwright.app import session as session_module
from mixwright.app.deliver import deliver
from mixwright.app.measure import measure
from mixwright.app.mix import mix
from mixwright.app.plan import plan
from mixwright.app.session import open_song
from mixwright.app.space import Making
from mixwright.io.kept import read_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule
from mixwright.model.results import MixResult
from mixwright.model.song import Group, Send, changed, replace_in
from mixwright.model.strip import Limiter, Master, Reverb, Strip
from mixwright.report.text import mix_text
from mixwright.report.warnings import warnings_of

DRUMS = Compressor(threshold_db=-30.0, ratio=3.0, attack_ms=5.0, release_ms=80.0, gain_db=3.0)
GLUE = Compressor(threshold_db=-24.0, ratio=2.0)
DIPPED = Dip(key="vox", bands=(DipBand(hz=900.0, most_db=9.0),))
DUCKED = Duck(key="bass", rules=(DuckRule(depth_db=4.0),))
CEILING_DBTP = -2.0


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A made song, mixed once, with all that is not linear: processors on buses, a track and a return with keys."""
    fields = {
        "groups": (Group(id="drums", name="Drums", strip=Strip(inserts=(DRUMS,)), sends={"room": -20.0}),),
        "sends": (
            Send(
                id="room",
                name="Room",
                strip=Strip(inserts=(DUCKED,)),
                reverb=Reverb(kind="voice", decay_s=0.8, high_hz=5000.0),
            ),
        ),
        "master": Master(fader_db=14.0, inserts=(GLUE,), limiter=Limiter(ceiling_dbtp=CEILING_DBTP)),
    }
    folder = make_song(tmp_path_factory.mktemp("dynamics"), **fields)
    fields = {"vox": {"sends": {"room": -9.0}}, "pad": {"strip": Strip(inserts=(DIPPED,))}}
    edit_song(
        folder,
        "sends and keys",
        lambda now: changed(now, tracks=tuple(changed(t, **fields.get(t.id, {})) for t in now.tracks)),
    )
    return folder, mix(folder)


@pytest.fixture
def song(made, tmp_path):
    """A copy with its cache."""
    return copy_song(made[0], tmp_path / "copy")


def dbtp(audio):
    return 20.0 * np.log10(true_peak_16x([audio]))


def test_a_hard_driven_mix_keeps_its_ceiling(made):
    folder, result = made
    audio, _ = soundfile.read(folder / result.file)
    assert result.sample_format == "pcm24"
    assert result.notes == ()
    assert CEILING_DBTP - 0.1 < dbtp(audio) < CEILING_DBTP + 0.05
    assert result.levels.true_peak_dbtp == pytest.approx(CEILING_DBTP, abs=0.1)
    assert len(audio) == 12 * RATE_HZ + round(0.82 * RATE_HZ)  # the layers, pre-delay and decay of the reverb


def test_what_the_processors_do_is_told(made):
    folder, result = made
    drums, room, master, limiter = result.dynamics.reductions
    assert [(r.processor, r.on) for r in result.dynamics.reductions] == [
        ("compressor", "drums"),
        ("duck", "room"),
        ("compressor", "master"),
        ("limiter", "master"),
    ]
    assert room.largest_reduction_db == pytest.approx(4.0, abs=0.1)
    for found in (drums, room, master, limiter):
        assert 0.0 <= found.mean_reduction_db < found.largest_reduction_db < 40.0
        assert 0.0 <= found.largest_at_s < result.frames / RATE_HZ
    assert limiter.largest_reduction_db > 6.0
    assert -0.5 < result.dynamics.limiter_trim_db <= 0.0
    assert read_kept(folder, "mix", MixResult).dynamics == result.dynamics
    assert measure(folder).dynamics == result.dynamics
    (warning,) = warnings_of(result)
    assert warning.startswith("The limiter takes off more than 6 dB: ")
    told = "\n".join(mix_text(result, "song", result.file))
    assert f"The compressor of drums takes off {drums.largest_reduction_db:.1f} dB at most, at 0:" in told
    assert f"{limiter.mean_reduction_db:.1f} dB on average." in told
    assert "takes off" in (folder / "page.html").read_text(encoding="utf-8")


def test_the_largest_reduction_is_that_of_the_gains(made):
    """By plain numpy over the whole curve."""
    with open_song(made[0], Making()) as session:
        curves, dynamics = session.curves(), session.dynamics()
        gains = np.asarray(curves.gains, dtype=np.float64)
        frames = session.graph.frames
        late = [bus.latency_frames for bus in session.graph.buses if bus.gains]
        behind = [*late, len(gains) - frames]
    assert curves.trim_db == dynamics.limiter_trim_db
    reduction_db = -20.0 * np.log10(gains)
    for k, found in enumerate(dynamics.reductions):
        assert found.largest_reduction_db == pytest.approx(max(0.0, reduction_db[:, k].max()), abs=1e-9)
        row = round(found.largest_at_s * RATE_HZ) + behind[k]
        assert reduction_db[row, k] == pytest.approx(found.largest_reduction_db)
        assert found.mean_reduction_db == pytest.approx(np.maximum(reduction_db[:, k], 0.0).sum() / frames, abs=1e-9)


def test_prints_add_up_to_the_limited_mix(song):
    result = deliver(song)
    assert [check for check in result.checks if not check.passed] == []
    read = {f.file: soundfile.read(song / result.folder / f.file)[0] for f in result.files}
    main = next(f.file for f in result.files if f.kind == "main")
    gain_db = json.loads((song / result.manifest).read_text(encoding="utf-8"))["gain_db"]
    assert dbtp(read[main]) < CEILING_DBTP + gain_db + 0.05
    with open_song(song, Making()) as session:
        whole = session.rendered().astype(np.float64) * 10.0 ** (gain_db / 20.0)
    # The song begins and ends with a step, where its prints are faded over a millisecond.
    faded = round(0.001 * RATE_HZ)
    inside = slice(faded, len(whole) - faded)

    def residual_db(kinds, sample_format, wanted, where=slice(None)):
        parts = [read[f.file] for f in result.files if f.kind in kinds and f.sample_format == sample_format]
        assert len(parts) > 1
        return 20.0 * np.log10(np.abs(np.sum(parts, axis=0) - wanted)[where].max())

    assert residual_db({"stem"}, "float32", whole, inside) < -120.0
    assert residual_db({"stem"}, "pcm24", read[main]) < -90.0
    assert residual_db({"instrumental", "a_cappella"}, "pcm24", read[main]) < -90.0
    for kind, end_s in (("a_cappella", 11), ("instrumental", 12)):  # the reverb is in the print of what feeds it
        tail = read[next(f.file for f in result.files if f.kind == kind)][end_s * RATE_HZ :]
        assert 1e-4 < np.abs(tail).max() < 0.1


def test_what_the_limiter_leaves_over_is_taken_off_the_whole(song, monkeypatch):
    """As if its gain had left the true peak 0.2 dB over the ceiling."""
    real = dynamics_module.true_peak_16x
    monkeypatch.setattr(dynamics_module, "true_peak_16x", lambda blocks: real(blocks) * 10.0 ** (0.2 / 20.0))
    edit_song(song, "release", lambda now: changed(now, master=changed(now.master, limiter=Limiter(release_ms=50.0))))
    with open_song(song, Making()) as session:
        whole, parts = session.rendered(), [session.rendered([layer[0]]) for layer in LAYERS]
        trim_db = session.dynamics().limiter_trim_db
    assert trim_db == pytest.approx(-0.2, abs=0.002)
    assert dbtp(whole) == pytest.approx(-1.0 + trim_db, abs=0.003)
    assert np.abs(np.sum(parts, axis=0, dtype=np.float64) - whole).max() < 10.0 ** (-120.0 / 20.0)
    assert trim_db * 1000.0 == pytest.approx(round(trim_db * 1000.0))


def test_the_same_bytes_without_a_cache(song, made):
    shutil.rmtree(song / "cache")
    assert mix(song).sha256 == made[1].sha256


def test_figures_lost_from_the_cache_are_measured_again(song, made):
    for record in (song / "cache").glob("*.json"):
        record.unlink()
    again = mix(song)
    assert (again.sha256, again.dynamics, again.levels) == (made[1].sha256, made[1].dynamics, made[1].levels)


def test_mix_and_measure_measure_the_whole_once(song, monkeypatch):
    rendered = []
    real = session_module.render

    def counting(*given, tracks=None, **more):
        rendered.append(tracks)
        return real(*given, tracks=tracks, **more)

    edit_song(song, "fader", lambda now: changed(now, master=changed(now.master, fader_db=13.0)))
    first = mix(song)
    monkeypatch.setattr(session_module, "render", counting)
    assert measure(song).mix == first.levels
    assert {next(iter(tracks)) for tracks in rendered if len(tracks) == 1} == {layer[0] for layer in LAYERS}
    rendered.clear()
    edit_song(song, "fader", lambda now: changed(now, master=changed(now.master, fader_db=12.0)))
    second = measure(song)
    assert rendered.count(None) == 1
    assert mix(song).levels == second.mix
    assert rendered.count(None) == 2  # for its audio, not for its levels


def test_a_layer_under_a_compressor_is_measured_again_when_another_changes(song, monkeypatch):
    def only_drums(now):
        return changed(now, master=Master(fader_db=-3.0))

    edit_song(song, "no limiter", only_drums)
    before = {t.id: t for t in measure(song).tracks}

    def louder(now):
        kick = next(track for track in now.tracks if track.id == "kick")
        return changed(now, tracks=replace_in(now.tracks, changed(kick, strip=Strip(fader_db=9.0))))

    edit_song(song, "kick", louder)
    after = {t.id: t for t in measure(song).tracks}
    assert after["snare"].integrated_lufs < before["snare"].integrated_lufs - 0.5  # the kick takes it down
    assert after["bass"].integrated_lufs == before["bass"].integrated_lufs


def test_room_is_looked_for_before_the_limiter(song):
    result = plan(song)
    (move,) = (m for m in result.moves if m.target == "master")
    assert "before the limiter" in move.reason
    assert move.predicted["true_peak_before_limiter_dbtp"] == pytest.approx(-3.0, abs=0.06)
    assert move.measured["true_peak_before_limiter_dbtp"] > 4.0
    edit_song(song, "idle", lambda now: changed(now, master=changed(now.master, fader_db=-12.0), moves=()))
    assert not [m for m in plan(song).moves if m.target == "master"]


def test_a_linear_song_has_no_gains(tmp_path):
    folder = make_song(tmp_path)
    result = mix(folder)
    assert result.dynamics is None
    with open_song(folder, Making()) as session:
        assert session.curves() is None
    assert load_song(folder).master == Master()
