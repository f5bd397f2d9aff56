# SPDX-License-Identifier: Apache-2.0
"""Derived chains: as another strip, but for some changes. The song is invented."""

from __future__ import annotations

import pytest

from mixwright.errors import SettingError
from mixwright.io.song_text import changed_text, new_text, read_song
from mixwright.model.checks import check_song
from mixwright.model.derived import insert_name, resolved, taken_inserts
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Dip, DipBand
from mixwright.model.song import Group, Song, Track, changed, replace_in
from mixwright.model.strip import Change, Strip

TEXT = """\
schema = 3
title = "Night Bus"
rate_hz = 48000

[[tracks]]
id = "lead-vox"
name = "Lead"
file = "lead.wav"
[tracks.strip]
trim_db = -2.0
high_pass = { hz = 80.0, slope_db_oct = 12 }
fader_db = -3.0
[[tracks.strip.inserts]]
processor = "compressor"
threshold_db = -20.0
ratio = 3.0
[[tracks.strip.inserts]]
processor = "filters"
bands = [{ hz = 3000.0, gain_db = 2.0 }]
[[tracks.strip.inserts]]
processor = "compressor"
threshold_db = -12.0
ratio = 1.5

[[tracks]]
id = "backing"
name = "Backing"
file = "backing.wav"
[tracks.strip]
as = "lead-vox"            # the filters and inserts of the lead
changes = [
  { at = "high_pass.hz", times = 2.0 },
  { at = "high_pass.slope_db_oct", set = 24 },
  { at = "filters.bands[0].gain_db", add = -3.0 },
  { at = "compressor[1].on", set = false },
]
eq = [{ kind = "tilt", hz = 1500.0, gain_db = -2.0 }]
"""


def song_of(text=TEXT):
    return read_song(text)[1]


def strip_of(song, id_):
    return next(track.strip for track in song.tracks if track.id == id_)


def test_a_strip_is_as_another_but_for_its_changes():
    found = strip_of(resolved(song_of()), "backing")
    assert found == Strip(
        high_pass=Pass(hz=160.0, slope_db_oct=24),
        eq=(EqBand(kind="tilt", hz=1500.0, gain_db=-2.0),),
        inserts=(
            Compressor(threshold_db=-20.0, ratio=3.0),
            Filters(bands=(EqBand(hz=3000.0, gain_db=-1.0),)),
            Compressor(threshold_db=-12.0, ratio=1.5, on=False),
        ),
    )
    assert taken_inserts(song_of(), "track", "backing") == 3
    assert [insert_name(found, k) for k in range(3)] == ["compressor[0]", "filters", "compressor[1]"]


def test_it_follows_what_is_changed_in_the_other():
    song = song_of()
    lead = strip_of(song, "lead-vox")
    inserts = (Filters(low_pass=Pass(hz=9000.0)), changed(lead.inserts[0], threshold_db=-30.0), *lead.inserts[1:])
    after = changed(song, tracks=replace_in(song.tracks, changed(song.tracks[0], strip=changed(lead, inserts=inserts))))
    with pytest.raises(SettingError, match="2 inserts filters"):  # which of both is meant cannot be known
        resolved(after)
    after = song_of(TEXT.replace("threshold_db = -20.0", "threshold_db = -30.0").replace("hz = 80.0", "hz = 90.0"))
    found = strip_of(resolved(after), "backing")
    assert (found.inserts[0].threshold_db, found.high_pass.hz) == (-30.0, 180.0)


def test_what_is_its_own_stands_in_place_of_the_other_or_after_it():
    own = Strip(as_="lead-vox", high_pass=Pass(hz=200.0), low_pass=Pass(hz=8000.0), inserts=(Filters(),), pan=0.5)
    song = song_of()
    group = Group(id="choir", name="Choir", strip=own)
    derived = Track(id="far", name="Far", file="f", strip=Strip(as_="choir"))
    song = changed(song, groups=(group,), tracks=(*song.tracks, derived))
    check_song(song)
    found = resolved(song).groups[0].strip
    assert (found.high_pass, found.low_pass, found.pan) == (own.high_pass, own.low_pass, 0.5)
    assert found.inserts == (*strip_of(song, "lead-vox").inserts, Filters())
    assert strip_of(resolved(song), "far") == changed(found, pan=0.0)


