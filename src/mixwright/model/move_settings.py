# SPDX-License-Identifier: Apache-2.0
"""What each kind of move sets: from where to where, in which unit, and what is usual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from mixwright.errors import SettingError
from mixwright.model.song import Move
from mixwright.model.words import MoveKind


class Setting(NamedTuple):
    """One setting of a move; `usual` is what it is where it is not said, None where that is left to the processor."""

    low: float
    high: float
    unit: str = ""
    usual: float | None = None
    needed: bool = False


_GAIN = Setting(-24.0, 24.0, "dB", needed=True)
_HZ = Setting(10.0, 96000.0, "Hz", needed=True)
_POSITION = Setting(-1.0, 1.0)
_KEY_ATTACK, _KEY_HOLD, _KEY_RELEASE = (
    Setting(1.0, 500.0, "ms"),
    Setting(0.0, 2000.0, "ms"),
    Setting(5.0, 3000.0, "ms"),
)

#: Every setting of every kind. Ranges are those of the processors that the moves become.
MOVE_SETTINGS: Mapping[MoveKind, Mapping[str, Setting]] = {
    "level": {"gain_db": _GAIN},
    "pan": {"pan": _POSITION, "left": _POSITION, "right": _POSITION},
    "band_limit": {
        "low_hz": Setting(10.0, 20000.0, "Hz"),
        "high_hz": Setting(20.0, 96000.0, "Hz"),
        "slope_db_oct": Setting(6.0, 48.0, "dB/oct", usual=12.0),
    },
    "shape": {"hz": _HZ, "gain_db": _GAIN, "q": Setting(0.1, 40.0, usual=2.0)},
    "tilt": {"hz": _HZ, "gain_db": _GAIN},
    "dip": {
        "hz": Setting(20.0, 24000.0, "Hz", needed=True),
        "q": Setting(0.1, 20.0, usual=1.0),
        "most_db": Setting(0.0, 24.0, "dB", needed=True),
        "margin_db": Setting(-60.0, 60.0, "dB", usual=12.0),
        "attack_ms": _KEY_ATTACK,
        "hold_ms": _KEY_HOLD,
        "release_ms": _KEY_RELEASE,
    },
    "duck": {
        "depth_db": Setting(0.0, 60.0, "dB", needed=True),
        "low_hz": Setting(0.0, 24000.0, "Hz", usual=0.0),
        "high_hz": Setting(0.0, 24000.0, "Hz", usual=0.0),
        "by_hits": Setting(0.0, 1.0, usual=0.0),
        "attack_ms": _KEY_ATTACK._replace(usual=5.0),
        "hold_ms": _KEY_HOLD._replace(usual=20.0),
        "release_ms": _KEY_RELEASE._replace(usual=120.0),
    },
    "width": {"width": Setting(0.0, 2.0, needed=True)},
    "send": {"gain_db": _GAIN},
    "even_out": {
        "threshold_db": Setting(-100.0, 20.0, "dB", needed=True),
        "ratio": Setting(1.0, 20.0, needed=True),
        "attack_ms": Setting(0.1, 200.0, "ms", usual=30.0),
        "release_ms": Setting(5.0, 3000.0, "ms", usual=200.0),
        "gain_db": Setting(-24.0, 24.0, "dB", usual=0.0),
    },
    "colour": {
        "drive_db": Setting(-12.0, 36.0, "dB", needed=True),
        "mix": Setting(0.0, 1.0, usual=1.0),
        "low_hz": Setting(20.0, 200.0, "Hz"),
        "high_hz": Setting(50.0, 500.0, "Hz"),
    },
}
#: Kinds of which one of these settings is enough, and one there has to be.
ONE_OF: Mapping[MoveKind, tuple[str, ...]] = {"pan": ("pan", "left", "right"), "band_limit": ("low_hz", "high_hz")}
#: Kinds that listen to a key, and the one that feeds a send.
KEYED: frozenset[MoveKind] = frozenset({"dip", "duck"})
#: The least drive that makes harmonics of a range alone.
RANGE_DRIVE_DB = 6.0
_LOWEST_EDGE_HZ = 20.0


def settings_of(move: Move) -> dict[str, float]:
    """Return all settings of a move, those that are not said as they are usual; some are left to the processor."""
    usual = {name: one.usual for name, one in MOVE_SETTINGS[move.kind].items() if one.usual is not None}
    return {**usual, **move.settings}


def allowed(kind: MoveKind) -> str:
    """Return what a kind of move may set, for one line of a message."""
    told = (f"{name} ({one.low:g} to {one.high:g})" for name, one in MOVE_SETTINGS[kind].items())
    return f"allowed: {', '.join(told)}"


def said(kind: MoveKind) -> str:
    """Return a kind as it is said: ``a level move``, ``an even out move``."""
    word = kind.replace("_", " ")
    return f"{'an' if word[0] in 'aeiou' else 'a'} {word} move"


def check_settings(move: Move, place: str) -> None:
    """Check what a move of each kind sets.

    Raises
    ------
    SettingError
        `where` is `place` and the path of the offending key from there
    """
    known, hint, at = MOVE_SETTINGS[move.kind], allowed(move.kind), f"{place}.settings"
    if not move.settings:
        raise SettingError(f"this {move.kind.replace('_', ' ')} move sets nothing", where=at, hint=hint)
    for name, value in move.settings.items():
        if name not in known:
            raise SettingError(f"{said(move.kind)} has no setting {name!r}", where=at, hint=hint)
        if not known[name].low <= value <= known[name].high:
            raise SettingError(f"{value:g} does not fit", where=f"{at}.{name}", hint=hint)
    missing = [name for name, one in known.items() if one.needed and name not in move.settings]
    one_of = ONE_OF.get(move.kind, ())
    if missing:
        raise SettingError(f"{said(move.kind)} needs {' and '.join(missing)}", where=at, hint=hint)
    if one_of and move.settings.keys().isdisjoint(one_of):
        raise SettingError(f"{said(move.kind)} needs {_either(one_of)}", where=at, hint=hint)
    _check_together(move, at)


def _check_together(move: Move, at: str) -> None:
    settings = settings_of(move)
    low_hz, high_hz = settings.get("low_hz", 0.0), settings.get("high_hz", 0.0)
    if move.kind == "duck":
        for name, value in (("low_hz", low_hz), ("high_hz", high_hz)):
            if 0.0 < value < _LOWEST_EDGE_HZ:
                raise SettingError(f"{value:g} does not fit", where=f"{at}.{name}", hint="0 is open; else 20 or more")
    if low_hz and high_hz and low_hz >= high_hz:
        what = f"nothing lies between {low_hz:g} and {high_hz:g} Hz"
        raise SettingError(what, where=f"{at}.low_hz", hint="set low_hz below high_hz")
    if settings.get("slope_db_oct", 6.0) % 6.0:
        what, hint = f"{settings['slope_db_oct']:g} does not fit", "allowed: 6, 12, 18 and so on, up to 48"
        raise SettingError(what, where=f"{at}.slope_db_oct", hint=hint)
    if settings.get("by_hits", 0.0) not in (0.0, 1.0):
        what = f"{settings['by_hits']:g} does not fit"
        raise SettingError(what, where=f"{at}.by_hits", hint="1: at each hit of the key, 0: while it is loud")
    if move.kind == "colour" and (low_hz or high_hz):
        if not (low_hz and high_hz):
            raise SettingError("a range to colour has two edges", where=at, hint="give low_hz and high_hz, or neither")
        if settings["drive_db"] < RANGE_DRIVE_DB:
            hint = f"the harmonics of a range need at least {RANGE_DRIVE_DB:g}"
            raise SettingError(f"{settings['drive_db']:g} does not fit", where=f"{at}.drive_db", hint=hint)


def _either(names: Sequence[str]) -> str:
    return f"{', '.join(names[:-1])} or {names[-1]}"
