# SPDX-License-Identifier: Apache-2.0
"""Fuzz every target with coverage as a guide, each in a process with limits, and print the counts.

    cd tests && python -m fuzz [--runs 100000] [--seed 1] [--target NAME] [--found FOLDER]

What failed is written to the folder for finds, one file an input and one with its traceback; status 1 then.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from pathlib import Path

#: Address space of a target's process.
MEMORY_BYTES = 1 << 30
#: One run that takes longer ends its process.
LONGEST_S = 5.0
#: Part of the runs of each of `fuzz.known.TARGETS`, which is not imported here: that takes as long as a thousand runs.
SHARES = {"headers": 0.3, "audio": 0.05, "tags": 0.1, "songs": 0.25, "kept": 0.1, "names": 0.1, "arguments": 0.1}


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m fuzz", description=__doc__)
    parser.add_argument("--runs", type=int, default=100_000, help="mutations of all targets together")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--target", choices=SHARES)
    parser.add_argument("--found", type=Path, default=Path(tempfile.gettempdir()) / "mixwright-fuzz")
    chosen = parser.parse_args()
    chosen.found.mkdir(parents=True, exist_ok=True)
    shares = {chosen.target: 1.0} if chosen.target else SHARES
    total = failed = 0
    print(f"{'target':<10}{'mutations':>10}{'found':>7}{'seconds':>9}{'longest':>9}{'memory':>9}{'children':>9}")
    for name, share in shares.items():
        report = _fuzzed(name, round(chosen.runs * share), chosen.seed, chosen.found)
        total += report["mutations"]
        failed += report["found"]
        print(
            f"{name:<10}{report['mutations']:>10}{report['found']:>7}{report['seconds']:>9.0f}"
            f"{report['longest_s']:>7.2f} s{report['memory_mib']:>5.0f} MiB{report['children_mib']:>5.0f} MiB",
            flush=True,
        )
    print(f"{total} mutations, {failed} found" + (f", in {chosen.found}" if failed else ""))
    return 1 if failed else 0


def _fuzzed(name: str, runs: int, seed: int, found: Path) -> dict[str, float]:
    """Fuzz one target in a process of its own; when that dies the input it had is a find."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as scratch:
        command = [sys.executable, "-m", "fuzz.guided", name, str(runs), str(seed), scratch, str(found)]
        ended = subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, check=False)
        report = Path(scratch) / "report.json"
        if report.exists():
            told: dict[str, float] = json.loads(report.read_text())
            return told
        sys.stderr.buffer.write(ended.stderr[-3000:])
        lost = Path(scratch) / "input"
        if lost.exists():
            (found / f"{name}-died").write_bytes(lost.read_bytes())
        return {"mutations": 0, "found": 1, "seconds": 0, "longest_s": 0, "memory_mib": 0, "children_mib": 0}


if __name__ == "__main__":
    sys.exit(main())
