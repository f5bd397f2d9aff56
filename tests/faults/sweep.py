# SPDX-License-Identifier: Apache-2.0
"""Every fault at every call of every command, from the command line: ``cd tests && python -m faults.sweep --help``.

Prints what does not hold, and how many trials ended how.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from faults.shared_state import FAULTS
from faults.trials import COMMANDS, HERE, Trials


def compiler() -> str | None:
    """Return the C compiler of this machine; None where faults cannot be injected."""
    if sys.platform != "linux":
        return None
    return next((found for name in ("cc", "gcc", "clang") if (found := shutil.which(name))), None)


def compiled(folder: Path) -> Path:
    """Compile what stands between a program and the C library."""
    library, command = folder / "faults.so", compiler()
    assert command is not None
    subprocess.run([command, "-shared", "-fPIC", "-O1", "-o", library, HERE / "faults.c", "-ldl"], check=True)
    return library


def main() -> None:
    """Sweep, and exit with 1 when anything does not hold."""
    parser = argparse.ArgumentParser(description="Injects a fault at every call of commands that changes a folder.")
    parser.add_argument("--commands", default=",".join(command.name for command in COMMANDS))
    parser.add_argument("--faults", default=",".join(fault.name for fault in FAULTS))
    parser.add_argument("--every", type=int, default=1, help="only every so many-th call")
    parser.add_argument("--first", type=int, default=1, help="the call to begin with")
    parser.add_argument("--workers", type=int, default=1, help="threads of a command; above 1 calls are in any order")
    asked = parser.parse_args()
    wrong = 0
    with tempfile.TemporaryDirectory() as folder, Trials(Path(folder), compiled(Path(folder))) as trials:
        for command in COMMANDS:
            if command.name not in asked.commands.split(","):
                continue
            course, started = trials.undisturbed(command), time.monotonic()
            for fault in (fault for fault in FAULTS if fault.name in asked.faults.split(",")):
                trials.counts.clear()
                calls = trials.calls(course, fault)
                for at in range(asked.first, calls + 1, asked.every):
                    for line in trials.trial(course, fault, at, asked.workers):
                        print(f"  {line}", flush=True)
                        wrong += 1
                counts = Counter({outcome: count for (_, _, outcome), count in trials.counts.items()})
                told = ", ".join(f"{count} {outcome}" for outcome, count in sorted(counts.items()))
                print(f"{command.name}, {fault.name}: {counts.total()} of {calls}: {told}", flush=True)
            print(f"{command.name}: {time.monotonic() - started:.0f} s", flush=True)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
