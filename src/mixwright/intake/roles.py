# SPDX-License-Identifier: Apache-2.0
"""From names and sound to role, place and group."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixwright.intake.likeness import Trace, rhythm_likeness, together
from mixwright.intake.names import Candidates, NameReading
from mixwright.intake.timbre import Timbre
from mixwright.model.words import Place, Role

#: How much of a candidate's weight stays when the sound speaks wholly against it.
_LEAST_FROM_SOUND = 0.15
#: A role that only the sound tells is never surer than this.
_MOST_WITHOUT_NAME = 0.6
#: Below this the sound tells no role.
_LEAST_WITHOUT_NAME = 0.3
_PLACES: dict[Role, Place] = {
    "lead vocal": "lead",
    "room": "bed",
    "pad": "bed",
    "strings": "bed",
    "double": "bed",
    "effects": "bed",
    "return": "bed",
}
GROUP_NAMES: dict[str, str] = {
    "drums": "Drums",
    "percussion": "Percussion",
    "bass": "Bass",
    "guitars": "Guitars",
    "keys": "Keys",
    "synths": "Synths",
    "strings": "Strings",
    "brass": "Brass",
    "other": "Other",
    "lead-vocal": "Lead vocal",
    "backing-vocals": "Backing vocals",
    "effects": "Effects",
}
_GROUPS: dict[Role, str] = {
    "kick": "drums",
    "snare": "drums",
    "toms": "drums",
    "hats": "drums",
    "cymbals": "drums",
    "overheads": "drums",
    "room": "drums",
    "drums": "drums",
    "percussion": "percussion",
    "loop": "percussion",
    "bass": "bass",
    "acoustic guitar": "guitars",
    "electric guitar": "guitars",
    "keys": "keys",
    "organ": "keys",
    "pad": "synths",
    "synth": "synths",
    "strings": "strings",
    "brass": "brass",
    "lead vocal": "lead-vocal",
    "double": "lead-vocal",
    "backing vocal": "backing-vocals",
    "effects": "effects",
    "return": "effects",
}
_MELODIC: frozenset[Role] = frozenset(
    {"synth", "electric guitar", "acoustic guitar", "keys", "brass", "strings", "organ", "other", "unknown"}
)


@dataclass(frozen=True)
class Reading:
    """A role, and how sure it is, from 0 to 1."""

    role: Role
    confidence: float


UNKNOWN = Reading("unknown", 0.0)


def place_of(role: Role) -> Place:
    """Return what a layer of this role is for, until somebody says otherwise."""
    return _PLACES.get(role, "support")


def group_of(role: Role, reading: NameReading) -> str:
    """Return the id of the group in which a layer of this role is summed."""
    if role == "loop" and "drums" in reading.meanings:
        return "drums"
    return _GROUPS.get(role, "other")


def roles(names: Sequence[NameReading], heard: Sequence[Trace]) -> list[Reading]:
    """Decide the roles of the tracks of one delivery together.

    A name that says one thing is believed. Where it says several, or nothing, the sound decides, and
    the other names: a "top" beside a "bottom" is a snare, a plain voice beside a named lead is not the lead.
    """
    known = [_with_neighbours(name, names) for name in names]
    readings = [_decide(candidates, one.heard.timbre) for candidates, one in zip(known, heard, strict=True)]
    readings = _alike_by_name(names, readings)
    return _one_lead(names, heard, readings)


def _alike_by_name(names: Sequence[NameReading], readings: Sequence[Reading]) -> list[Reading]:
    """Give files of one name ("Gtr L", "Gtr R") the role that together they are surest of."""
    votes: dict[str, dict[Role, float]] = {}
    for name, reading in zip(names, readings, strict=True):
        if name.candidates:
            of_stem = votes.setdefault(name.stem, {})
            of_stem[reading.role] = of_stem.get(reading.role, 0.0) + reading.confidence
    result = []
    for name, reading in zip(names, readings, strict=True):
        role = max(votes[name.stem], key=votes[name.stem].__getitem__) if name.candidates else reading.role
        result.append(reading if role == reading.role else Reading(role, round(0.8 * reading.confidence, 2)))
    return result


def _with_neighbours(name: NameReading, names: Sequence[NameReading]) -> Candidates:
    only = name.meanings - {"main", "lead"}
    if only == {"top"} and any("bottom" in other.meanings for other in names):
        return (("snare", 0.95),)
    if only == {"double"} and not any(other.meanings & {"voice", "lead_voice"} for other in names):
        return (("electric guitar", 0.5), ("synth", 0.3), ("double", 0.2))
    if only in ({"di"}, {"amp"}) and any("bass" in other.meanings for other in names):
        return (("electric guitar", 0.6), ("bass", 0.4))
    return name.candidates


def _decide(candidates: Candidates, timbre: Timbre | None) -> Reading:
    if len(candidates) == 1 or (candidates and timbre is None):
        return Reading(*candidates[0])
    if timbre is None:
        return UNKNOWN
    scores = scores_by_sound(timbre)
    if not candidates:
        role = max(scores, key=lambda each: scores[each])
        if scores[role] < _LEAST_WITHOUT_NAME:
            return UNKNOWN
        return Reading(role, round(_MOST_WITHOUT_NAME * scores[role], 2))
    weighed = {
        role: weight * (_LEAST_FROM_SOUND + (1.0 - _LEAST_FROM_SOUND) * scores.get(role, 0.3))
        for role, weight in candidates
    }
    role = max(weighed, key=lambda each: weighed[each])
    return Reading(role, round(0.95 * weighed[role] / sum(weighed.values()), 2))


def scores_by_sound(t: Timbre) -> dict[Role, float]:
    """Return how well the sound fits each role that sound can tell, from 0 to 1.

    Each is a product of soft thresholds on the figures of :class:`Timbre`; the thresholds are common
    practice, set on synthesised and on recorded tracks.
    """
    struck = _over(t.punch_db, 6.0, 12.0) * _over(t.onsets_per_s, 0.3, 1.0)
    pitched = _over(t.periodic, 0.35, 0.65)
    low = _over(t.low_share, 0.3, 0.6)
    bright = _over(t.centroid_hz, 900.0, 2000.0)
    steady = _under(t.punch_db, 5.0, 9.0) * _under(t.onsets_per_s, 0.6, 1.5)
    moves = _over(t.glide, 0.015, 0.04) * _under(t.glide, 0.35, 0.6) * _over(t.flutter_db, 1.0, 2.0)
    voice = moves * _over(t.voiced, 0.2, 0.45) * _over(t.pitch_hz, 75.0, 95.0) * _under(t.low_share, 0.3, 0.5)
    voice *= _under(t.high_share, 0.3, 0.6)
    still = 1.0 - moves
    return {
        "kick": struck * low * _under(t.centroid_hz, 1500.0, 3000.0) * _under(t.high_share, 0.05, 0.2) * (1.0 - voice),
        "snare": struck * (1.0 - low) * (1.0 - pitched) * bright * _under(t.high_share, 0.6, 0.85),
        "hats": _over(t.high_share, 0.5, 0.85) * (1.0 - pitched) * _over(t.onsets_per_s, 0.5, 1.5),
        "drums": struck * bright * _over(t.low_share, 0.1, 0.3) * _under(t.periodic, 0.4, 0.7),
        "bass": low * _under(t.centroid_hz, 700.0, 1500.0) * _under(t.high_share, 0.01, 0.05) * (1.0 - 0.6 * struck),
        "lead vocal": voice * _under(t.side, 0.2, 0.5) * (0.5 + 0.5 * pitched),
        "backing vocal": voice * (0.4 + 0.6 * _over(t.side, 0.15, 0.4)) * 0.9,
        "double": voice * 0.4,
        "pad": steady * (1.0 - low) * _over(t.sounding, 0.2, 0.5) * (1.0 - voice) * _under(t.high_share, 0.3, 0.6),
        "acoustic guitar": still * bright * _over(t.onsets_per_s, 0.8, 2.0) * _over(t.high_share, 0.02, 0.1) * 0.6,
        "electric guitar": (1.0 - low) * _under(t.high_share, 0.05, 0.2) * (1.0 - voice) * (1.0 - 0.5 * steady) * 0.55,
        "keys": still * pitched * (1.0 - bright) * (1.0 - low) * _over(t.onsets_per_s, 0.5, 1.5) * 0.65,
        "synth": still * (1.0 - low) * (0.4 + 0.3 * pitched) * (1.0 - 0.6 * steady),
        "effects": _over(t.hiss, 0.3, 0.7) * _under(t.onsets_per_s, 0.5, 1.5),
    }


def _over(value: float, none: float, full: float) -> float:
    return min(1.0, max(0.0, (value - none) / (full - none)))


def _under(value: float, full: float, none: float) -> float:
    return 1.0 - _over(value, full, none)


def _one_lead(names: Sequence[NameReading], heard: Sequence[Trace], readings: list[Reading]) -> list[Reading]:
    """Keep as leads the named ones, or the most present of plain voices and those that sound apart from it."""
    plain = [i for i, reading in enumerate(readings) if reading.role == "lead vocal" and reading.confidence < 0.95]
    named = [i for i, reading in enumerate(readings) if reading.role == "lead vocal" and reading.confidence >= 0.95]
    if not plain or (len(plain) == 1 and not named):
        return readings
    leads = named or [max(plain, key=lambda i: (_sings(heard[i]) + _presence(heard[i]), -i))]
    result = list(readings)
    for i in plain:
        if i in leads:
            continue
        likeness = max((rhythm_likeness(heard[i], heard[j]) for j in leads), default=0.0)
        beside = max((together(heard[i], heard[j]) for j in leads), default=0.0)
        if beside < 0.3 and "lead" not in names[i].meanings:
            result[i] = replace(readings[i], confidence=round(0.8 * readings[i].confidence, 2))
        else:
            role: Role = "double" if likeness > 0.5 else "backing vocal"
            result[i] = Reading(role, 0.6)
    return result


def _presence(one: Trace) -> float:
    """Return the mean level of the sounding part in dB, plus 10 dB for every tenfold of its length."""
    if not one.sounds.any():
        return -200.0
    side = one.heard.timbre.side if one.heard.timbre else 0.0
    return float(one.level_db[one.sounds].mean() + 10.0 * np.log10(one.sounds.sum()) - 12.0 * side)


def _sings(one: Trace) -> float:
    return 20.0 * scores_by_sound(one.heard.timbre)["lead vocal"] if one.heard.timbre else 0.0


def guess_lead(names: Sequence[NameReading], heard: Sequence[Trace], readings: Sequence[Reading]) -> int | None:
    """Return the index of the layer that most likely must be followed, or None.

    The most present lead vocal; without one the most salient melodic layer, a name that says lead or
    melody first. Only a guess: a person confirms it.
    """
    voices = [i for i, reading in enumerate(readings) if reading.role == "lead vocal"]
    if voices:
        return max(voices, key=lambda i: (readings[i].confidence >= 0.95, _presence(heard[i])))

    def salience(i: int) -> float:
        t = heard[i].heard.timbre
        named = 12.0 if names[i].meanings & {"lead", "melody"} else 0.0
        tuneful = 10.0 * t.periodic + 5.0 * _over(t.onsets_per_s, 0.2, 1.5) if t else 0.0
        return _presence(heard[i]) + named + tuneful

    melodic = [i for i, reading in enumerate(readings) if reading.role in _MELODIC]
    return max(melodic, key=salience, default=None)
