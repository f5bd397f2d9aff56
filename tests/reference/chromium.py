# SPDX-License-Identifier: Apache-2.0
"""Chromium, where there is one: for checks in a real browser."""

from __future__ import annotations

import contextlib
import shutil

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)


@contextlib.contextmanager
def running_browser():
    """Give a running browser; needs playwright and CHROMIUM."""
    from playwright import sync_api

    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()
