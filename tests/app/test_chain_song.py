# SPDX-License-Identifier: Apache-2.0
"""Chains of inserts: told, held in loudness, saved and used again, on made-up layers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from made_songs import RATE_HZ, SECONDS, copy_song, make_song, write_audio
from mixwright import chain, mix, undo
from mixwright.app.session import open_song
from mixwright.engine.compiling import compile_mix
from mixwright.engine.render import render
from mixwright.errors import InputError, OutputError, SettingError, StateError
from mixwright.io.chain_file import read_chain
from mixwright.io.song_file import SONG_FILE, create_song, edit_song, load_song
from mixwright.meter.measure import Meter
from mixwright.model.chain import ChainFile
from mixwright.model.colour_inserts import Saturation
from mixwright.model.derived import resolved
from mixwright.model.dynamics_inserts import Clipper, Compressor, Expander
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Dip, DipBand, Duck, DuckRule
from mixwright.model.song import Group, Section, Send, Song, Track, changed, replace_in, strips_of, with_strip
from mixwright.model.strip import Reverb, Strip

DOCS = Path(__file__).resolve().parents[2] / "docs"
BRIGHT = Filters(high_pass=Pass(hz=200.0), bands=(EqBand(hz=1500.0, gain_db=9.0),))
DARK = Filters(bands=(EqBand(kind="tilt", hz=800.0, gain_db=-6.0),))
PRESSED = Compressor(threshold_db=-40.0, ratio=4.0, attack_ms=2.0, release_ms=60.0)
BENT = Saturation(drive_db=24.0)


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = make_song(tmp_path_factory.mktemp("chains"))
    chain(folder, "vox")
    return folder


@pytest.fixture
def song(made, tmp_path):
    return copy_song(made, tmp_path / "copy")


def put(song, id_, *inserts, **fields):
    def edit(now):
        kind, strip = next((k, s) for _, k, i, s in strips_of(now) if i == id_)
        return with_strip(now, kind, id_, changed(strip, inserts=inserts, **fields))

    return edit_song(song, "inserts", edit)


def lufs(audio, start_s=0.0, end_s=None):
    """The integrated loudness of audio by the meter, which its own tests hold to EBU Tech 3341."""
    meter = Meter(RATE_HZ, audio.shape[1], spectrum=False)
    meter.push(np.ascontiguousarray(audio))
    return meter.loudness().integrated_lufs(start_s, end_s)


def alone(song, id_):
    """A track alone at 0 dB in the middle of a mix without anything else, rendered as any mix is."""
    with open_song(song) as session:
        track = next(t for t in resolved(session.song).tracks if t.id == id_)
        plain = changed(session.song, tracks=(changed(track, group=""),), groups=(), pan_law_db=3.0)
        stems = {id_: session.audio[id_]}
        graph = compile_mix(plain, (), {id_: len(stems[id_])})
        return np.concatenate(list(render(graph, stems)))


def inserts_of(song, id_):
    return next(strip.inserts for _, _, i, strip in strips_of(resolved(load_song(song))) if i == id_)


def test_each_stage_is_held_as_loud_as_it_goes_in(song):
    """Each within 0.1 LU, whether it filters, follows levels, bends, or is heard beside what goes in."""
    parallel = changed(PRESSED, mix=0.4)
    chosen = (BRIGHT, PRESSED, BENT, parallel, DARK, Expander(threshold_db=-45.0), PRESSED)
    put(song, "vox", *chosen)
    before = chain(song, "vox")
    assert [stage.held for stage in before.stages].count(False) >= 5
    held = chain(song, "vox", hold=True)
    assert len(held.stages) == 7
    for stage in held.stages:
        assert abs(stage.out_lufs - stage.in_lufs) <= 0.1
    assert all(a.out_lufs == b.in_lufs for a, b in zip(held.stages, held.stages[1:], strict=False))
    assert chain(song, "vox") == changed(held, asked_to_hold=False)
    # Measured apart from all this: the strip alone in the mix, with its inserts and without.
    loud = lufs(alone(song, "vox"))
    assert held.stages[-1].out_lufs == pytest.approx(loud, abs=0.02)
    for kept in (1, 2, 4):
        put(song, "vox", *inserts_of(song, "vox")[:kept])
        assert lufs(alone(song, "vox")) == pytest.approx(held.stages[kept - 1].out_lufs, abs=0.02)
        edit_song(song, "back", lambda now: with_strip(now, "track", "vox", Strip(inserts=tuple(
            changed(insert, gain_db=stage.gain_db) for insert, stage in zip(chosen, held.stages, strict=True)
        ))))  # fmt: skip


def test_holding_is_one_step_and_nothing_the_second_time(song):
    put(song, "vox", BRIGHT, PRESSED)
    text = (song / SONG_FILE).read_text()
    chain(song, "vox", hold=True)
    held = (song / SONG_FILE).read_text()
    changed_lines = set(held.splitlines()) - set(text.splitlines())
    assert all(line.startswith("gain_db = ") for line in changed_lines)
    assert changed_lines
    chain(song, "vox", hold=True)
    assert (song / SONG_FILE).read_text() == held
    assert undo(song).undone == "chain vox --hold"
    assert (song / SONG_FILE).read_text() == text


@pytest.mark.parametrize("id_", ["drums", "hall", "master"])
def test_a_group_a_return_and_the_master_are_held(song, id_):
    def edit(now):
        hall = Send(id="hall", name="Hall", reverb=Reverb(kind="instruments", decay_s=0.5))
        vox = changed(now.tracks[0], sends={"hall": 0.0})
        return changed(now, sends=(hall,), tracks=replace_in(now.tracks, vox))

    edit_song(song, "hall", edit)
    put(song, id_, changed(PRESSED, threshold_db=-50.0), BRIGHT)
    held = chain(song, id_, hold=True)
    assert [abs(stage.out_lufs - stage.in_lufs) <= 0.1 for stage in held.stages] == [True, True]
    assert held.stages[0].reduction_max_db > held.stages[0].reduction_mean_db > 1.0
    assert held.stages[1].reduction_max_db is None
    if id_ == "master":
        assert mix(song).levels.integrated_lufs == pytest.approx(held.stages[-1].out_lufs, abs=0.02)


def test_what_is_heard_in_sections_is_measured_there(song):
    sections = (Section(name="first", start_s=2.0, end_s=6.0), Section(name="second", start_s=6.0, end_s=SECONDS))
    edit_song(song, "parts", lambda now: changed(now, sections=sections))
    put(song, "vox", changed(BRIGHT, sections=("first",)), changed(DARK, sections=("second",)), BENT)
    held = chain(song, "vox", hold=True)
    assert all(stage.held for stage in held.stages)
    one, other, _ = held.stages
    assert one.gain_db != 0.0 != other.gain_db
    plain = chain(song, "keys").in_lufs  # nothing is there
    assert plain is not None
    put(song, "vox", *[changed(insert, on=False) for insert in inserts_of(song, "vox")])
    dry = alone(song, "vox")
    put(song, "vox", *[changed(stage.insert, on=True) for stage in held.stages[:2]])
    wet = alone(song, "vox")
    for start_s, end_s in ((2.0, 6.0), (6.0, SECONDS)):
        assert lufs(wet, start_s, end_s) == pytest.approx(lufs(dry, start_s, end_s), abs=0.1)


def test_keys_are_heard_as_in_the_mix(song):
    """A layer ducked under a key is lowered while it sounds: by the measure as in the mix."""
    duck = Duck(key="vox", rules=(DuckRule(depth_db=12.0, above_db=-60.0, near_db=60.0),))
    dip = Dip(key="drums", form="threshold", threshold_db=-60.0, bands=(DipBand(hz=1200.0, most_db=12.0),))
    put(song, "pad", duck, dip)
    told = chain(song, "pad")
    assert told.stages[0].in_lufs - told.stages[0].out_lufs > 2.0
    assert told.stages[0].reduction_max_db == pytest.approx(12.0, abs=0.1)
    assert told.stages[1].reduction_max_db == pytest.approx(12.0, abs=0.5)
    with open_song(song) as session:
        audio = session.rendered(["pad"])
        assert told.stages[-1].out_lufs == pytest.approx(lufs(np.array(audio)), abs=0.02)
    assert all(stage.held for stage in chain(song, "pad", hold=True).stages)


def test_a_chain_on_a_group_of_panned_doubles(song):
    """Linked or not, a group of doubles panned apart is held, and both sides stay within what the link allows."""

    def edit(now):
        doubles = [
            changed(t, group="doubles", strip=Strip(pan=-1.0 if t.id.endswith("1") else 1.0))
            for t in now.tracks
            if t.id.startswith("guitar")
        ]
        tracks = now.tracks
        for double in doubles:
            tracks = replace_in(tracks, double)
        return changed(now, tracks=tracks, groups=(*now.groups, Group(id="doubles", name="Doubles")))

    edit_song(song, "doubles", edit)
    unlinked = changed(PRESSED, detector=changed(PRESSED.detector, link=0.0))
    for pressed in (PRESSED, unlinked):
        put(song, "doubles", BRIGHT, pressed, BRIGHT)
        held = chain(song, "doubles", hold=True)
        assert all(stage.held for stage in held.stages)
        assert held.stages[0].insert.bands == held.stages[2].insert.bands


def test_a_stage_that_overloads_is_named(song):
    loud = changed(BRIGHT, gain_db=40.0)
    put(song, "vox", DARK, loud, PRESSED, BENT)
    told = chain(song, "vox")
    assert [stage.overloads for stage in told.stages] == ["", "saturation", "", ""]
    put(song, "vox", loud, Clipper())
    assert [stage.overloads for stage in chain(song, "vox").stages] == ["clipper", ""]
    put(song, "vox", loud, DARK)  # float: nothing is cut
    assert [stage.overloads for stage in chain(song, "vox").stages] == ["", ""]
    put(song, "master", DARK, loud)
    told = chain(song, "master")
    assert (told.overloads, [stage.overloads for stage in told.stages]) == ("print", ["", ""])  # it came in too loud
    put(song, "master", DARK, loud, trim_db=-30.0)
    told = chain(song, "master")
    assert (told.overloads, [stage.overloads for stage in told.stages]) == ("", ["", "print"])
    put(song, "master", loud, fader_db=-60.0)
    assert [stage.overloads for stage in chain(song, "master").stages] == [""]


def test_what_cannot_be_held_stays(song):
    """Bypassed, silent, or gated away."""
    gate = Expander(threshold_db=10.0, ratio=100.0, range_db=120.0)
    put(song, "vox", changed(BRIGHT, on=False, gain_db=3.0), gate, BRIGHT)
    held = chain(song, "vox", hold=True)
    assert [stage.gain_db for stage in held.stages] == [3.0, 0.0, 0.0]
    assert [stage.held for stage in held.stages] == [True, False, True]


def test_a_derived_chain_is_held_by_changes_of_its_own(song):
    put(song, "vox", BRIGHT, PRESSED)
    edit_song(
        song,
        "as",
        lambda now: with_strip(now, "track", "keys", Strip(as_="vox", inserts=(DARK,))),
    )
    held = chain(song, "keys", hold=True)
    assert all(stage.held for stage in held.stages)
    strip = next(track.strip for track in load_song(song).tracks if track.id == "keys")
    assert [change.at for change in strip.changes] == ["filters.gain_db", "compressor.gain_db"]
    assert inserts_of(song, "vox") == (BRIGHT, PRESSED)
    chain(song, "keys", hold=True)
    assert next(track.strip for track in load_song(song).tracks if track.id == "keys") == strip


def test_a_chain_is_saved_and_used_on_another(song, tmp_path):
    file = tmp_path / "a.toml"
    put(song, "vox", BRIGHT, changed(PRESSED, key="kick"), BRIGHT)
    saved = chain(song, "vox", hold=True, save=file)
    inserts = tuple(stage.insert for stage in saved.stages)
    assert read_chain(file) == ChainFile(name="vox", in_lufs=round(saved.in_lufs, 1), inserts=inserts)
    put(song, "keys", trim_db=3.0)
    used = chain(song, "keys", use=file)
    assert inserts_of(song, "keys") == inserts_of(song, "vox")
    trim_db = 3.0 + round(saved.in_lufs, 1) - used.in_lufs
    (note,) = used.notes  # 4 LU louder than the voice by level, and by what the K-weighting makes of it
    assert f"trim_db = {trim_db:.1f} in its strip brings it there" in note
    put(song, "keys", *inserts, trim_db=trim_db)
    assert chain(song, "keys", use=file).in_lufs == pytest.approx(saved.in_lufs, abs=0.1)
    assert not chain(song, "keys", use=file).notes
    put(song, "keys", DARK)
    used = chain(song, "keys", use=file, hold=True)
    assert "place of 1 insert" in used.notes[0]
    assert all(stage.held for stage in used.stages)
    assert undo(song).undone == "chain keys --hold"
    assert undo(song).undone == "chain keys --use a.toml"
    assert inserts_of(song, "keys") == (DARK,)
    with pytest.raises(OutputError, match="exists already"):
        chain(song, "vox", save=file)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[inserts]]\nprocessor = "compressor"\nthreshold_db = -20.0\n', "ratio is missing"),
        ('[[inserts]]\nprocessor = "compresor"\n', 'a.toml:2 inserts[0].processor: "compresor" does not fit; did you'),
        ('[[inserts]]\nprocessor = "filters"\nhigh_pas = 1\n', "did you mean high_pass?"),
        (
            '[[inserts]]\nprocessor = "filters"\nmix = 2.0\n',
            "a.toml:3 inserts[0].mix: 2.0 does not fit; allowed: a num",
        ),
        ('[[inserts]]\nprocessor = "filters"\nmix = nan\n', "a.toml:3 inserts[0].mix"),
        ("inserts = 3", "a.toml:1 inserts"),
        ("insert = []", "did you mean inserts?"),
        ("chain = 2\n[[inserts]]\nprocessor = 'filters'", "newer version"),
        ("[[inserts", "a.toml:1: not legal TOML"),
        ("", "there are no inserts in it"),
        ("\x00", "a.toml:1"),
        (
            '[[inserts]]\nprocessor = "duck"\nkey = "kik"\nrules = [{}]\n',
            "a.toml inserts[0].key: no track, source, group or send is called 'kik'; did you mean kick?",
        ),
        ('[[inserts]]\nprocessor = "filters"\nsections = ["chorus 9"]\n', "a.toml inserts[0].sections: no section"),
    ],
)
def test_a_chain_that_does_not_fit_is_told_with_its_place(song, tmp_path, text, says):
    file = tmp_path / "a.toml"
    file.write_text(text)
    before = (song / SONG_FILE).read_bytes()
    with pytest.raises(SettingError) as told:
        chain(song, "pad", use=file)
    assert says in str(told.value)
    assert (song / SONG_FILE).read_bytes() == before


def test_what_is_not_there_is_told(song, tmp_path):
    with pytest.raises(SettingError, match="did you mean vox"):
        chain(song, "vix")
    with pytest.raises(InputError, match="cannot be read"):
        chain(song, "vox", use=tmp_path / "no.toml")
    with pytest.raises(SettingError, match=r"end the name with .toml"):
        chain(song, "vox", save=tmp_path / "no.wav")
    left = changed(load_song(song).tracks[0], use=False)
    edit_song(song, "left", lambda now: changed(now, tracks=replace_in(now.tracks, left), lead=()))
    with pytest.raises(StateError, match="left out"):
        chain(song, "vox")
    assert chain(song, "pad").stages == ()
    with pytest.raises(StateError, match="no inserts to save"):
        chain(song, "pad", save=tmp_path / "pad.toml")
    with pytest.raises(OutputError, match="no such folder"):
        chain(song, "pad", save=tmp_path / "none" / "pad.toml")


@pytest.fixture(scope="module")
def voice(tmp_path_factory):
    """Syllables of a buzz with formants, phrases of three loudnesses, a hiss between two syllables; at 48 kHz."""
    rate_hz, seconds = 48000, 12
    folder = tmp_path_factory.mktemp("voice")
    t = np.arange(rate_hz * seconds) / rate_hz
    rng = np.random.default_rng(5)
    buzz = sum(np.sin(2 * np.pi * 180.0 * k * t) / k * (1.0 + 2.0 * (k in (3, 4, 7, 15))) for k in range(1, 40))
    syllable = np.maximum(0.0, np.sin(2 * np.pi * 1.7 * t)) ** 0.5
    phrase = np.array([1.0, 0.35, 0.7, 0.0])[(t / 1.5).astype(int) % 4]
    hiss = rng.standard_normal(len(t)) * (np.sin(2 * np.pi * 1.7 * t) < -0.8)
    hiss = np.diff(hiss, prepend=0.0)
    audio = 0.1 * phrase * (buzz * syllable + 0.4 * hiss)
    write_audio(folder / "tracks" / "lead.wav", audio.astype(np.float32)[:, None], rate_hz)
    track = Track(id="lead", name="Lead", file="../tracks/lead.wav")
    create_song(folder / "song", Song(title="Made up", rate_hz=rate_hz, tracks=(track,)))
    return folder / "song"


def test_the_voice_chain_of_the_docs_is_held_at_every_stage(voice):
    text = (DOCS / "chains" / "voice.toml").read_text()
    assert "invented" in text.splitlines()[0]
    used = chain(voice, "lead", use=DOCS / "chains" / "voice.toml", hold=True)
    kinds = [type(stage.insert).__name__ for stage in used.stages]
    assert kinds == ["Levels", "DeEsser", "Filters", "Filters", "Compressor", "Compressor"]
    assert all(abs(stage.in_lufs - stage.out_lufs) <= 0.1 for stage in used.stages)
    assert all(stage.reduction_max_db > 0.5 for stage in used.stages if not isinstance(stage.insert, Filters))


def test_a_chain_that_does_not_fit_the_rate_changes_nothing(song):
    before = (song / SONG_FILE).read_bytes()
    with pytest.raises(SettingError, match=r"voice.toml inserts\[3\]: a filter at 11000 Hz does not fit"):
        chain(song, "vox", use=DOCS / "chains" / "voice.toml")
    assert (song / SONG_FILE).read_bytes() == before


def test_what_makes_room_for_a_key_is_not_made_up_for(song):
    dip = Dip(key="vox", bands=(DipBand(hz=800.0, most_db=6.0),))
    put(song, "pad", dip, BRIGHT)
    made = chain(song, "pad", hold=True)
    assert made.stages[0].gain_db == 0.0
    assert made.stages[0].held
    assert made.stages[1].gain_db < 0.0
