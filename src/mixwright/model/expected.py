# SPDX-License-Identifier: Apache-2.0
"""What was agreed of finished files: everything that a check can hold them to beside what holds for any."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Literal

from mixwright.errors import SettingError, printable
from mixwright.model.record import Record


class Expected(Record, frozen=True, kw_only=True):
    """What finished files must be; None and "" where nothing was agreed.

    `depth`: bits of a sample, or floating point. `length_s`: to a frame. `loudness_lufs`: within 0.5 LU.
    `true_peak_dbtp`: the highest allowed. `template`: of names. `parts`: the files must add up to the mix.
    """

    rate_hz: int | None = None
    depth: Literal["16", "24", "float"] | None = None
    channels: int | None = None
    length_s: float | None = None
    loudness_lufs: float | None = None
    true_peak_dbtp: float = 0.0
    title: str = ""
    artist: str = ""
    kind: str = ""
    template: str = ""
    parts: bool = False


_DEPTHS = ("16", "24", "float")


def expected_from(agreed: Sequence[str]) -> Expected:
    """Return what was agreed, from sentences of the form ``KEY=VALUE``; ``parts`` stands alone.

    Raises
    ------
    SettingError
        for an unknown key, or a value that it cannot have
    """
    values: dict[str, Any] = {}
    for one in agreed:
        key, _, value = one.partition("=")
        if key == "parts" and not value:
            values["parts"] = True
            continue
        if key not in _KEYS:
            known = ", ".join((*(f"{name}=..." for name in _KEYS), "parts"))
            raise SettingError(
                f"{printable(one)!r} is nothing that can be agreed", where="--expect", hint=f"known: {known}"
            )
        field, read, example = _KEYS[key]
        try:
            values[field] = read(value.strip())
        except ValueError:
            raise SettingError(
                f"{printable(value)!r} is no {key}", where="--expect", hint=f"for example {key}={example}"
            ) from None
    return Expected(**values)


def _number(low: float, high: float) -> Callable[[str], float]:
    def read(text: str) -> float:
        value = float(text)
        if not low <= value <= high:
            raise ValueError(text)
        return value

    return read


def _rate(text: str) -> int:
    return round(_number(8000.0, 384_000.0)(text))


def _channels(text: str) -> int:
    return int(_number(1, 64)(str(int(text))))


def _length(text: str) -> float:
    """Return seconds from ``215.5`` or ``3:35.5``."""
    minutes, colon, seconds = text.rpartition(":")
    whole = 60.0 * _number(0.0, 1440.0)(minutes) if colon else 0.0
    return whole + _number(0.0, 59.999999 if colon else 86400.0)(seconds)


def _depth(text: str) -> str:
    if text not in _DEPTHS:
        raise ValueError(text)
    return text


def _text(text: str) -> str:
    if not text:
        raise ValueError(text)
    return text


_KEYS: dict[str, tuple[str, Callable[[str], Any], str]] = {
    "rate": ("rate_hz", _rate, "48000"),
    "depth": ("depth", _depth, "24, or 16, or float"),
    "channels": ("channels", _channels, "2"),
    "length": ("length_s", _length, "3:35.5"),
    "loudness": ("loudness_lufs", _number(-70.0, 0.0), "-14"),
    "peak": ("true_peak_dbtp", _number(-60.0, 6.0), "-1"),
    "title": ("title", _text, "Night Bus"),
    "artist": ("artist", _text, "Nobody"),
    "kind": ("kind", _text, "stem"),
    "template": ("template", _text, "{title}_{print}_{rate}{depth}"),
}
