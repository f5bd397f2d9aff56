# SPDX-License-Identifier: Apache-2.0
"""Which tracks read as one layer: microphones of one kit, DI and amplifier, pairs, doubles, stacks.

A source needs a reason; without one every track is a layer of its own.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mixwright.core.align import SharedSound
from mixwright.intake.likeness import Trace, rhythm_likeness, same_waveform, together
from mixwright.intake.names import NameReading
from mixwright.jobs.progress import Cancel, until_stopped
from mixwright.model.words import DRUM_ROLES, Role

#: Onsets of two microphones, or of two takes of one part, correlate above this; measured on synthesised parts.
SAME_RHYTHM = 0.5
#: ... and above this where their names differ only by microphone ("Bass DI", "Bass Sub").
SAME_RHYTHM_BY_NAME = 0.3
#: Layers of one source sound together for at least this share of the shorter one.
_TOGETHER = 0.5
#: A drum track that hears another sounds for at least this share of its time while the other does.
_HEARD_TOGETHER = 0.3
#: Words that tell one microphone or take from another, not one part from another.
_TAKE_WORDS = re.compile(
    r"\b(in|inside|out|outside|top|bot|btm|bottom|dbl|double|doubled|adt|di|amp|sub|trig|sample)\b"
)
#: Meanings that tell two microphones of one thing apart.
_MICROPHONES = frozenset({"in", "out", "top", "bottom", "di", "amp", "sub", "sample", "double"})
_EARS: frozenset[Role] = frozenset({"overheads", "room"})
#: Roles of which several tracks are taken for one layer when they share their onsets, whatever they are called.
_LAYERED: frozenset[Role] = frozenset({"kick", "snare", "bass"})


@dataclass(frozen=True, eq=False)
class Layer:
    """A used track as sources see it; `audio` (frames, 1|2) is only read where drums are compared."""

    id: str
    name: NameReading
    role: Role
    trace: Trace
    audio: npt.NDArray[np.float32] | None = None


@dataclass(frozen=True)
class SourceReading:
    """Tracks that read as one layer, and why."""

    stem: str
    members: tuple[str, ...]
    reasons: tuple[str, ...]


def read_sources(layers: Sequence[Layer], cancel: Cancel | None = None) -> list[SourceReading]:
    """Find the sources of two tracks and more, in the order of their first track."""
    found = _Union(len(layers))
    for i, j, reason in (*_kinships(layers, cancel), *_doubles(layers)):
        found.join(i, j, reason)
    _join_by_bleed(layers, found, cancel)
    sources = []
    for members in found.sets():
        if len(members) > 1:
            stem = _source_stem([layers[i] for i in members])
            sources.append(SourceReading(stem, tuple(layers[i].id for i in members), found.reasons(members[0])))
    return sources


def _kinships(layers: Sequence[Layer], cancel: Cancel | None) -> Iterator[tuple[int, int, str]]:
    for i, j in until_stopped(combinations(range(len(layers)), 2), cancel):
        a, b = layers[i], layers[j]
        reason = _by_name(a, b, cancel) or _by_rhythm(a, b)
        if reason:
            yield i, j, reason


def _by_name(a: Layer, b: Layer, cancel: Cancel | None) -> str:
    if a.role != b.role or not a.name.stem or a.name.stem != b.name.stem:
        return ""
    sides = {a.name.side, b.name.side} == {"l", "r"} and a.name.number == b.name.number
    # Doubles, stacks and guitars called left and right are two takes more often than two microphones.
    if sides and _lag_ms(a, b, cancel) is not None:
        return "left and right of one recording, by name and sound"
    if a.role == "backing vocal":
        return "parts of one voice stack, by name"
    if a.role == "double":
        return "doubles of one voice, by name"
    if sides:
        return "left and right of one part, by name"
    if a.role == "lead vocal" and max(together(a.trace, b.trace), together(b.trace, a.trace)) < 0.1:
        return "one voice on several tracks, by name"
    return ""


def _by_rhythm(a: Layer, b: Layer) -> str:
    """Return a reason if two tracks of one role strike together: second microphones, layers, second takes."""
    if a.role != b.role or a.role in ("unknown", "other", "effects", "return"):
        return ""
    if a.role not in _LAYERED and _part(a.name.stem) != _part(b.name.stem):
        return ""
    if max(together(a.trace, b.trace), together(b.trace, a.trace)) < _TOGETHER:
        return ""
    likeness = rhythm_likeness(a.trace, b.trace)
    by_name = _part(a.name.stem) == _part(b.name.stem) and (a.name.meanings ^ b.name.meanings) & _MICROPHONES
    if likeness < (SAME_RHYTHM_BY_NAME if by_name else SAME_RHYTHM):
        return ""
    what = {"kick": "the same hits", "snare": "the same hits", "bass": "the same notes"}.get(a.role, "the same part")
    return f"{a.id} and {b.id}: {what} (onsets agree to {100.0 * likeness:.0f} %)"


def _join_by_bleed(layers: Sequence[Layer], found: _Union, cancel: Cancel | None) -> None:
    """Join drum tracks that hear one another; programmed drums do not, and stay apart.

    Overheads and rooms hear the whole kit, so everything is compared with those, first by onsets;
    without them every drum track is compared with every other, by waveform. Of a hundred tracks these are thousands of
    pairs, so all but the likely ones are sorted out before anything is looked at closely.
    """
    drums = [i for i, layer in enumerate(layers) if layer.role in DRUM_ROLES]
    ears = [i for i in drums if layers[i].role in _EARS]
    likely = _Likely(layers, drums, cancel)
    for i in ears or drums:
        for j in until_stopped(drums, cancel):
            if found.root(i) == found.root(j) or (j < i and (j in ears or not ears)):
                continue
            if together(layers[j].trace, layers[i].trace) < _HEARD_TOGETHER:
                continue
            reason = _by_ear(layers[i], layers[j]) if i in ears else ""
            if not reason and likely.share(i, j):
                reason = _bleed(layers[i], layers[j], cancel)
            if reason:
                found.join(i, j, reason)


class _Likely:
    """Which drum tracks may hear one another, found at a small part of the cost of comparing them closely."""

    def __init__(self, layers: Sequence[Layer], drums: Sequence[int], cancel: Cancel | None) -> None:
        of_rate: dict[int, dict[int, npt.NDArray[np.float32]]] = {}
        for i in drums:
            audio = layers[i].audio
            if audio is not None:
                of_rate.setdefault(layers[i].trace.heard.rate_hz, {})[i] = audio
        look = (cancel or Cancel()).check
        self._sounds = [
            ({i: k for k, i in enumerate(tracks)}, SharedSound(list(tracks.values()), rate_hz, look=look))
            for rate_hz, tracks in of_rate.items()
        ]

    def share(self, i: int, j: int) -> bool:
        return any(i in at and j in at and sound.may_share(at[i], at[j]) for at, sound in self._sounds)


def _by_ear(ear: Layer, drum: Layer) -> str:
    """Return a reason if overheads or a room, which hear the whole kit, strike whenever a drum does."""
    likeness = 0.0 if drum.role == "drums" else rhythm_likeness(ear.trace, drum.trace)
    if likeness < SAME_RHYTHM:
        return ""
    return f"{drum.id} is heard in {ear.id} (onsets agree to {100.0 * likeness:.0f} %)"


def _bleed(a: Layer, b: Layer, cancel: Cancel | None) -> str:
    lag_ms = _lag_ms(a, b, cancel)
    return "" if lag_ms is None else f"{a.id} and {b.id} hear the same drums ({lag_ms:+.1f} ms apart)"


def _lag_ms(a: Layer, b: Layer, cancel: Cancel | None) -> float | None:
    """Return by how much b lies behind a if both hold the same sound, else None."""
    rate_hz = a.trace.heard.rate_hz
    if a.audio is None or b.audio is None or rate_hz != b.trace.heard.rate_hz:
        return None
    lag = same_waveform(a.audio, b.audio, rate_hz, cancel)
    return None if lag is None else 1000.0 * lag.lag_frames / rate_hz


def _doubles(layers: Sequence[Layer]) -> Iterator[tuple[int, int, str]]:
    """Yield each double with the lead voice it doubles: the one whose name it continues, else the most alike."""
    leads = [i for i, layer in enumerate(layers) if layer.role == "lead vocal"]
    for j, layer in enumerate(layers):
        if layer.role != "double" or not leads:
            continue
        named = [i for i in leads if _part(layers[i].name.stem) == _part(layer.name.stem)]
        i = max(named or leads, key=lambda lead: rhythm_likeness(layers[lead].trace, layers[j].trace))
        if together(layer.trace, layers[i].trace) > 0.3:
            yield i, j, f"{layer.id} doubles {layers[i].id}"


def _part(stem: str) -> str:
    """Return a stem without the words that tell takes and microphones apart."""
    return " ".join(_TAKE_WORDS.sub(" ", stem).split())


def _source_stem(members: Sequence[Layer]) -> str:
    """Return what to call a source: by its roles, or by the words its names share."""
    roles = {layer.role for layer in members}
    if "lead vocal" in roles:
        return "lead voice"
    if len(roles) > 1 and roles <= DRUM_ROLES:
        return "drum kit"
    shared = members[0].name.stem.split()
    for layer in members[1:]:
        words = layer.name.stem.split()
        shared = [word for word in shared if word in words]
    kind = "stack" if roles == {"backing vocal"} else "pair" if len(members) == 2 else "layers"
    return f"{' '.join(shared) or members[0].role} {kind}"


class _Union:
    """Disjoint sets of indices, with the reasons for which they were joined."""

    def __init__(self, count: int) -> None:
        self._parent = list(range(count))
        self._reasons: dict[int, list[str]] = {}

    def root(self, i: int) -> int:
        while self._parent[i] != i:
            i = self._parent[i]
        return i

    def join(self, i: int, j: int, reason: str) -> None:
        a, b = sorted((self.root(i), self.root(j)))
        self._parent[b] = a
        both = [*self._reasons.pop(a, []), *self._reasons.pop(b, []), reason]
        self._reasons[a] = list(dict.fromkeys(both))

    def reasons(self, i: int) -> tuple[str, ...]:
        return tuple(self._reasons.get(self.root(i), ()))

    def sets(self) -> list[list[int]]:
        result: dict[int, list[int]] = {}
        for i in range(len(self._parent)):
            result.setdefault(self.root(i), []).append(i)
        return list(result.values())
