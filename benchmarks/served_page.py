# SPDX-License-Identifier: Apache-2.0
"""A song served and a browser beside it, for benchmarks of the page."""

from __future__ import annotations

import contextlib
import shutil
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from mixwright.jobs.progress import Cancel
from mixwright.web.server import serve


@contextlib.contextmanager
def served_page(song: Path) -> Iterator[tuple[str, Any]]:
    """Give the address of a song's page, and Chromium."""
    from playwright.sync_api import sync_playwright

    found: list[str] = []
    cancel = Cancel()
    server = threading.Thread(target=serve, args=(song, found.append), kwargs={"cancel": cancel}, daemon=True)
    server.start()
    while not found:
        time.sleep(0.01)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        yield found[0], browser
        browser.close()
    cancel.cancel()
    server.join()
