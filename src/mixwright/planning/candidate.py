# SPDX-License-Identifier: Apache-2.0
"""One move that could be proposed: what it does to whom, with derivatives, what it is priced at, how it is written."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from mixwright.hearing.bands import PLACES
from mixwright.hearing.place_loudness import place_hz
from mixwright.model.moves import id_for
from mixwright.model.words import MoveKind
from mixwright.planning.excited import Excited
from mixwright.planning.filter_gains import Gain, band_limit, bell, tilt
from mixwright.planning.keyed_gains import dip, duck, even_out, together
from mixwright.planning.limits import FAR_DB, PRICES
from mixwright.planning.placing_gains import even, fed, narrowed, placed

_NONE = np.zeros(PLACES)
#: How finely settings are set: what else a hand on a knob would not find again. Frequencies have two figures.
_STEPS = {"_db": 0.1, "pan": 0.05, "left": 0.05, "right": 0.05, "width": 0.05, "ratio": 0.1, "mix": 0.05}


@dataclass(frozen=True)
class Setting:
    """A setting that is to be found: `start`, where the move does nothing or next to it, bounds, and a first try."""

    name: str
    start: float
    low: float
    high: float
    first: float


@dataclass(frozen=True, eq=False)
class Candidate:
    """A move that could be proposed.

    Attributes
    ----------
    kind, target, sections, key, send
        as of a move
    rows : tuple of int
        the rows that it moves; of a send the row of the return
    settings : tuple of Setting
        what is to be found, in the order of `values` below
    fixed : mapping
        settings that are not
    finding : str
        id of the finding that asked for it
    pair : str
        the same word of candidates that are meant to be made together, such as opposite tilts; else empty
    key_rows : tuple of int
        the rows that `key` names
    feeds : tuple of (int, float)
        of a send move: row and gain in dB of all who feed the send, the target first
    known : mapping
        what the model needs to know beside settings: where channels stood (``from_pan``, ``from_left``, ``from_right``,
        ``law``), ``correlation`` of both sides, ``level_db`` where a compressor stands, ``margin_shift_db``, what is
        added to a margin as heard, to make it one as dialled
    time_share : float
        for which part of its time it acts, roughly
    price_share : float
        which part of the usual price it is worth
    why : str
        which evidence speaks for it: a key of `limits.EVIDENCE`
    """

    kind: MoveKind
    target: str
    sections: tuple[str, ...]
    rows: tuple[int, ...]
    settings: tuple[Setting, ...]
    fixed: Mapping[str, float] = field(default_factory=dict)
    key: str = ""
    send: str = ""
    finding: str = ""
    pair: str = ""
    key_rows: tuple[int, ...] = ()
    feeds: tuple[tuple[int, float], ...] = ()
    known: Mapping[str, float] = field(default_factory=dict)
    time_share: float = 1.0
    price_share: float = 1.0
    why: str = ""

    @property
    def start(self) -> np.ndarray:
        """The values with which it does nothing or next to it, ``(settings,)``."""
        return np.array([one.start for one in self.settings])

    @property
    def first(self) -> np.ndarray:
        """The values that are worth a first try, ``(settings,)``."""
        return np.array([one.first for one in self.settings])

    def all_settings(self, values: Sequence[float] | np.ndarray) -> dict[str, float]:
        """Return all settings by name."""
        found = {one.name: float(value) for one, value in zip(self.settings, values, strict=True)}
        return {**self.fixed, **found}

    def gains(self, values: Sequence[float] | np.ndarray, excited: Excited) -> dict[int, Gain]:
        """Return what it does to each of its rows in a section, with derivatives; nothing in sections not its own.

        Rows that are moved alike share one `Gain`.
        """
        if self.sections and excited.section.name not in self.sections:
            return {}
        make = _GAINS.get(self.kind)
        return {} if make is None else make(self, self.all_settings(values), excited)

    def gains_db(self, values: Sequence[float] | np.ndarray, excited: Excited) -> dict[int, np.ndarray]:
        """Return the gain of each of its rows in dB, broadcastable to (2, frames, PLACES)."""
        return {row: gain.db for row, gain in self.gains(values, excited).items()}

    def slopes_db(self, values: Sequence[float] | np.ndarray, excited: Excited) -> dict[int, tuple[np.ndarray, ...]]:
        """Return the derivatives of these by each of `settings`."""
        return {
            row: tuple(gain.slopes.get(one.name, _NONE) for one in self.settings)
            for row, gain in self.gains(values, excited).items()
        }

    def price(self, values: Sequence[float] | np.ndarray) -> tuple[float, np.ndarray]:
        """Return what it costs by its size, and the derivative by each of `values`; next to 0 where it does nothing."""
        settings = self.all_settings(values)
        slopes = np.zeros(len(self.settings))
        price = 0.0
        for k, one in enumerate(self.settings):
            size, slope = _size(self.kind, one, settings)
            each = PRICES[self.kind] * self.time_share * self.price_share
            price += each * size
            slopes[k] = each * slope
        return price, slopes

    def dialled(self, values: Sequence[float] | np.ndarray) -> np.ndarray:
        """Return values as a person would set them: in steps, and within their bounds."""
        found = [_stepped(one.name, float(value)) for one, value in zip(self.settings, values, strict=True)]
        return np.array([min(max(value, one.low), one.high) for one, value in zip(self.settings, found, strict=True)])

    def move(self, values: Sequence[float] | np.ndarray) -> dict[str, object]:
        """Return the fields of a move: id, kind, target, sections, settings, key and send, with values as dialled."""
        settings = self.all_settings(self.dialled(values))
        if "margin_db" in settings:
            margin_db = settings["margin_db"] + self.known.get("margin_shift_db", 0.0)
            settings["margin_db"] = min(max(_stepped("margin_db", margin_db), -60.0), 60.0)
        return {
            "id": id_for(self.kind, self.target, self.sections, settings, key=self.key, send=self.send),
            "kind": self.kind,
            "target": self.target,
            "sections": self.sections,
            "settings": settings,
            "key": self.key,
            "send": self.send,
        }


_Settings = Mapping[str, float]


def _alike(candidate: Candidate, gain: Gain) -> dict[int, Gain]:
    return dict.fromkeys(candidate.rows, gain)


def _level(candidate: Candidate, settings: _Settings, _: Excited) -> dict[int, Gain]:
    return _alike(candidate, even(settings["gain_db"]))


def _pan(candidate: Candidate, settings: _Settings, excited: Excited) -> dict[int, Gain]:
    names = [name for name in ("pan", "left", "right") if name in settings]
    was, now = [candidate.known[f"from_{name}"] for name in names], [settings[name] for name in names]
    law = candidate.known.get("law", 1.0)
    return {row: placed(names, was, now, law, excited.own[row]) for row in candidate.rows}


def _band_limit(candidate: Candidate, settings: _Settings, _: Excited) -> dict[int, Gain]:
    low_hz, high_hz = settings.get("low_hz"), settings.get("high_hz")
    return _alike(candidate, band_limit(place_hz(), settings.get("slope_db_oct", 12.0), low_hz, high_hz))


def _shape(candidate: Candidate, settings: _Settings, _: Excited) -> dict[int, Gain]:
    return _alike(candidate, bell(settings["hz"], settings["gain_db"], settings["q"], place_hz()))


def _tilt(candidate: Candidate, settings: _Settings, _: Excited) -> dict[int, Gain]:
    return _alike(candidate, tilt(settings["hz"], settings["gain_db"], place_hz()))


def _dip(candidate: Candidate, settings: _Settings, excited: Excited) -> dict[int, Gain]:
    own = excited.own
    return _alike(candidate, dip(settings, together(own, candidate.rows), together(own, candidate.key_rows)))


def _duck(candidate: Candidate, settings: _Settings, excited: Excited) -> dict[int, Gain]:
    return _alike(candidate, duck(settings, together(excited.own, candidate.key_rows)))


def _width(candidate: Candidate, settings: _Settings, excited: Excited) -> dict[int, Gain]:
    correlation = candidate.known.get("correlation", 0.0)
    return {row: narrowed(settings["width"], correlation, excited.own[row]) for row in candidate.rows}


def _send(candidate: Candidate, settings: _Settings, excited: Excited) -> dict[int, Gain]:
    feeds = [(gain_db, excited.own[row]) for row, gain_db in candidate.feeds]
    return _alike(candidate, fed(settings["gain_db"], feeds, 0))


def _even_out(candidate: Candidate, settings: _Settings, excited: Excited) -> dict[int, Gain]:
    rows = list(candidate.rows)
    seconds = excited.seconds[rows].max(axis=0)
    return _alike(candidate, even_out(settings, together(excited.own, rows), seconds, candidate.known["level_db"]))


#: What moves do; a colour is not predicted.
_GAINS: Mapping[str, Callable[[Candidate, _Settings, Excited], dict[int, Gain]]] = {
    "level": _level,
    "pan": _pan,
    "band_limit": _band_limit,
    "shape": _shape,
    "tilt": _tilt,
    "dip": _dip,
    "duck": _duck,
    "width": _width,
    "send": _send,
    "even_out": _even_out,
}


def octaves_of(q: float) -> float:
    """Return how many octaves wide a bell is between half its gain in dB."""
    return 2.0 * math.asinh(0.5 / q) / math.log(2.0)


def _size(kind: str, one: Setting, settings: _Settings) -> tuple[float, float]:
    """Return how large a move is by one setting, in the unit of `limits.PRICES`, and its derivative by that.

    What is set in dB counts by more than its size, by `limits.FAR_DB`.
    """
    value = settings[one.name]
    if one.name == "margin_db":
        return 0.0, 0.0
    if one.name in ("low_hz", "high_hz"):
        octaves, slope = math.log2(value / one.start), 1.0 / (value * math.log(2.0))
        size, by = _smooth(octaves)
        return size, by * slope
    size, by = _smooth(value - one.start)
    if one.name.endswith("_db"):  # what goes far is heard as a change of the layer, not as room
        by *= 1.0 + 2.0 * size / FAR_DB[kind]
        size *= 1.0 + size / FAR_DB[kind]
    wide = 1.0
    if kind in ("shape", "dip"):
        wide = octaves_of(settings["q"])
    elif kind == "duck" and settings["low_hz"] and settings["high_hz"]:
        wide = math.log2(settings["high_hz"] / settings["low_hz"])
    return wide * size, wide * by


def _smooth(value: float, rounded: float = 0.1) -> tuple[float, float]:
    """Return how large a number is, without a corner at 0, and the derivative."""
    size = math.hypot(value, rounded)
    return size - rounded, value / size


def _stepped(name: str, value: float) -> float:
    if name.endswith("_hz") or name == "hz":
        digits = 1 - math.floor(math.log10(value)) if value > 0.0 else 0
        return float(round(value, digits))
    step = next((step for ending, step in _STEPS.items() if name.endswith(ending)), None)
    return value if step is None else round(round(value / step) * step, 2) + 0.0
