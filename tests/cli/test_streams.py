# SPDX-License-Identifier: Apache-2.0
"""Standard streams that are closed, full or no longer read; requests to end; a page that cannot be written."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

import invented
from mixwright.io.song_file import create_song, load_song

pytestmark = pytest.mark.skipif(os.name != "posix", reason="a shell of POSIX")

MIXWRIGHT = f"{sys.executable} -m mixwright"


@pytest.fixture
def song(tmp_path: Path) -> Path:
    create_song(tmp_path / "bus", invented.song(moves=()))
    return tmp_path / "bus"


def shell(line: str) -> tuple[int, str, str]:
    done = subprocess.run(["bash", "-c", line], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout, done.stderr


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&- >&- 2>&-"])
def test_a_closed_stream_stops_nothing(song: Path, closed: str) -> None:
    status, out, err = shell(f"{MIXWRIGHT} add {song} level lead-vox -2 {closed}")
    assert status == 0
    assert (out == "") == (">&-" in closed.split())
    assert err == ""
    assert load_song(song).moves
    assert (song / "song.toml").read_text().startswith("#")  # nothing was written into it by its number


def test_a_full_disk_behind_standard_output_is_told(song: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("no /dev/full")
    for form in ("", "--json"):
        status, _, err = shell(f"{MIXWRIGHT} clean {song} {form} > /dev/full")
        assert status == 2
        assert err == "mixwright: standard output: the disk is full; free some space and run again\n"
    assert shell(f"{MIXWRIGHT} clean {song} 2> /dev/full")[0] == 0
    assert shell(f"{MIXWRIGHT} clean {song}-not 2> /dev/full")[0] == 2


def test_a_reader_that_stops_reading(song: Path) -> None:
    status, _, err = shell(f"set -o pipefail; {MIXWRIGHT} --help | head -n 1; {MIXWRIGHT} clean {song} --json | true")
    assert (status, err) == (0, "")


READY = """
import signal, sys
for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT):  # whoever runs the tests may have some ignored
    signal.signal(number, signal.default_int_handler if number == signal.SIGINT else signal.SIG_DFL)
from mixwright.cli.main import main
from mixwright.io import song_file
edit_song = song_file.edit_song
def told(*arguments):
    print("ready", flush=True)
    return edit_song(*arguments)
song_file.edit_song = told
main(sys.argv[1:])
"""


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT])
def test_a_request_to_end_is_a_stop(song: Path, number: signal.Signals) -> None:
    """The song is held by another writer, so that the command waits: the first request is heard, the second ends it."""
    from filelock import FileLock

    with FileLock(song / "kept" / "song.lock"):
        command = [sys.executable, "-c", READY, "add", song, "level", "lead-vox", "-2"]
        work = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert work.stdout is not None
        assert work.stderr is not None
        assert work.stdout.readline() == "ready\n"
        work.send_signal(number)
        assert work.stderr.readline().startswith("mixwright: stopping")
        work.send_signal(number)
        assert work.wait(20) == -number
    work.stdout.close()
    work.stderr.close()
    assert not load_song(song).moves


def test_a_page_that_cannot_be_written_leaves_the_work_done(song: Path, mixwright) -> None:
    (song / "page.html").mkdir()
    ended = mixwright("add", song, "level", "lead-vox", "-2", "--json")
    assert ended.status == 0
    (warning,) = ended.document["warnings"]
    assert warning.startswith("the page is not up to date: ")
    assert "page.html: cannot be written (is a directory)" in warning
    assert load_song(song).moves
    ended = mixwright("add", song, "level", "lead-vox", "-2")
    assert ended.status == 0
    assert ended.err == f"mixwright: {warning}\n"
    assert mixwright("add", song, "level", "lead-vox", "-2", "--strict").status == 3


LATE = """
import os, signal, sys, threading
from mixwright.cli import main
main.run = lambda _: 3
class Late:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGINT)
late = Late()
late.itself = late  # taken apart with the interpreter
main.main([])
"""


def test_ctrl_c_after_the_work_changes_no_status() -> None:
    done = subprocess.run([sys.executable, "-c", LATE], check=False, capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (3, "")
