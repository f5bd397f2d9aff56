# SPDX-License-Identifier: Apache-2.0
"""What to ask the artist, in plain sentences: only what changes the work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

from mixwright.intake.faults import channel_words, clipped_badly
from mixwright.intake.likeness import Trace, together
from mixwright.intake.listening import Listening
from mixwright.intake.names import NameReading
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.words import FaultKind, Role

#: More questions than this are not answered.
MOST = 8
_NAMED = 4
#: Compressed audio that cannot be decoded, or whose start is not sure.
_AS_WAV: tuple[FaultKind, ...] = ("needs_decoder", "start_unknown")


@dataclass(frozen=True, eq=False)
class Understood:
    """A delivery, column by column: one entry for each file."""

    labels: Sequence[str]
    names: Sequence[NameReading]
    roles: Sequence[Role]
    faults: Sequence[tuple[Fault, ...]]
    heard: Sequence[Listening | None]
    infos: Sequence[AudioInfo | None]
    used: Sequence[bool]

    def with_fault(self, kind: FaultKind) -> list[int]:
        """Return the files with a fault of a kind."""
        return [i for i, faults in enumerate(self.faults) if any(fault.kind == kind for fault in faults)]


def questions(delivery: Understood) -> tuple[str, ...]:
    """Return the questions, those that hold up the work first; at most eight."""
    found = [
        *_broken(delivery),
        *_lead(delivery),
        *_takes(delivery),
        *_clipped(delivery),
        *_copies(delivery),
        *_cut(delivery),
        *_prints(delivery),
        *_unknown(delivery),
    ]
    return tuple(found[:MOST])


def _listed(delivery: Understood, indices: Sequence[int]) -> str:
    labels = [delivery.labels[i] for i in indices[:_NAMED]]
    more = f" and {len(indices) - _NAMED} more" if len(indices) > _NAMED else ""
    if more or len(labels) == 1:
        return ", ".join(labels) + more
    return f"{', '.join(labels[:-1])} and {labels[-1]}"


def _broken(delivery: Understood) -> list[str]:
    found = []
    kinds: tuple[FaultKind, ...] = ("unreadable", "empty", "non_finite", "out_of_range", "truncated")
    broken = sorted({i for kind in kinds for i in delivery.with_fault(kind)})
    if broken:
        found.append(f"{_listed(delivery, broken)} cannot be read as a whole: please export {_it(broken)} again.")
    packed = sorted({i for kind in _AS_WAV for i in delivery.with_fault(kind)})
    if packed:
        found.append(f"Please send {_listed(delivery, packed)} as WAV, from the start of the song.")
    silent = delivery.with_fault("silent")
    if silent:
        found.append(f"Nothing sounds in {_listed(delivery, silent)}: was the right track exported?")
    return [*found, *_wide(delivery)]


def _wide(delivery: Understood) -> list[str]:
    """Ask for what can be mixed in place of files for more than two speakers."""
    layouts: dict[str, list[int]] = {}
    for i in delivery.with_fault("too_many_channels"):
        info = delivery.infos[i]
        words = channel_words(info.channels, info.speakers) if info is not None else "more than two channels"
        layouts.setdefault(words, []).append(i)
    return [
        f"{_listed(delivery, files)} {'has' if len(files) == 1 else 'have'} {words}: "
        "please send a stereo version, or one mono file for each channel that belongs to the song."
        for words, files in layouts.items()
    ]


def _it(indices: Sequence[int]) -> str:
    return "it" if len(indices) == 1 else "them"


def _lead(delivery: Understood) -> list[str]:
    if any(role == "lead vocal" and used for role, used in zip(delivery.roles, delivery.used, strict=True)):
        return []
    return ["No track is a lead voice by name or sound: is the voice still to come, or which layer leads?"]


def _takes(delivery: Understood) -> list[str]:
    """Ask which take is meant where lead voices of one name sound at the same time."""
    leads = [i for i, role in enumerate(delivery.roles) if role == "lead vocal" and delivery.used[i]]
    rivals: set[int] = set()
    for i, j in combinations(leads, 2):
        a, b = delivery.heard[i], delivery.heard[j]
        same_name = delivery.names[i].stem == delivery.names[j].stem
        if same_name and a is not None and b is not None and together(Trace(a), Trace(b)) > 0.5:
            rivals |= {i, j}
    return (
        [f"Which is the final take of {_listed(delivery, sorted(rivals))}, or do they sound together?"]
        if rivals
        else []
    )


def _clipped(delivery: Understood) -> list[str]:
    badly = [i for i in delivery.with_fault("clipped") if (one := delivery.heard[i]) and clipped_badly(one)]
    return [f"Clipped: {_listed(delivery, badly)}. Is there a clean version?"] if badly else []


def _copies(delivery: Understood) -> list[str]:
    copies = delivery.with_fault("exact_duplicate")
    if not copies:
        return []
    verb = "holds" if len(copies) == 1 else "hold"
    return [f"{_listed(delivery, copies)} {verb} the same audio as another file: was something else meant?"]


def _cut(delivery: Understood) -> list[str]:
    cut = [i for i in delivery.with_fault("starts_late") if delivery.used[i]]
    if not cut:
        return []
    does, it_was = ("does", "it was") if len(cut) == 1 else ("do", "they were")
    why = f"By length or time stamp {it_was} not printed from the song's start."
    return [f"Where in the song {does} {_listed(delivery, cut)} begin? {why}"]


def _prints(delivery: Understood) -> list[str]:
    prints = [i for i, name in enumerate(delivery.names) if name.kind == "print" and delivery.heard[i] is not None]
    if not prints:
        return []
    if len(prints) == 1:
        return [f"{_listed(delivery, prints)} reads as a mix, not a track: is it the rough mix to go by?"]
    return [f"{_listed(delivery, prints)} read as mixes, not tracks: which is the rough mix to go by?"]


def _unknown(delivery: Understood) -> list[str]:
    unknown = [i for i, role in enumerate(delivery.roles) if role == "unknown" and delivery.used[i]]
    return [f"What plays in {_listed(delivery, unknown)}?"] if unknown else []
