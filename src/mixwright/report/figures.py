# SPDX-License-Identifier: Apache-2.0
"""Numbers with units, and names that came from files made harmless."""

from __future__ import annotations

import math
import re
import unicodedata
from typing import TypeVar

import msgspec

from mixwright.errors import count as count  # the same words in errors and in results
from mixwright.model.record import Record

R = TypeVar("R", bound=Record)

#: Escape sequences of terminals, whole: control sequences, strings up to their end, two-byte forms.
_ESCAPES = re.compile(
    r"(?:\x1b\[|\x9b)[0-?]*[ -/]*[@-~]"
    r"|(?:\x1b[\]PX^_]|[\x9d\x90\x98\x9e\x9f])[^\x07\x1b\x9c]*(?:\x07|\x1b\\|\x9c)?"
    r"|\x1b[ -/]*[0-~]"
)
#: Control, format (direction overrides, invisible marks), surrogate, line and paragraph separators.
_UNPRINTABLE = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})

_UNITS = {
    "_lufs": "LUFS",
    "_lu": "LU",
    "_dbtp": "dBTP",
    "_dbfs": "dBFS",
    "_db": "dB",
    "_hz": "Hz",
    "_ms": "ms",
    "_s": "s",
}
#: What the keys of moves mean, in words; other keys are told by their own name.
_KEY_WORDS = {
    "gain_db": "gain",
    "re_mix_lu": "beside the mix",
    "re_mix_while_lead_sings_lu": "beside the mix while the lead sings",
    "pan": "position",
    "left": "left side",
    "right": "right side",
    "most_db": "at most",
    "hz": "at",
    "low_hz": "from",
    "high_hz": "up to",
    "by_hits": "by hits",
    "outside_db": "outside of the records",
    "outside_lu": "outside of the records",
}
#: Amounts that are always of one direction.
_UNSIGNED = frozenset({"most_db", "depth_db", "drive_db"})
#: Sample formats as they are said.
_DEPTHS = {
    "pcm8": "8 bit",
    "pcm16": "16 bit",
    "pcm24": "24 bit",
    "pcm32": "32 bit",
    "float32": "32-bit float",
    "float64": "64-bit float",
}


def clean(text: str) -> str:
    """Return text on one line, without escape sequences, control, format or unpaired characters."""
    if text.isascii() and text.isprintable():
        return text
    text = re.sub(r"[\t\r\n\v\f\u0085\u2028\u2029]+", " ", _ESCAPES.sub("", text))
    return "".join(c for c in text if unicodedata.category(c) not in _UNPRINTABLE)


def clean_record(record: R) -> R:
    """Return a copy of a result in which every text is clean."""
    return msgspec.convert(_cleaned(msgspec.to_builtins(record)), type(record))


def _cleaned(value: object) -> object:
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, dict):
        return {_cleaned(key): _cleaned(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_cleaned(item) for item in value]
    return value


def number(value: float | None, digits: int = 1, *, sign: bool = False) -> str:
    """Return a figure without a negative zero, or a dash where there is none."""
    if value is None or not math.isfinite(value):
        return "-"
    rounded = round(value, digits) + 0.0
    return f"{rounded:{'+' if sign and rounded else ''}.{digits}f}"


def with_unit(value: float | None, unit: str, digits: int = 1, *, sign: bool = False) -> str:
    """Return a figure and its unit, or a dash."""
    text = number(value, digits, sign=sign)
    return text if text == "-" else f"{text} {unit}"


def clock(seconds: float, *, tenths: bool = False) -> str:
    """Return a time from the start of the song as minutes and seconds: ``3:07`` or ``3:07.5``."""
    units = round(seconds * 10) if tenths else round(seconds) * 10
    minutes, rest = divmod(units, 600)
    return f"{minutes}:{rest / 10:04.1f}" if tenths else f"{minutes}:{rest // 10:02d}"


def rate(rate_hz: int) -> str:
    """Return a sample rate the way it is said: ``44.1 kHz``."""
    return f"{rate_hz / 1000:g} kHz"


def size(size_bytes: int) -> str:
    """Return a size on disk in decimal units: ``0 MB``, ``812 MB``, ``23.4 GB``."""
    return f"{size_bytes / 1e9:.1f} GB" if size_bytes >= 999.5e6 else f"{size_bytes / 1e6:.0f} MB"


def depth(sample_format: str) -> str:
    """Return a sample format the way it is said: ``24 bit``; a word that is not known here stays."""
    return _DEPTHS.get(sample_format, sample_format)


def hertz(hz: float) -> str:
    """Return a nominal frequency: ``250 Hz``, ``4 kHz``."""
    return f"{hz / 1000:g} kHz" if hz >= 1000 else f"{hz:g} Hz"


def position(value: float) -> str:
    """Return a position between the speakers in words: ``centre``, ``40 % left``, ``hard right``."""
    percent = round(abs(value) * 100)
    side = "left" if value < 0 else "right"
    if percent == 0:
        return "centre"
    return f"hard {side}" if percent == 100 else f"{percent} % {side}"


def setting(key: str, value: float | None) -> str:
    """Return a setting or a figure of a move in words: its name, its value, its unit from the key."""
    unit = _unit(key)
    words = _KEY_WORDS.get(key) or key.removesuffix(unit[0]).removesuffix("_db_oct").replace("_", " ")
    return f"{words} {setting_value(key, value)}"


def setting_value(key: str, value: float | None) -> str:
    """Return the value of a setting with its unit, which is the ending of its key."""
    if value is not None and key in ("pan", "left", "right"):
        return position(value)
    if value is not None and key == "slope_db_oct":
        return f"{value:g} dB/oct"
    _, unit = _unit(key)
    if not unit:
        return number(value, 2)
    return with_unit(value, unit, 0 if unit == "Hz" else 1, sign=unit == "dB" and key not in _UNSIGNED)


def _unit(key: str) -> tuple[str, str]:
    if key == "hz":
        return "", "Hz"
    return next(((ending, unit) for ending, unit in _UNITS.items() if key.endswith(ending)), ("", ""))


def settings(values: dict[str, float] | dict[str, float | None]) -> str:
    """Return several settings of a move, separated by commas."""
    return ", ".join(setting(key, value) for key, value in values.items())


def capital(sentence: str) -> str:
    """Return a sentence with a capital at its start."""
    return sentence[:1].upper() + sentence[1:]
