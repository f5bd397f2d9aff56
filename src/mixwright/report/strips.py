# SPDX-License-Identifier: Apache-2.0
"""Small pictures that stretch with the page: positions across in per cent, heights in pixels.

They are drawn here and not by a chart library because text beside them then keeps its size on any screen, colours
follow the reader's light or dark setting, and a page of sixty rows is made in milliseconds (docs/decisions/0004).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from mixwright.report.markup import Child, Markup, element

ROW_PX = 22


class Scale:
    """A straight scale from a low to a high value, across in per cent; values beyond stop at its ends."""

    def __init__(self, low: float, high: float, step: float) -> None:
        self.low = low
        self.high = high
        first = -(-low // step) * step
        self.ticks = tuple(first + i * step for i in range(int((high - first) // step) + 1))

    def across(self, value: float) -> float:
        """Return where a value lies, 0 to 100."""
        return 100.0 * (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)


class Strip(NamedTuple):
    """One row of a picture: a name, shapes on a scale, and beside them a figure and words.

    `small` stands behind the name, `more` behind the words, both softer. `unseen` is for readers of words alone.
    `off`: asks for a look.
    """

    name: str
    shapes: Sequence[Markup]
    small: str = ""
    figure: str | None = None
    words: str | None = None
    more: str = ""
    unseen: str = ""
    off: bool = False
    height_px: float = ROW_PX


def strip_row(strip: Strip, kind: str) -> Markup:
    """Return a row of a list; `kind`: how its columns are laid out."""
    small = (" ", element("small", strip.small)) if strip.small else ()
    words = None
    if strip.words is not None:
        told = element("b", strip.words) if strip.off else strip.words
        words = element("span", told, element("small", strip.more) if strip.more else None)
    return element(
        "li",
        element("span", strip.name, *small, class_="name", title=strip.name),
        None if strip.figure is None else element("span", strip.figure, class_="figure"),
        picture(strip.shapes, height_px=strip.height_px),
        words,
        element("span", strip.unseen, class_="unseen") if strip.unseen else None,
        class_=f"row {kind}" + (" off" if strip.off else ""),
    )


def picture(*children: Child, height_px: float = ROW_PX, class_: str | None = None) -> Markup:
    """Return a stretching picture; the words beside it say the same, so it is hidden from readers of words."""
    return element("svg", *children, width="100%", height=height_px, class_=class_, aria_hidden="true")


def percent(value: float) -> str:
    """Return a length in per cent."""
    return f"{value:.2f}%"


def grid(scale: Scale, height_px: float = ROW_PX) -> list[Markup]:
    """Return faint upright lines at the ticks."""
    return [upright(scale.across(tick), 0, height_px, "grid") for tick in scale.ticks]


def interval(scale: Scale, low: float, high: float, middle_px: float = ROW_PX / 2) -> list[Markup]:
    """Return an interval as a bar between two stops."""
    a, b = scale.across(low), scale.across(high)
    bar = element("rect", x=percent(a), y=middle_px - 3, width=percent(max(b - a, 0.4)), height=6, class_="interval")
    return [bar, *(upright(x, middle_px - 6, middle_px + 6, "stop") for x in (a, b))]


def span(scale: Scale, low: float, high: float, middle_px: float = ROW_PX / 2) -> Markup:
    """Return a thin line between two values."""
    a, b = (percent(scale.across(value)) for value in (low, high))
    return element("line", x1=a, x2=b, y1=middle_px, y2=middle_px, class_="span")


def mark(x_percent: float, y_px: float, kind: str) -> Markup:
    """Return a mark at a place: `inside` and `then` a dot, `before` a ring, `outside` a diamond with its own colour."""
    shapes = {
        "before": element("circle", r=4.5, class_="ring"),
        "inside": element("circle", r=4.5, class_="dot"),
        "then": element("circle", r=4.5, class_="dot"),
        "outside": element("path", d="M0-6.5 6.5 0 0 6.5-6.5 0z", class_="diamond"),
    }
    return element("svg", shapes[kind], x=percent(x_percent), y=y_px, overflow="visible", width=1, height=1)


def axis(scale: Scale, labels: Sequence[str]) -> Markup:
    """Return the labels of the ticks; the outermost stay within the picture, on a phone every second one goes."""
    crowded = len(scale.ticks) > 5
    texts = [
        _label(scale.across(tick), text, "wide" if crowded and i % 2 else None)
        for i, (tick, text) in enumerate(zip(scale.ticks, labels, strict=True))
    ]
    return picture(texts, height_px=18)


def _label(x_percent: float, text: str, class_: str | None) -> Markup:
    anchor = "start" if x_percent < 3 else "end" if x_percent > 94 else "middle"
    return element("text", text, x=percent(x_percent), y=14, text_anchor=anchor, class_=class_)


def upright(x_percent: float, top_px: float, bottom_px: float, class_: str) -> Markup:
    """Return an upright line."""
    x = percent(x_percent)
    return element("line", x1=x, x2=x, y1=top_px, y2=bottom_px, class_=class_)
