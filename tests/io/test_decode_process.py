# SPDX-License-Identifier: Apache-2.0
"""The child process that decodes: crashes, time, signals, what it inherits, several at once."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from mixwright.errors import Cancelled, FileFormatError, InternalError, LimitError, MixwrightError, OutputError
from mixwright.io import decode
from mixwright.io.decode import Decoder
from mixwright.io.write import wav_header
from mixwright.jobs.progress import Cancel

RATE_HZ = 44100
posix = pytest.mark.skipif(os.name != "posix", reason="POSIX signals")


def wav(path: Path, frames: int = 1000, channels: int = 2, rate_hz: int = RATE_HZ) -> Path:
    path.write_bytes(wav_header(frames, channels, rate_hz, "pcm16") + os.urandom(frames * channels * 2))
    return path


def running(opened: Decoder) -> int:
    child = opened._idle.get()
    opened._idle.put(child)
    assert child is not None
    return child._process.pid


@posix
def test_ctrl_c_is_for_the_parent_alone(tmp_path: Path) -> None:
    with Decoder(1) as opened:
        opened.probe(wav(tmp_path / "a.wav"))
        assert os.getpgid(running(opened)) != os.getpgid(0)


@posix
def test_a_child_that_died_is_replaced(tmp_path: Path) -> None:
    path = wav(tmp_path / "a.wav")
    with Decoder(1) as opened:
        opened.probe(path)
        first = running(opened)
        opened.probe(path)
        assert running(opened) == first  # the same child works again and again
        os.kill(first, signal.SIGKILL)
        assert opened.probe(path).frames == 1000
        assert running(opened) != first


CRASHING = """
import os, sys, time
from mixwright.io import decoder_child as child
real = child._answer
def answer(request, replies):
    name = os.path.basename(request["path"])
    if name == "crash.wav":
        os.abort()
    if name == "sleep.wav":
        time.sleep(900)
    if name == "spin.wav":
        while True: pass
    if name == "greedy.wav":
        bytearray(8 << 30)
    if name == "chatty.wav":
        os.write(1, b"printed by a library\\n"); print("more")
    child.SPARE_BYTES = 1 << 60 if name in ("full.wav", "lie.wav") else 0
    child.MAX_TRACK_BYTES = 1000 if name == "lie.wav" else 1 << 40
    if name == "mad.wav":
        replies.write("no reply" + chr(10)); replies.flush(); time.sleep(60)
    return real(request, replies)
child._answer = answer
child.START_CPU_S = 1
child.main()
"""


@pytest.fixture
def crashing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Iterator[Decoder]:
    (tmp_path / "child.py").write_text(CRASHING)
    monkeypatch.setattr(decode, "_COMMAND", [sys.executable, str(tmp_path / "child.py")])
    with Decoder(1, silent_limit_s=600.0) as opened:
        yield opened


@posix
@pytest.mark.parametrize(
    ("name", "error", "message"),
    [
        ("crash", FileFormatError, "crashed the decoder"),
        ("sleep", FileFormatError, "no progress"),
        ("spin", FileFormatError, "processor time"),
        ("greedy", LimitError, "memory"),
        ("mad", FileFormatError, "crashed the decoder"),
        ("full", OutputError, "disk space"),
        ("lie", LimitError, "disk space"),
    ],
)
def test_a_crash_costs_one_file(
    tmp_path: Path, crashing: Decoder, name: str, error: type[MixwrightError], message: str
) -> None:
    good, bad = wav(tmp_path / "good.wav"), wav(tmp_path / f"{name}.wav")
    assert crashing.decode(good, tmp_path / "a.npy").frames == 1000
    # Only who waits for a child that never answers is to be short of patience: others may run on a busy machine.
    crashing._silent_limit_s = 0.5 if name == "sleep" else 600.0
    with pytest.raises(error, match=message):
        crashing.decode(bad, tmp_path / "a.npy")
    crashing._silent_limit_s = 600.0
    assert crashing.decode(good, tmp_path / "a.npy").frames == 1000


def test_what_a_library_prints_is_no_reply(tmp_path: Path, crashing: Decoder) -> None:
    assert crashing.decode(wav(tmp_path / "chatty.wav"), tmp_path / "a.npy").frames == 1000


def test_a_child_that_does_not_start_is_our_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decode, "_COMMAND", [sys.executable, "-c", "raise SystemExit(1)"])
    with Decoder(1) as opened, pytest.raises(InternalError, match="does not start"):
        opened.probe(wav(tmp_path / "a.wav"))


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="needs /proc")
def test_nothing_secret_is_inherited(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("INVENTED_TOKEN", "secret")
    with Decoder(1) as opened:
        opened.probe(wav(tmp_path / "a.wav"))
        assert b"secret" not in Path(f"/proc/{running(opened)}/environ").read_bytes()


PARENT = """
import sys, time
from pathlib import Path
from mixwright.io.decode import Decoder
decoder = Decoder(1)
decoder.probe(Path(sys.argv[1]))
child = decoder._idle.get()
print(child._process.pid, flush=True)
time.sleep(60)
"""


@posix
def test_the_child_ends_with_its_parent(tmp_path: Path) -> None:
    path = wav(tmp_path / "a.wav")
    parent = subprocess.Popen([sys.executable, "-c", PARENT, str(path)], stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    with parent.stdout as lines:
        child = int(lines.readline())
    parent.kill()
    parent.wait()
    for _ in range(200):
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return
        if b") Z" in Path(f"/proc/{child}/stat").read_bytes():
            return  # ended; nobody has asked for its status yet
        time.sleep(0.05)
    pytest.fail("the child outlived its parent")


def test_several_threads_at_once(tmp_path: Path) -> None:
    paths = [wav(tmp_path / f"{i}.wav", frames=1000 + i) for i in range(12)]
    found: dict[int, int] = {}

    def work(i: int) -> None:
        found[i] = decoder.decode(paths[i], tmp_path / f"{i}.npy").frames

    with Decoder() as decoder:
        threads = [threading.Thread(target=work, args=(i,)) for i in range(12)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert found == {i: 1000 + i for i in range(12)}


def test_closed_decoder(tmp_path: Path) -> None:
    opened = Decoder()
    opened.probe(wav(tmp_path / "a.wav"))
    opened.close()
    opened.close()
    with pytest.raises(InternalError, match="closed"):
        opened.probe(tmp_path / "a.wav")


DEAF = """
import sys, time
print('{"ready": true}', flush=True)
while True:
    time.sleep(60)
"""
UNREADY = "import time; time.sleep(600)"


@pytest.mark.parametrize("program", [DEAF, UNREADY])
def test_a_stop_ends_a_child_that_says_nothing(program: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decode, "_COMMAND", [sys.executable, "-c", program])
    cancel, children = Cancel(), []
    popen = subprocess.Popen

    def noted(*arguments: object, **settings: object) -> subprocess.Popen:
        children.append(popen(*arguments, **settings))
        threading.Timer(0.05, cancel.cancel).start()
        return children[-1]

    monkeypatch.setattr(decode.subprocess, "Popen", noted)
    with Decoder(1, cancel=cancel) as opened, pytest.raises(Cancelled):
        opened.decode(wav(tmp_path / "a.wav"), tmp_path / "a.npy")
    assert [child.poll() is None for child in children] == [False]
    with Decoder(1, cancel=cancel) as opened, pytest.raises(Cancelled):
        opened.probe(tmp_path / "a.wav")
    assert len(children) == 1  # none is started after a stop