def test_the_text_keeps_what_is_said_and_says_what_is_changed():
    raw, song = read_song(TEXT)
    assert changed_text(TEXT, raw, song) == TEXT
    backing = strip_of(song, "backing")
    more = (*backing.changes, Change(at="compressor[0].gain_db", set=1.5))
    after = changed(song, tracks=replace_in(song.tracks, changed(song.tracks[1], strip=changed(backing, changes=more))))
    text = changed_text(TEXT, raw, after)
    assert text == TEXT.replace("set = false },\n", 'set = false },\n  { at = "compressor[0].gain_db", set = 1.5 },\n')
    assert read_song(new_text(after))[1] == after


def test_a_song_without_derived_strips_stays_what_it_is():
    song = changed(song_of(), tracks=song_of().tracks[:1])
    assert resolved(song) is song


@pytest.mark.parametrize(
    ("change", "where", "says"),
    [
        ('as = "lead-vos"', "tracks[1].strip.as", "did you mean lead-vox?"),
        ('as = "backing"', "tracks[1].strip.as", "in a circle: backing > backing"),
        ('as = ""', "tracks[1].strip.changes", "changes are of a chain"),
    ],
)
def test_whom_it_is_as_must_be_there(change, where, says):
    with pytest.raises(SettingError) as told:
        song_of(TEXT.replace('as = "lead-vox"', change))
    assert told.value.where.endswith(where)
    assert told.value.where.startswith("song.toml:3")
    assert says in str(told.value)


def test_a_circle_is_refused_with_the_way_named():
    with pytest.raises(SettingError, match="circle: lead-vox > backing > lead-vox") as told:
        song_of(TEXT.replace("trim_db = -2.0", 'as = "backing"'))
    assert told.value.where.startswith("song.toml:10 tracks[0].strip.as")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ('at = "high_pass.hz", times = 9e9', "high_pass.hz is 7.2e+11: at most 96000 is allowed"),
        ('at = "high_pass.hz"', "one of times, add and set; it says none"),
        ('at = "high_pass.hz", add = 1.0, times = 1.0', "it says times and add"),
        ('at = "low_pass.hz", times = 2.0', "lead-vox has no low_pass"),
        ('at = "compresor.ratio", times = 2.0', "did you mean compressor?"),
        ('at = "compressor.ratio", times = 2.0', "compressor[0] is the first"),
        ('at = "compressor[2].ratio", times = 2.0', "no compressor[2]; it has high_pass, compressor, filters"),
        ('at = "compressor[1].rato", times = 2.0', "did you mean ratio?"),
        ('at = "compressor[1].on", times = 2.0', "is no number"),
        ('at = "high_pass.slope_db_oct", set = 13', "slope_db_oct is 13, which does not fit"),
        ('at = "filters.bands[1].hz", set = 13', "no setting inserts[1].bands[1].hz"),
        ('at = "fader_db", set = 1.0', "lead-vox has no fader_db"),
        ('at = "compressor[1]", set = 1.0', "does not fit"),
        ('at = "../x", set = 1.0', "names no setting"),
    ],
)
def test_a_change_that_does_not_fit_is_told_with_its_line(change, says):
    with pytest.raises(SettingError) as told:
        song_of(TEXT.replace('at = "high_pass.hz", times = 2.0', change))
    assert says in str(told.value)
    assert told.value.where.startswith("song.toml:32 tracks[1].strip.changes[0]")


def test_who_stands_as_whom_without_end_is_refused():
    tracks = [Track(id="t-0", name="", file="f")]
    tracks += [Track(id=f"t-{k}", name="", file="f", strip=Strip(as_=f"t-{k - 1}")) for k in range(1, 3000)]
    song = Song(title="", rate_hz=48000, tracks=tuple(reversed(tracks)))
    with pytest.raises(SettingError, match="16 deep"):
        check_song(song)


def test_keys_that_are_taken_over_are_looked_at():
    """A chain that follows what would then feed it is refused, as if it were written out."""
    dip = Dip(key="backing", bands=(DipBand(hz=1000.0),))
    song = song_of()
    lead = changed(song.tracks[0], strip=changed(song.tracks[0].strip, inserts=(*song.tracks[0].strip.inserts, dip)))
    with pytest.raises(SettingError, match="circle: backing > backing"):
        check_song(changed(song, tracks=(lead, song.tracks[1])))
