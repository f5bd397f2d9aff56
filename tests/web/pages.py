# SPDX-License-Identifier: Apache-2.0
"""Served songs and their pages in a real browser: to be worked with by mouse or keyboard, and looked at for faults."""

from __future__ import annotations

import contextlib
import re
import threading
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from mixwright.jobs.progress import Cancel
from mixwright.web.server import serve
from reference.chromium import CHROMIUM

NEEDS_BROWSER = [
    pytest.mark.skipif(CHROMIUM is None, reason="needs chromium"),
    pytest.mark.filterwarnings("default"),
]

#: Contrast by WCAG 2.2, success criterion 1.4.3, relative luminance as defined there, over the nearest ground.
CONTRAST = """
() => {
  const linear = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4 };
  const luminance = c => { const [r, g, b] = c.match(/[\\d.]+/g).map(Number);
    return 0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b) };
  const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor;
    if (!/, 0\\)$/.test(c)) return c; } return 'rgb(255, 255, 255)' };
  let worst = 99, where = '';
  for (const element of document.body.querySelectorAll('*')) {
    if (element.disabled || !element.getClientRects().length) continue;
    const own = [...element.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (!own) continue;
    const ink = luminance(getComputedStyle(element).color), paper = luminance(ground(element));
    const ratio = (Math.max(ink, paper) + 0.05) / (Math.min(ink, paper) + 0.05);
    if (ratio < worst) { worst = ratio; where = element.outerHTML.slice(0, 120) }
  }
  return [worst, where];
}
"""


def expect(locator):
    from playwright.sync_api import expect as waiting

    waiting.set_options(timeout=60000)
    return waiting(locator)


class Running:
    """A server in a thread."""

    def __init__(self, folder: Path, port: int = 0, *, watches: bool = False) -> None:
        self.folder, self.cancel = folder, Cancel()
        found, ready = [], threading.Event()

        def tell(url: str) -> None:
            found.append(url)
            ready.set()

        self._thread = threading.Thread(
            target=serve,
            args=(folder, tell),
            kwargs={"cancel": self.cancel, "port": port, "watches": watches},
            daemon=True,
        )
        self._thread.start()
        assert ready.wait(60)
        self.url = found[0]

    def end(self) -> None:
        self.cancel.cancel()
        self._thread.join(30)
        assert not self._thread.is_alive()


@contextlib.contextmanager
def opened_page(browser, url: str, *, expected: str = "nothing", **settings) -> Iterator:
    """Give a page; every complaint of the browser but those expected, and every request elsewhere, is a failure."""
    complaints = []
    given = {"viewport": {"width": 1280, "height": 800}, "reduced_motion": "reduce"} | settings
    context = browser.new_context(**given)
    page = context.new_page()
    page.set_default_timeout(60000)
    page.on("console", lambda told: re.search(expected, told.text) or complaints.append(f"{told.text} {told.location}"))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    own = f"http://127.0.0.1:{urlsplit(url).port}/"
    page.on("request", lambda asked: asked.url.startswith(own) or complaints.append(asked.url))
    page.goto(url)
    page.wait_for_selector("#main h2", state="attached")
    yield page
    context.close()
    assert complaints == [], complaints


@contextlib.contextmanager
def opened_song(browser, folder: Path, view: str = "", **settings) -> Iterator:
    """Serve a song, and give its page."""
    running = Running(folder)
    try:
        with opened_page(browser, f"{running.url}{view}", **settings) as page:
            yield page
    finally:
        running.end()


def grave_faults(page) -> list[tuple[str, str]]:
    """Return what axe finds that is serious or critical, by WCAG 2.1 A and AA and its own best practice."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "best-practice"]})
    grave = [one for one in found.response["violations"] if one["impact"] in ("serious", "critical")]
    return [(one["id"], one["nodes"][0]["html"]) for one in grave]


class Mouse:
    """Works with a page by pointing."""

    def __init__(self, page) -> None:
        self._page = page

    def press(self, element) -> None:
        element.click()

    def number(self, element, text: str) -> None:
        element.click()
        element.fill(text)
        element.press("Enter")


class Keyboard:
    """Works with a page by keys alone: Tab until something has the focus, which must be seen."""

    def __init__(self, page) -> None:
        self._page = page

    def reach(self, element) -> None:
        element.wait_for()
        for _ in range(400):
            if element.evaluate("one => one === document.activeElement"):
                assert element.evaluate("one => getComputedStyle(one).outlineStyle") != "none"
                return
            self._page.keyboard.press("Tab")
        raise AssertionError(f"no Tab leads to {element}")

    def press(self, element) -> None:
        self.reach(element)
        self._page.keyboard.press("Enter")

    def number(self, element, text: str) -> None:
        self.reach(element)
        self._page.keyboard.press("Control+a")
        self._page.keyboard.type(text)
        self._page.keyboard.press("Enter")
