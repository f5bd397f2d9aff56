# SPDX-License-Identifier: Apache-2.0
"""Which tracks sound in which print."""

from __future__ import annotations

from mixwright.delivery.print_set import Print
from mixwright.delivery.print_set import prints as prints_of
from mixwright.delivery.singers import doubles, lead_alone, lead_voice, voices
from mixwright.model.agreement import USUAL, Agreement
from mixwright.model.song import Group, MutedWords, Send, Song, Track, changed

DRUMS = Group(id="drums", name="Drums")
SUNG = Group(id="vocals", name="Vocals")


def track(name: str, role: str = "synth", group: str = "", **more: object) -> Track:
    return Track(id=name, name=name, file=f"{name}.wav", role=role, group=group, **more)  # type: ignore[arg-type]


def song(*tracks: Track, groups: tuple[Group, ...] = (DRUMS, SUNG)) -> Song:
    return Song(title="Invented", rate_hz=48000, tracks=tracks, groups=groups)


def prints(given: Song, agreement: Agreement = USUAL) -> tuple[Print, ...]:
    return prints_of(given, agreement)[0]


def shown(entries: object) -> dict[str, list[str] | None]:
    return {e.name: None if e.tracks is None else sorted(e.tracks) for e in entries}  # type: ignore[attr-defined]


def test_a_song_with_voices() -> None:
    found = prints(
        song(
            track("kick", "kick", "drums"),
            track("lead", "lead vocal", "vocals"),
            track("double", "double", "vocals"),
            track("choir", "backing vocal"),
            track("pad", "pad"),
        )
    )
    assert [entry.kind for entry in found] == ["main", "instrumental", "a_cappella", "stem", "stem", "stem"]
    assert shown(found) == {
        "Main": None,
        "Instrumental": ["kick", "pad"],
        "ACappella": ["choir", "double", "lead"],
        "Drums": ["kick"],
        "Vocals": ["double", "lead"],
        "Other": ["choir", "pad"],
    }


def test_every_sounding_track_is_in_one_stem() -> None:
    given = song(track("a", group="drums"), track("b"), track("c", mute=True), track("d", use=False), track("e"))
    stems = [entry.tracks or frozenset() for entry in prints(given) if entry.kind == "stem"]
    assert sorted(t for stem in stems for t in stem) == ["a", "b", "e"]


def test_nothing_silent_is_printed() -> None:
    assert list(shown(prints(song(track("pad"))))) == ["Main", "Other"]
    assert list(shown(prints(song(track("lead", "lead vocal"))))) == ["Main", "Other"]
    muted = Group(id="vocals", name="Vocals", mute=True)
    assert list(shown(prints(song(track("lead", "lead vocal", "vocals"), track("pad"), groups=(muted,))))) == [
        "Main",
        "Other",
    ]


def test_returns_and_layers_of_the_voice_belong_to_it() -> None:
    given = song(
        track("lead", "lead vocal", "vocals", source="voice"),
        track("lead-distorted", "effects", "vocals", source="voice"),
        track("voice-room", "return", "vocals"),
        track("drum-room", "return", "drums"),
        track("kick", "kick", "drums"),
        track("delay", "return"),
    )
    assert [t.id for t in voices(given)] == ["lead", "lead-distorted", "voice-room"]
    assert shown(prints(given))["Instrumental"] == ["delay", "drum-room", "kick"]


def test_group_names_never_collide() -> None:
    groups = tuple(
        Group(id=f"g{i}", name=name) for i, name in enumerate(["Main", "main", "夜", "Other", "Other!", "A Cappella"])
    )
    tracks = [track(f"t{i}", group=f"g{i}") for i in range(6)]
    names = list(shown(prints(song(*tracks, track("loose"), track("v", "lead vocal"), groups=groups))))
    assert len({name.casefold() for name in names}) == len(names)
    assert names[:3] == ["Main", "Instrumental", "ACappella"]


def test_every_kind_of_print() -> None:
    """Who is left out of what: AES and P&E Wing name these mixes; who counts as whom is common practice, no source."""
    kinds = ("vocal_up", "vocal_down", "tv", "performance", "clean", "for_mastering", "layer", "dry", "wet", "group")
    given = changed(
        song(
            track("lead", "lead vocal", "vocals", source="voice", sends={"hall": -6.0}),
            track("whisper", "double", "vocals", source="voice"),
            track("choir", "backing vocal", "vocals"),
            track("kick", "kick", "drums"),
            track("pad", "pad"),
        ),
        sends=(Send(id="hall", name="Hall"), Send(id="unfed", name="Unfed")),
        muted_words=(MutedWords(start_s=1.0, end_s=2.0),),
    )
    found, missing = prints_of(given, Agreement(prints=(*kinds, "return"), vocal_step_db=0.5))  # type: ignore[arg-type]
    by_name = {entry.name: entry for entry in found}
    assert missing == {}
    assert (by_name["VocalUp"].raised, by_name["VocalUp"].raised_db) == ({"lead", "whisper"}, 0.5)
    assert by_name["VocalDown"].raised_db == -0.5
    assert by_name["TV"].tracks == {"choir", "kick", "pad"}
    assert by_name["Performance"].tracks == {"whisper", "choir", "kick", "pad"}
    assert by_name["Clean"].without_words == {"lead", "whisper", "choir"}
    assert by_name["ForMastering"].master == "unlimited"
    assert [e.name for e in found if e.kind == "layer"] == ["Voice", "Choir", "Kick", "Pad"]
    assert [e.name for e in found if e.kind == "wet"] == ["VocalsWet"]
    assert [e.name for e in found if e.kind == "group"] == ["DrumsGroup", "VocalsGroup", "OtherGroup"]
    assert [(e.name, e.send, e.master) for e in found if e.kind == "return"] == [("HallReturn", "hall", "none")]
    assert [t.id for t in lead_voice(given)] == ["lead", "whisper"]
    assert [t.id for t in lead_alone(given)] == ["lead"]
    assert doubles(given) == ()


def test_what_cannot_be_printed_says_why() -> None:
    kinds = ("main", "vocal_up", "instrumental", "a_cappella", "tv", "clean", "wet", "return", "preview")
    found, missing = prints_of(song(track("pad")), Agreement(prints=kinds))  # type: ignore[arg-type]
    assert [entry.name for entry in found] == ["Main"]
    assert list(missing) == list(kinds[1:])
    assert missing["clean"] == "song.toml has no muted_words"
    assert missing["tv"] == "the song has no lead vocal"
    only = prints_of(song(track("lead", "lead vocal")), Agreement(prints=("instrumental", "a_cappella")))
    assert only[0] == ()
    assert only[1]["instrumental"] == "nothing but the voice would sound in the song"
