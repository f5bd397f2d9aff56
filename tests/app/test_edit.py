# SPDX-License-Identifier: Apache-2.0
"""Names, roles, places, sources, groups, sections and leads, edited in one step."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

import invented
from mixwright.app import decide
from mixwright.app.edit import edit, edited
from mixwright.errors import ChangedError, SettingError
from mixwright.io.song_file import create_song, load_song, load_version, unchanged_since
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.moves import move_id
from mixwright.model.song import LeftAsIs, Move, Song, Source, changed
from mixwright.model.song_edit import SectionEdit, SongEdit, TrackEdit

SONG = invented.song(moves=())


def track(song: Song, id_: str):
    return next(one for one in song.tracks if one.id == id_)


def tracks(**edits: TrackEdit) -> SongEdit:
    return SongEdit(tracks={name.replace("_", "-"): one for name, one in edits.items()})


def sections(song: Song, **named: str) -> SongEdit:
    """All sections as they are, some with another name."""
    return SongEdit(
        sections=tuple(
            SectionEdit(name=named.get(s.name.replace(" ", "_"), s.name), start_s=s.start_s, end_s=s.end_s, was=s.name)
            for s in song.sections
        )
    )


def test_what_is_not_given_stays():
    assert edited(SONG, SongEdit()) == SONG
    assert edited(SONG, tracks(piano=TrackEdit())) == SONG
    assert edited(SONG, sections(SONG)) == SONG


def test_a_role_that_a_person_gives_is_certain():
    after = track(edited(SONG, tracks(piano=TrackEdit(role="keys", name=" Grand "))), "piano")
    assert (after.role, after.role_confidence, after.name) == ("keys", 1.0, "Grand")
    assert after.place == track(SONG, "piano").place


def test_places_by_section_come_and_go():
    name, other = SONG.sections[1].name, SONG.sections[2].name
    one = edited(SONG, tracks(piano=TrackEdit(place_in={name: "lead", other: "bed"})))
    assert track(one, "piano").place_in == {name: "lead", other: "bed"}
    assert track(edited(one, tracks(piano=TrackEdit(place_in={name: None}))), "piano").place_in == {other: "bed"}


def test_tracks_read_as_one_under_a_new_name_an_old_one_or_none():
    both = edited(SONG, tracks(bass_di=TrackEdit(source="Low end"), bass_amp=TrackEdit(source="low END")))
    assert [(one.id, one.name) for one in both.sources] == [("low-end", "Low end")]
    assert {t.id for t in both.tracks if t.source == "low-end"} == {"bass-di", "bass-amp"}
    third = edited(both, tracks(sub_synth=TrackEdit(source="low-end")))
    assert len(third.sources) == 1
    nobody = edited(third, tracks(**dict.fromkeys(("bass_di", "bass_amp", "sub_synth"), TrackEdit(source=""))))
    assert nobody.sources == ()


def test_a_new_source_takes_no_id_that_is_in_use():
    after = edited(SONG, tracks(bass_di=TrackEdit(source="Piano"), bass_amp=TrackEdit(source="master")))
    ids = [one.id for one in after.sources]
    assert not {"piano", "master"} & set(ids)
    assert len(set(ids)) == 2
    assert track(edited(SONG, tracks(piano=TrackEdit(source="★"))), "piano").source == "source"


def test_a_source_that_is_followed_is_not_dropped():
    song = changed(
        SONG,
        sources=(Source(id="duo", name="Duo"),),
        tracks=tuple(changed(t, source="duo") if t.id == "piano" else t for t in SONG.tracks),
        lead=("duo",),
    )
    assert edited(song, tracks(piano=TrackEdit(source=""))).sources == song.sources


def test_groups_by_id_by_name_or_new():
    after = edited(
        SONG, tracks(piano=TrackEdit(group="Drums"), organ=TrackEdit(group="Wall"), pluck=TrackEdit(group=""))
    )
    assert [track(after, id_).group for id_ in ("piano", "organ", "pluck")] == ["drums", "wall", ""]
    assert [one.name for one in after.groups][-1] == "Wall"
    renamed = edited(after, SongEdit(group_names={"wall": "The wall"}))
    assert [one.name for one in renamed.groups][-1] == "The wall"


def test_a_section_that_gets_another_name_keeps_what_was_said_of_it():
    old, new = SONG.sections[2].name, "refrain"
    id_ = move_id("level", "piano", [old])
    even = Compressor(threshold_db=-20.0, ratio=2.0, sections=(old,))
    own = Move(id="my-own-name", kind="level", target="organ", sections=(old,), settings={"gain_db": 1.0})
    song = changed(
        SONG,
        moves=(
            Move(id=id_, kind="level", target="piano", sections=(old,), settings={"gain_db": -2.0}, state="refused"),
            own,
        ),
        left_as_is=(LeftAsIs(id="x", kind="covered", track="piano", section=old, size_db=3.0),),
        tracks=tuple(
            changed(
                t,
                place_in={old: "lead"},
                strip=changed(t.strip, inserts=(even,)),
            )
            if t.id == "piano"
            else t
            for t in SONG.tracks
        ),
    )
    after = edited(song, sections(song, **{old.replace(" ", "_"): new}))
    assert track(after, "piano").place_in == {new: "lead"}
    assert track(after, "piano").strip.inserts[0].sections == (new,)
    assert after.left_as_is[0].section == new
    # A plan knows a refused move by the id that it would give it: its hash is of the new name.
    assert (after.moves[0].id, after.moves[0].sections) == (move_id("level", "piano", [new]), (new,))
    assert (after.moves[1].id, after.moves[1].sections) == ("my-own-name", (new,))


def test_a_section_that_is_taken_away_takes_places_along_but_not_moves(tmp_path):
    gone = SONG.sections[2].name
    song = changed(
        SONG, tracks=tuple(changed(t, place_in={gone: "lead"}) if t.id == "piano" else t for t in SONG.tracks)
    )
    rest = SongEdit(sections=tuple(s for s in sections(song).sections if s.was != gone))
    assert track(edited(song, rest), "piano").place_in == {}
    own = Move(id="own", kind="level", target="piano", sections=(gone,), settings={"gain_db": 1.0}, by="engineer")
    create_song(tmp_path / "song", changed(song, moves=(own,)))
    before = (tmp_path / "song" / "song.toml").read_bytes()
    with pytest.raises(SettingError, match=gone):
        edit(tmp_path / "song", rest)
    assert (tmp_path / "song" / "song.toml").read_bytes() == before


@given(st.permutations([section.name for section in SONG.sections]))
def test_names_of_sections_may_change_places(names):
    there = {s.name: name for s, name in zip(SONG.sections, names, strict=True)}
    song = changed(SONG, tracks=tuple(changed(t, place_in=dict.fromkeys(there, "bed")) for t in SONG.tracks[:1]))
    after = edited(song, sections(song, **{old.replace(" ", "_"): new for old, new in there.items()}))
    assert [s.name for s in after.sections] == names
    assert set(after.tracks[0].place_in) == set(names)
    back = {new: old for old, new in there.items()}
    again = edited(after, sections(after, **{old.replace(" ", "_"): new for old, new in back.items()}))
    assert again == song


@pytest.mark.parametrize(
    "wrong",
    [
        SongEdit(tracks={"nobody": TrackEdit(name="x")}),
        SongEdit(source_names={"nobody": "x"}),
        SongEdit(group_names={"nobody": "x"}),
        SongEdit(tracks={"piano": TrackEdit(name="  ")}),
        SongEdit(sections=(SectionEdit(name="a", start_s=0.0, end_s=1.0, was="never"),)),
        SongEdit(sections=(SectionEdit(name=" ", start_s=0.0, end_s=1.0),)),
    ],
)
def test_what_is_not_there_is_refused(wrong):
    with pytest.raises(SettingError):
        edited(SONG, wrong)


@pytest.mark.parametrize(
    "wrong",
    [
        SongEdit(lead=("nobody",)),
        SongEdit(tracks={"piano": TrackEdit(place_in={"nowhere": "lead"})}),
        SongEdit(sections=(SectionEdit(name="a", start_s=2.0, end_s=1.0),)),
        SongEdit(sections=tuple(SectionEdit(name=n, start_s=0.0, end_s=1.0) for n in "ab")),
        SongEdit(sections=tuple(SectionEdit(name="a", start_s=k, end_s=k + 1.0) for k in (0.0, 1.0))),
    ],
)
def test_what_the_song_cannot_hold_is_not_written(tmp_path, wrong):
    create_song(tmp_path / "song", SONG)
    before = (tmp_path / "song" / "song.toml").read_bytes()
    with pytest.raises(SettingError):
        edit(tmp_path / "song", wrong)
    assert (tmp_path / "song" / "song.toml").read_bytes() == before


def test_one_edit_is_one_step_and_undo_takes_it_back_to_the_byte(tmp_path):
    create_song(tmp_path / "song", SONG)
    before = (tmp_path / "song" / "song.toml").read_bytes()
    wanted = SongEdit(
        tracks={id_: TrackEdit(role="synth", place="bed", source="Wall") for id_ in ("organ", "piano", "pluck")},
        lead=("lead-vox", "lead-double"),
    )
    assert edit(tmp_path / "song", wanted) == load_song(tmp_path / "song") == edited(SONG, wanted)
    assert decide.undo(tmp_path / "song").undone == "edit organ, piano, pluck; follow lead-vox, lead-double"
    assert (tmp_path / "song" / "song.toml").read_bytes() == before


def test_a_change_is_made_only_to_the_song_that_was_seen(tmp_path):
    folder = tmp_path / "song"
    create_song(folder, SONG)
    _, seen = load_version(folder)
    with unchanged_since(seen):
        edit(folder, tracks(piano=TrackEdit(name="First")))
    text = (folder / "song.toml").read_bytes()
    with unchanged_since(seen), pytest.raises(ChangedError):
        edit(folder, tracks(piano=TrackEdit(name="Second")))
    with unchanged_since(seen), pytest.raises(ChangedError):
        decide.undo(folder)
    assert (folder / "song.toml").read_bytes() == text
    edit(folder, tracks(piano=TrackEdit(name="Third")))  # outside of it nothing is asked for
    assert track(load_song(folder), "piano").name == "Third"
