# SPDX-License-Identifier: Apache-2.0
"""A served song, and a client that has its key."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient

import invented
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song
from mixwright.web.guard import Guard
from mixwright.web.routes import page_app
from reference.chromium import running_browser

TOKEN, PORT = "a-token-of-this-test", 4321
KEY = {"Authorization": f"Bearer {TOKEN}"}


@pytest.fixture(autouse=True)
def _state_of_the_user(tmp_path, monkeypatch):
    """Keep keys of pages out of the home of who runs the tests."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("LOCALAPPDATA", str(tmp_path / "state"))


@pytest.fixture(scope="module")
def browser():
    """A running browser, of one module alone: its driver keeps an event loop running that other tests would find."""
    pytest.importorskip("playwright.sync_api")
    with running_browser() as running:
        yield running


@pytest.fixture(scope="session")
def kept_folder(tmp_path_factory) -> Path:
    """A song with invented results, to be read only; its audio is not there."""
    folder = tmp_path_factory.mktemp("served") / "song"
    create_song(folder, invented.song())
    write_kept(folder, "intake", invented.start_result())
    write_kept(folder, "measure", invented.measure_result())
    write_kept(folder, "plan", invented.plan_result())
    return folder


@pytest.fixture
def folder(kept_folder, tmp_path) -> Path:
    """A song of its own, to be changed."""
    return Path(shutil.copytree(kept_folder, tmp_path / "song"))


def served(folder: Path, **headers: str) -> TestClient:
    """A client of a song that is served to `127.0.0.1:PORT`."""
    return TestClient(
        Guard(page_app(folder), TOKEN, PORT),
        base_url=f"http://127.0.0.1:{PORT}",
        headers=headers,
        follow_redirects=False,
        raise_server_exceptions=False,
    )


@pytest.fixture
def client(folder):
    """The page itself."""
    with served(folder, **KEY) as one:
        yield one


@pytest.fixture
def reader(kept_folder) -> TestClient:
    """The page itself, of a song that stays as it is; the server is not started, so nothing watches the disk."""
    return served(kept_folder, **KEY)


@pytest.fixture
def stranger(kept_folder) -> TestClient:
    """Somebody without the key."""
    return served(kept_folder)
