# SPDX-License-Identifier: Apache-2.0
"""How commands end when something is wrong: one line, the right status, nothing hidden."""

import errno
import os
import re
import signal
import subprocess
import sys
import types
from contextlib import nullcontext
from pathlib import Path

import pytest

import invented
from mixwright import errors
from mixwright.cli.main import run
from mixwright.cli.output import Output, stopped_by_user
from mixwright.errors import Cancelled, MixwrightError


def leaves(kind: type) -> list[type]:
    return [kind, *(leaf for below in kind.__subclasses__() for leaf in leaves(below))]


KINDS = [kind for kind in leaves(MixwrightError) if kind.__module__ == errors.__name__]


@pytest.mark.parametrize("kind", KINDS)
def test_every_error_is_one_line_and_a_status(kind, app, mixwright, monkeypatch, tmp_path):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    app("undo", kind("the track is\nempty", where="kick.wav", hint="send it again"))
    ended = mixwright("undo", "bus")
    assert ended.status == {"internal": 1, "cancelled": 130}.get(kind.kind, 2)
    assert ended.out == ""
    assert ended.err.count("\n") == 1
    assert "kick.wav: the track is" in ended.err
    document = mixwright("undo", "bus", "--json").document
    assert list(document) == ["schema", "command", "song", "warnings", "error"]
    assert list(document["error"]) == ["kind", "message", "where", "hint"]
    assert document["error"]["kind"] == kind.kind
    if kind.kind != "internal":
        assert document["error"] == {
            "kind": kind.kind,
            "message": "the track is\nempty",
            "where": "kick.wav",
            "hint": "send it again",
        }


def test_kinds_are_told_apart():
    assert len({kind.kind for kind in KINDS}) == len(KINDS)


def test_a_fault_of_ours_keeps_its_traceback(app, mixwright, monkeypatch, tmp_path):
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    app("undo", ZeroDivisionError("a\nb"))
    ended = mixwright("undo", "bus")
    assert ended.status == 1
    assert ended.err.count("\n") == 1
    path = Path(re.search(r"traceback in (\S+)", ended.err)[1])
    assert "ZeroDivisionError" in path.read_text()
    assert "Traceback" in mixwright("undo", "bus", "--debug").err


def test_a_fault_is_told_even_where_no_file_can_be_kept(app, mixwright, monkeypatch):
    def full(**_):
        raise OSError(errno.ENOSPC, "no space left on device")

    monkeypatch.setattr("mixwright.io.fault_file.tempfile", types.SimpleNamespace(mkstemp=full))
    app("undo", ZeroDivisionError())
    ended = mixwright("undo", "bus")
    assert ended.status == 1
    assert "--debug" in ended.err


def test_a_full_disk_is_not_our_fault(app, mixwright):
    app("undo", OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "song.toml"))
    ended = mixwright("undo", "bus")
    assert (ended.status, ended.err.count("\n")) == (2, 1)
    assert ended.err == "mixwright: song.toml: the disk is full; free some space and run again\n"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["strat"], "did you mean start?"),
        ([], "mixwright --help"),
        (["plan"], "Missing argument 'SONG'"),
        (["plan", "bus", "--strength", "2"], "'2' is not a number from 0 to 1"),
        (["plan", "bus", "--strength", "nan"], "not a number from 0 to 1"),
        (["start", "in", "--into", "b", "--tempo", "inf"], "'inf' is not a number from 20 to 400"),
        (["start", "in", "--into", "b", "--rate", "44100.5"], "'44100.5' is not a whole number from 8000 to 384000"),
        (["start", "in", "--into", "b", "--print", "mix.wav"], "--print goes with --as-mixed"),
        (["start", "", "--into", "b"], "the name is empty"),
        (["start", "in", "--into", ""], "the name is empty"),
        (["mix", ""], "the name is empty"),
        (["start", "--into", "b"], "Missing argument 'TRACKS...'"),
        (["plan", "bus", "--bogus"], "--bogus"),
        (["mix", "bus", "--format", "8"], "'8' is not one of '16', '24', 'float'"),
        (["accept", "bus"], "give the ids of moves, or --all"),
        (["accept", "bus", "m", "--all"], "give the ids of moves, or --all"),
        (["change", "bus", "m", "gain_db"], "KEY=VALUE"),
        (["change", "bus", "m", "pan=1", "pan=2"], "twice"),
        (["check"], "Missing argument"),
        (["--progress", "loud", "undo", "bus"], "'loud' is not one of"),
        (["completion", "tcsh"], "'tcsh' is not one of"),
    ],
)
def test_a_wrong_command_line_is_one_line(words, says, mixwright):
    ended = mixwright(*words)
    assert ended.status == 2
    assert ended.out == ""
    assert ended.err.count("\n") == 1
    assert says in ended.err
    assert "--help`" in ended.err
    assert mixwright(*words, "--json").document["error"]["kind"] == "usage"


def test_ctrl_c_throws_the_switch_once(app, mixwright):
    def work(song, *, report, cancel, **_):
        os.kill(os.getpid(), signal.SIGINT)
        cancel.check()
        raise AssertionError("went on")

    before = signal.getsignal(signal.SIGINT)
    app("measure", work)
    ended = mixwright("measure", "bus")
    assert ended.status == 130
    assert ended.err.startswith("mixwright: stopping; press Ctrl-C again to break off")
    assert ended.err.splitlines()[1] == "mixwright: stopped; run the command again to go on from what is done"
    assert signal.getsignal(signal.SIGINT) is before


@pytest.mark.parametrize("begun", [False, True])
def test_ctrl_c_before_the_work_has_begun_ends_the_command_wherever_it_is(begun, capfd):
    output = Output()
    output.begun = begun
    with stopped_by_user(output), nullcontext() if begun else pytest.raises(KeyboardInterrupt):
        os.kill(os.getpid(), signal.SIGINT)
    with pytest.raises(Cancelled) if begun else nullcontext():
        output.cancel.check()


STUBBORN = """
import os, signal
from mixwright.cli.output import Output

def work(*, report, cancel):
    try:
        os.kill(os.getpid(), signal.SIGINT)
    finally:
        os.kill(os.getpid(), signal.SIGINT)
        print("went on", flush=True)

Output().run(work)
"""


def test_the_second_ctrl_c_ends_the_process_at_once():
    done = subprocess.run([sys.executable, "-c", STUBBORN], check=False, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (-signal.SIGINT, "")


@pytest.mark.parametrize("words", [["completion", "fish"], ["--help"], ["--json", "strat"]])
def test_a_reader_that_goes_away_is_no_error(words):
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-m", "mixwright", *words]
    done = subprocess.run(command, check=False, stdout=writer, stderr=subprocess.PIPE, text=True)
    os.close(writer)
    assert (done.returncode, done.stderr.count("\n")) == ((2, 1) if "strat" in words else (0, 0))


def test_a_narrow_encoding_still_prints(app, monkeypatch):
    app("start", invented.start_result(title="Nächtlicher Büs 夜"))
    reader, writer = os.pipe()
    with os.fdopen(writer, "w", encoding="ascii") as out, monkeypatch.context() as patch:
        patch.setattr(sys, "stdout", out)
        assert run(["start", "in", "--into", "bus"]) == 0
    with os.fdopen(reader, encoding="ascii") as told:
        assert "N?chtlicher B?s ?" in told.read()
