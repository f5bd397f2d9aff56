# SPDX-License-Identifier: Apache-2.0
"""Small pictures that stretch with the page: positions across in per cent, heights in pixels.

They are drawn here and not by a chart library because text beside them then keeps its size on any screen, colours
follow the reader's light or dark setting, and a page of sixty rows is made in milliseconds (docs/decisions/0004).
"""

from __future__ import annotations

from collections.abc import Sequence

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


def picture(*children: Child, height_px: int = ROW_PX, class_: str | None = None) -> Markup:
    """Return a stretching picture; the words beside it say the same, so it is hidden from readers of words."""
    return element("svg", *children, width="100%", height=height_px, class_=class_, aria_hidden="true")


def percent(value: float) -> str:
    """Return a length in per cent."""
    return f"{value:.2f}%"


def grid(scale: Scale, height_px: int = ROW_PX) -> list[Markup]:
    """Return faint upright lines at the ticks."""
    return [_upright(scale.across(tick), 0, height_px, "grid") for tick in scale.ticks]


def interval(scale: Scale, low: float, high: float, middle_px: float = ROW_PX / 2) -> list[Markup]:
    """Return an interval as a bar between two stops."""
    a, b = scale.across(low), scale.across(high)
    bar = element("rect", x=percent(a), y=middle_px - 3, width=percent(max(b - a, 0.4)), height=6, class_="interval")
    return [bar, *(_upright(x, middle_px - 6, middle_px + 6, "stop") for x in (a, b))]


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
    anchor = "start" if x_percent < 3 else "end" if x_percent > 97 else "middle"
    return element("text", text, x=percent(x_percent), y=14, text_anchor=anchor, class_=class_)


def _upright(x_percent: float, top_px: float, bottom_px: float, class_: str) -> Markup:
    x = percent(x_percent)
    return element("line", x1=x, x2=x, y1=top_px, y2=bottom_px, class_=class_)
