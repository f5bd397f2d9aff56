# SPDX-License-Identifier: Apache-2.0
"""Which prints a song is delivered as, and what sounds in each."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from mixwright.delivery.names import words
from mixwright.delivery.singers import doubles, lead_alone, lead_voice, voices
from mixwright.model.agreement import Agreement
from mixwright.model.song import Song, Track, homes_of, sounding_tracks, source_of
from mixwright.model.words import Keys, PrintKind

#: The stem of tracks that belong to no group.
_OTHER = "Other"
#: Names are cut to this, so that what tells them apart is never cut off.
_LONGEST_NAME = 16

Sound: TypeAlias = Literal["whole", "dry", "wet"]
#: ``whole``: as in the mix. ``limited anew``: its limiter hears the print, so that the ceiling holds. ``unlimited``:
#: without limiter and clippers. ``none``: nothing of it.
MasterUse: TypeAlias = Literal["whole", "limited anew", "unlimited", "none"]

#: Prints that add up to the mix with others of their kind.
PARTS: frozenset[PrintKind] = frozenset({"stem", "layer", "dry", "wet", "group", "return"})


@dataclass(frozen=True)
class Print:
    """One print: what it is called, and what sounds in it.

    Parameters
    ----------
    kind : str
    name : str
        within the delivery
    tracks : set of str, optional
        those that sound, with what sends bring back of them; None: the whole mix
    raised, raised_db
        tracks whose fader is so much higher, with what they send
    without_words : set of str
        tracks that are silent, before their sends, in the song's `muted_words`
    sound : str
        ``dry``: without what sends bring back of it; ``wet``: that alone
    send : str
        only what this send brings back
    master : str
        what of the master it passes
    keys : str
        ``released``: what is not heard in it is no key either, and buses hear the print alone
    """

    kind: PrintKind
    name: str
    tracks: frozenset[str] | None = None
    raised: frozenset[str] = frozenset()
    raised_db: float = 0.0
    without_words: frozenset[str] = frozenset()
    sound: Sound = "whole"
    send: str = ""
    master: MasterUse = "whole"
    keys: Keys = "held"


def prints(song: Song, agreement: Agreement) -> tuple[tuple[Print, ...], dict[PrintKind, str]]:
    """Return the prints of an agreement that the song can be made into, and why the others are missing.

    A print that would be silent, or the same as the main mix, is not made. Muted tracks sound in none.
    """
    made = _Set(song, agreement)
    found: list[Print] = []
    missing: dict[PrintKind, str] = {}
    for kind in dict.fromkeys(agreement.prints):
        entries = _MAKERS[kind](made) if kind in _MAKERS else "copied from an approved preview, never printed"
        if isinstance(entries, str):
            missing[kind] = entries
        else:
            found += entries
    return _named_apart(found), missing


class _Set:
    """What the makers of prints ask of a song."""

    def __init__(self, song: Song, agreement: Agreement) -> None:
        self.song, self.agreement = song, agreement
        self.sounding = sounding_tracks(song)
        self.all = frozenset(track.id for track in self.sounding)
        self.voices = self._sounding(voices(song))
        self.lead = self._sounding(lead_voice(song))
        self.doubles = self._sounding(doubles(song))
        self.lead_alone = self._sounding(lead_alone(song))

    def _sounding(self, tracks: Iterable[Track]) -> frozenset[str]:
        return frozenset(track.id for track in tracks) & self.all

    def raised(self, kind: PrintKind, name: str, sign: float) -> list[Print] | str:
        if not self.lead:
            return "the song has no lead vocal"
        db = sign * self.agreement.vocal_step_db
        keys = self.agreement.keys
        return [Print(kind, name, raised=self.lead, raised_db=db, master="limited anew", keys=keys)]

    def without(self, kind: PrintKind, name: str, left_out: frozenset[str], who: str) -> list[Print] | str:
        if not left_out:
            return f"the song has no {who}"
        if left_out == self.all:
            return f"nothing but the {who} would sound in the song"
        return [Print(kind, name, tracks=self.all - left_out, keys=self.agreement.keys)]

    def a_cappella(self) -> list[Print] | str:
        if not self.voices:
            return "the song has no voice"
        if self.voices == self.all:
            return "it would be the main mix: nothing but voices sounds in the song"
        return [Print("a_cappella", "ACappella", tracks=self.voices, keys=self.agreement.keys)]

    def clean(self) -> list[Print] | str:
        if not self.song.muted_words:
            return "song.toml has no muted_words"
        if not self.voices:
            return "the song has no voice"
        return [Print("clean", "Clean", without_words=self.voices)]

    def grouped(self) -> dict[str, frozenset[str]]:
        """Return the sounding tracks of each group, the innermost one that they are in, by its name."""
        titles = {group.id: words(group.name) or words(group.id) or "Stem" for group in self.song.groups}
        return self._by(lambda track: track.group, titles | {"": _OTHER})

    def layered(self) -> dict[str, frozenset[str]]:
        """Return the sounding tracks of each layer, by its name."""
        titles = {source_of(track): source_of(track) for track in self.sounding}
        titles |= {track.id: track.name for track in self.sounding if not track.source}
        titles |= {source.id: source.name for source in self.song.sources if source.id in titles}
        return self._by(source_of, {id_: words(title) or words(id_) or "Layer" for id_, title in titles.items()})

    def _by(self, of: Callable[[Track], str], titles: Mapping[str, str]) -> dict[str, frozenset[str]]:
        taken: set[str] = set()
        found = {}
        for id_, title in titles.items():
            members = frozenset(track.id for track in self.sounding if of(track) == id_)
            if members:
                found[unused(title[:_LONGEST_NAME], taken)] = members
        return found

    def wet(self) -> list[Print] | str:
        sending = {track.id for track in self.sounding if self._feeds(track)}
        if not sending:
            return "nothing is sent anywhere"
        groups = {name: members for name, members in self.grouped().items() if members & sending}
        return [Print("wet", f"{name}Wet", tracks=members, sound="wet") for name, members in groups.items()]

    def _feeds(self, track: Track) -> set[str]:
        """Return the sends that sound and are fed by a track, or by a group that it runs through."""
        homes = homes_of(self.song, track.group)
        fed = {*track.sends, *track.pre_sends}
        for group in self.song.groups:
            if group.id in homes:
                fed |= {*group.sends, *group.pre_sends}
        return fed - {send.id for send in self.song.sends if send.mute}

    def returns(self) -> list[Print] | str:
        fed = {name for track in self.sounding for name in self._feeds(track)}
        sends = [send for send in self.song.sends if send.id in fed]
        if not sends:
            return "nothing is sent anywhere"
        taken: set[str] = set()
        names = [unused((words(send.name) or words(send.id))[:_LONGEST_NAME], taken) for send in sends]
        return [
            Print("return", f"{name}Return", send=send.id, master="none")
            for name, send in zip(names, sends, strict=True)
        ]


_MAKERS: dict[PrintKind, Callable[[_Set], list[Print] | str]] = {
    "main": lambda _: [Print("main", "Main")],
    "vocal_up": lambda s: s.raised("vocal_up", "VocalUp", 1.0),
    "vocal_down": lambda s: s.raised("vocal_down", "VocalDown", -1.0),
    "instrumental": lambda s: s.without("instrumental", "Instrumental", s.voices, "voice"),
    "a_cappella": _Set.a_cappella,
    "tv": lambda s: s.without("tv", "TV", s.lead | s.doubles, "lead vocal"),
    "clean": _Set.clean,
    "performance": lambda s: s.without("performance", "Performance", s.lead_alone, "lead vocal"),
    "for_mastering": lambda _: [Print("for_mastering", "ForMastering", master="unlimited")],
    "stem": lambda s: [Print("stem", name, tracks=members) for name, members in s.grouped().items()],
    "layer": lambda s: [Print("layer", name, tracks=members) for name, members in s.layered().items()],
    "dry": lambda s: [Print("dry", f"{name}Dry", tracks=members, sound="dry") for name, members in s.grouped().items()],
    "wet": _Set.wet,
    "group": lambda s: [
        Print("group", f"{name}Group", tracks=members, sound="dry", master="none")
        for name, members in s.grouped().items()
    ],
    "return": _Set.returns,
}


def _named_apart(entries: Collection[Print]) -> tuple[Print, ...]:
    """Return prints with names of which no two are the same, whatever the case."""
    taken: set[str] = set()
    fixed = [entry for entry in entries if entry.kind not in PARTS]
    names = {entry: unused(entry.name, taken) for entry in fixed}
    names |= {entry: unused(entry.name, taken) for entry in entries if entry.kind in PARTS}
    return tuple(_renamed(entry, names[entry]) for entry in entries)


def _renamed(entry: Print, name: str) -> Print:
    return replace(entry, name=name)


def unused(name: str, taken: set[str]) -> str:
    """Return a name that is not taken yet, whatever the case, with a number if need be; it is taken then."""
    chosen, number = name, 2
    while chosen.casefold() in taken:
        chosen, number = f"{name}{number}", number + 1
    taken.add(chosen.casefold())
    return chosen
