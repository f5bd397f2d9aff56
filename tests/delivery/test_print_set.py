# SPDX-License-Identifier: Apache-2.0
"""Which tracks sound in which print."""

from __future__ import annotations

from mixwright.delivery.print_set import prints, voices
from mixwright.model.song import Group, Song, Track

DRUMS = Group(id="drums", name="Drums")
SUNG = Group(id="vocals", name="Vocals")


def track(name: str, role: str = "synth", group: str = "", **more: object) -> Track:
    return Track(id=name, name=name, file=f"{name}.wav", role=role, group=group, **more)  # type: ignore[arg-type]


def song(*tracks: Track, groups: tuple[Group, ...] = (DRUMS, SUNG)) -> Song:
    return Song(title="Invented", rate_hz=48000, tracks=tracks, groups=groups)


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
