# SPDX-License-Identifier: Apache-2.0
"""The server itself: on this machine alone, and it ends when it is asked to, whoever listens."""

import json
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import threading
import urllib.request
from urllib.parse import urlsplit

import pytest

from mixwright.errors import OutputError, StateError
from mixwright.jobs.progress import Cancel
from mixwright.web.key import Key, new_token, recalled, remembered
from mixwright.web.server import serve


@pytest.fixture
def running(kept_folder):
    """A server in a thread: its address, and the switch that ends it."""
    cancel, found, ready = Cancel(), [], threading.Event()

    def tell(url: str) -> None:
        found.append(url)
        ready.set()

    thread = threading.Thread(target=serve, args=(kept_folder, tell), kwargs={"cancel": cancel}, daemon=True)
    thread.start()
    assert ready.wait(30)
    yield found[0], cancel, thread
    cancel.cancel()
    thread.join(20)


def test_it_serves_this_machine_alone_and_ends_with_its_streams(running):
    url, cancel, thread = running
    port, token = urlsplit(url).port, url.partition("token=")[2]
    assert len(token) >= 32  # 24 random bytes
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), urllib.request.HTTPCookieProcessor())
    page = opener.open(url, timeout=20)
    assert page.url == f"http://127.0.0.1:{port}/"  # the address that stays holds no key
    base = page.url
    assert json.load(opener.open(f"{base}api/song", timeout=20))["command"] == "open"
    stream = opener.open(f"{base}api/events", timeout=20)
    assert stream.headers["content-type"].startswith("text/event-stream")
    assert stream.readline() == b"retry: 1000\n"
    own = [name for name in {socket.gethostname()} if name]
    for address in {info[4][0] for name in own for info in _addresses(name)} - {"127.0.0.1", "::1"}:
        assert not _answers(address, port)
    cancel.cancel()
    thread.join(20)
    assert not thread.is_alive()
    assert not _answers("127.0.0.1", port)


@pytest.mark.skipif(os.name != "posix", reason="needs signals")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_ends_it_with_status_0_although_a_page_listens(kept_folder, number):
    command = [sys.executable, "-m", "mixwright", "open", str(kept_folder), "--no-browser"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout
        url = re.search(r"http://\S+", process.stdout.readline())[0]
        ask = urllib.request.Request(f"{url.partition('?')[0]}api/events")
        ask.add_header("Authorization", f"Bearer {url.partition('token=')[2]}")
        stream = urllib.request.build_opener(urllib.request.ProxyHandler({})).open(ask, timeout=20)
        assert stream.readline() == b"retry: 1000\n"
        process.send_signal(number)
        assert process.wait(20) == 0
        assert "Traceback" not in process.stderr.read()
        assert stream.read().endswith(b"\n\n")  # it was ended, not broken off


def _answers(address: str, port: int) -> bool:
    try:
        socket.create_connection((address, port), timeout=0.5).close()
    except OSError:
        return False
    return True


def _addresses(name: str) -> list:
    try:
        return socket.getaddrinfo(name, None, socket.AF_INET)
    except OSError:
        return []


def test_a_port_that_is_taken_is_told(kept_folder):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(OutputError, match="cannot be used"):
            serve(kept_folder, lambda url: None, port=other.getsockname()[1])


def test_no_song_is_told(tmp_path):
    with pytest.raises(StateError, match="no song"):
        serve(tmp_path, lambda url: None)


def test_a_server_that_was_killed_comes_back_to_its_pages_and_one_that_ended_does_not(kept_folder, tmp_path):
    key = Key(port=_free_port(), token=new_token())
    with remembered(kept_folder, key):
        if os.name == "posix":
            (file,) = (tmp_path / "state").rglob("*.json")
            assert stat.S_IMODE(file.stat().st_mode) == 0o600
        assert recalled(kept_folder) == key
        cancel, found = Cancel(), []

        def tell(url: str) -> None:
            found.append(url)
            cancel.cancel()

        serve(kept_folder, tell, cancel=cancel)
        assert found == [f"http://127.0.0.1:{key.port}/?token={key.token}"]
    assert recalled(kept_folder) is None
    again = Cancel()
    serve(kept_folder, lambda url: (found.append(url), again.cancel()), cancel=again)
    assert key.token not in found[-1]


def test_a_key_that_is_damaged_is_none(kept_folder, tmp_path):
    with remembered(kept_folder, Key(port=4321, token=new_token())):
        (file,) = (tmp_path / "state").rglob("*.json")
        for text in ("", "{", '{"port": 0, "token": "' + "x" * 40 + '"}', '{"port": 1, "token": ""}'):
            file.write_text(text, encoding="utf-8")
            assert recalled(kept_folder) is None


def _free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]
