# SPDX-License-Identifier: Apache-2.0
"""One target under a fuzzer that is guided by coverage, within limits of time and memory."""

from __future__ import annotations

import faulthandler
import hashlib
import json
import os
import random
import resource
import sys
import time
import traceback
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["mixwright"]):
    from fuzz.known import TARGETS

from fuzz.__main__ import LONGEST_S, MEMORY_BYTES
from fuzz.target import MAX_BYTES, Target, Try

#: Half of the changes are those of the fuzzer, which knows what led to new code, half those that know the form.
_OWN_SHARE = 0.5


class Runner:
    """Tries inputs, counts them, keeps what fails (once a place) and ends the process after the last."""

    def __init__(self, target: Target, runs: int, scratch: Path, found: Path) -> None:
        work = scratch / "work"
        work.mkdir()
        self.attempt: Try = target.open(work)
        self.name, self.left, self.runs = target.name, runs + len(target.seeds()), runs
        self.report, self.input, self.found = scratch / "report.json", scratch / "input", found
        self.faults: set[str] = set()
        self.longest_s, self.begun_s = 0.0, time.monotonic()

    def one(self, data: bytes) -> None:
        self.input.write_bytes(data)
        faulthandler.dump_traceback_later(LONGEST_S, exit=True)
        begun_s = time.monotonic()
        try:
            self.attempt(data)
        except Exception as error:  # noqa: BLE001 - all of them are finds
            self._keep(data, error)
        self.longest_s = max(self.longest_s, time.monotonic() - begun_s)
        faulthandler.cancel_dump_traceback_later()
        self.left -= 1
        if self.left <= 0:
            self._end()

    def _keep(self, data: bytes, error: Exception) -> None:
        frames = traceback.extract_tb(error.__traceback__)
        place = f"{type(error).__name__} {[(frame.filename, frame.lineno) for frame in frames[-2:]]}"
        if place in self.faults:
            return
        self.faults.add(place)
        name = f"{self.name}-{hashlib.sha256(data).hexdigest()[:10]}"
        (self.found / name).write_bytes(data)
        text = "".join(traceback.format_exception(error))
        (self.found / f"{name}.txt").write_text(text, errors="backslashreplace")

    def _end(self) -> None:
        own, children = (
            resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
        )
        told = {
            "mutations": self.runs, "found": len(self.faults), "seconds": time.monotonic() - self.begun_s,
            "longest_s": self.longest_s, "memory_mib": own, "children_mib": children,
        }  # fmt: skip
        self.report.write_text(json.dumps(told))
        os._exit(0)


def main() -> None:
    name, runs, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    scratch, found = Path(sys.argv[4]), Path(sys.argv[5]).absolute()
    target = TARGETS[name]
    corpus = scratch / "corpus"
    corpus.mkdir()
    for number, content in enumerate(target.seeds()):
        (corpus / f"{number:03d}").write_bytes(content)
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    warnings.simplefilter("error")
    runner = Runner(target, runs, scratch, found)

    def mutate(data: bytes, most: int, number: int) -> bytes:
        rng = random.Random(number)
        if rng.random() >= _OWN_SHARE:
            mutated: bytes = atheris.Mutate(data, most)
            return mutated
        try:
            for _ in range(rng.choice((1, 1, 2, 4))):
                data = target.mutate(data, rng)
        except Exception:  # noqa: BLE001 - the fuzzer would not end
            traceback.print_exc()
            os._exit(1)
        return data[:most]

    options = [f"-seed={seed}", f"-max_len={MAX_BYTES}", "-rss_limit_mb=0", "-timeout=600", "-runs=-1", "-verbosity=0"]
    atheris.Setup([sys.argv[0], *options, str(corpus)], runner.one, custom_mutator=mutate)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
