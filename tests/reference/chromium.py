# SPDX-License-Identifier: Apache-2.0
"""Chromium, where there is one: for checks in a real browser."""

from __future__ import annotations

import contextlib
import shutil

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
#: The network is off: no name but that of this machine is found.
ARGUMENTS = ["--no-sandbox", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1, EXCLUDE localhost"]


@contextlib.contextmanager
def running_browser(*more: str):
    """Give a running browser that finds no other host, with more arguments; needs playwright and CHROMIUM."""
    from playwright import sync_api

    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=[*ARGUMENTS, *more])
        yield browser
        browser.close()
