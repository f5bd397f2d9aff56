# SPDX-License-Identifier: Apache-2.0
from mixwright.model.moves import move_id
from mixwright.model.song import Group, Lock, Move, Song, Source, Track
from mixwright.planning.elements import bound_tracks, elements_of
from mixwright.planning.targets import spread_of


def track(id_, role, **fields):
    return Track(id=id_, name=id_, file=f"{id_}.wav", role=role, **fields)


TRACKS = (
    track("vox", "lead vocal", place="lead", source="voice"),
    track("vox-double", "double", source="voice"),
    track("vox-plate", "return", source="voice"),
    track("double-high", "double"),
    track("kick-in", "kick", source="kick", group="drums"),
    track("kick-out", "kick", source="kick", group="drums"),
    track("overheads", "overheads", group="drums"),
    track("bass-di", "bass", source="bass-guitar"),
    track("bass-amp", "bass", source="bass-guitar"),
    track("sub", "bass"),
    track("beat", "loop"),
    track("pad", "pad", place="bed", mute=True),
    track("organ", "organ", use=False),
)
SONG = Song(
    title="t",
    rate_hz=48000,
    lead=("vox",),
    tracks=TRACKS,
    groups=(Group(id="drums", name="Drums"),),
    sources=(Source(id="voice", name="Voice"), Source(id="kick", name="Kick"), Source(id="bass-guitar", name="Bass")),
)


def by_id(song):
    return {element.id: element for element in elements_of(song)}


def test_a_lead_takes_its_doubles_and_returns_with_it():
    lead = by_id(SONG)["lead vox"]
    assert lead.pool == "lead"
    parts = {layer.part: layer.tracks for layer in lead.layers if layer.part == "lead"}
    assert parts == {"lead": ("vox", "vox-plate")}
    assert [layer.tracks for layer in lead.layers if layer.part == "double"] == [("vox-double",), ("double-high",)]
    assert lead.target == ""  # no word of the song names the voice and the other double


def test_drums_are_one_element_that_its_group_names():
    drums = by_id(SONG)["drums"]
    assert drums.target == "drums"
    assert [(layer.part, layer.targets) for layer in drums.layers] == [("kick", ("kick",)), ("rest", ("overheads",))]


def test_all_basses_are_one_element_and_a_loop_is_no_drum_beside_drums():
    found = by_id(SONG)
    assert [layer.targets for layer in found["bass"].layers] == [("bass-guitar",), ("sub",)]
    assert found["beat"].pool == "other"


def test_muted_and_unused_tracks_are_in_nothing():
    seen = {id_ for element in elements_of(SONG) for layer in element.layers for id_ in layer.tracks}
    assert seen.isdisjoint({"pad", "organ"})


def test_own_accepted_and_refused_moves_and_locks_bind_proposed_ones_do_not():
    def move(target, **fields):
        return Move(id=move_id("level", target, ()), kind="level", target=target, settings={"gain_db": 1.0}, **fields)

    song = Song(
        title="t",
        rate_hz=48000,
        lead=("vox",),
        tracks=TRACKS,
        groups=SONG.groups,
        moves=(
            move("drums", state="refused"),
            move("sub", state="accepted", by="engineer"),
            move("beat"),
        ),
        locks=(
            Lock(target="vox", parameter="level", reason="the artist's order"),
            Lock(target="beat", parameter="pan"),
        ),
    )
    bound = bound_tracks(song, "level")
    assert set(bound) == {"kick-in", "kick-out", "overheads", "sub", "vox"}
    assert "the artist's order" in bound["vox"]
    assert "your own move" in bound["sub"]
    assert set(bound_tracks(song, "pan")) == {"beat"}


def test_a_voice_is_a_voice_whatever_its_doubles_are_called():
    tracks = (track("a-double", "double", source="voice"), track("vox", "lead vocal", place="lead", source="voice"))
    song = Song(title="t", rate_hz=48000, lead=("voice",), tracks=tracks, sources=(Source(id="voice", name="Voice"),))
    (lead,) = elements_of(song)
    assert (lead.name, lead.target) == ("Voice", "voice")
    assert spread_of(lead) == 1.31  # De Man et al. 2014
