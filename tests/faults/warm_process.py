# SPDX-License-Identifier: Apache-2.0
"""A process that has loaded everything and forks once for each command line it is sent, as a shell would run it.

One JSON request a line on standard input, one JSON reply a line on standard output. The forked process is a whole
program: it ends as the interpreter ends, and its children see the shared state, too.
"""

from __future__ import annotations

import ctypes
import gc
import importlib
import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import mixwright
from faults.shared_state import Fault, SharedState
from mixwright.cli.main import COMMANDS, main
from mixwright.io import decode
from mixwright.jobs import pool

_SUBREAPER = 36
_LONGEST_S = 60.0
HANGS = -1000


def serve() -> None:
    """Run command lines until the input ends."""
    _load_everything()
    gc.freeze()  # a forked process copies what its collector touches
    # Orphans of a killed process come to us, so that their end can be awaited.
    ctypes.CDLL(None).prctl(_SUBREAPER, 1, 0, 0, 0)
    state = SharedState(Path(os.environ["FAULTS_STATE"]))
    replies = os.fdopen(os.dup(1), "w")
    for line in sys.stdin:
        request = json.loads(line)
        process = os.fork()
        if not process:
            _become(state, request)
            main(request["words"])
        replies.write(json.dumps({"status": _status(process), **state.disarm()._asdict()}) + "\n")
        replies.flush()


def _become(state: SharedState, request: dict[str, Any]) -> None:
    nothing, out = os.open(os.devnull, os.O_RDONLY), Path(request["out"])
    for number, file in ((0, nothing), (1, _create(out / "out")), (2, _create(out / "err"))):
        os.dup2(file, number)
        os.close(file)
    os.chdir(out)
    pool.default_workers = lambda: request["workers"]
    if request["fault"] is not None:
        state.arm(Path(request["root"]), os.getpid(), Fault(**request["fault"]), request["at"])


def _create(path: Path) -> int:
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)


def _status(process: int) -> int:
    """Wait for a process and for whatever it left behind; what hangs is ended."""
    until, found = time.monotonic() + _LONGEST_S, None
    while True:
        try:
            ended, status = os.waitpid(-1, os.WNOHANG)
        except ChildProcessError:
            return HANGS if found is None else found
        if ended == process:
            found = os.waitstatus_to_exitcode(status) if found is None else found
        elif not ended:
            if time.monotonic() > until:
                _end_all()
                return HANGS
            time.sleep(0.001)


def _end_all() -> None:
    """End every process that is ours."""
    children = Path(f"/proc/self/task/{os.getpid()}/children")
    while left := children.read_text().split():
        for process in map(int, left):
            os.kill(process, 9)
            os.waitpid(process, 0)


def _load_everything() -> None:
    for name in mixwright.__all__:
        getattr(mixwright, name)
    for name in (*(f"mixwright.cli.{name}" for name in COMMANDS), "soundfile", "soxr", "filelock", "tomlkit"):
        importlib.import_module(name)
    decode._ENVIRONMENT = (*decode._ENVIRONMENT, "LD_PRELOAD", "FAULTS_STATE")


if __name__ == "__main__":
    serve()
