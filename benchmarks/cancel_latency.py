# SPDX-License-Identifier: Apache-2.0
"""How long commands take to end after Ctrl-C, at random moments.

    python benchmarks/cancel_latency.py FOLDER [--tracks 8] [--minutes 10] [--tries 30] [COMMAND ...]

FOLDER must not exist; it is removed at the end. The song is that of `long_song.py` with a stereo track at 96 kHz. Every
command is run to its end once, then stopped at moments spread evenly at random over that time, each from the same
state. Printed are the wall time from the signal to the end of the process (median, worst, and during which job the
worst was), and the most processor time that a process and its children took in between: on a machine that is busy with
other things this tells more. Other endings are listed: 0 had ended before; -2, or 1 with words of Python's own, is the
interpreter that had not begun yet. What a stopped command had half made may take a moment more to be removed: it is
waited for, and told if it stays.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from long_song import family, write_record, write_track, write_tracks

STOPPED = 130
OURS = [sys.executable, "-m", "mixwright", "--json", "--progress", "json"]


@dataclass(frozen=True)
class Stop:
    """One stop: how long it took, the status, the job that was told last, and the last words."""

    latency_s: float
    cpu_s: float
    status: int
    job: str
    last: str


def at_end(words: Sequence[str], errors: Path) -> float:
    """Run a command to its end and return how long it took."""
    started = time.perf_counter()
    with errors.open("wb") as told:
        done = subprocess.run([*OURS, *words], check=False, stdout=subprocess.DEVNULL, stderr=told)
    if done.returncode not in (0, 3):
        sys.exit(f"{' '.join(words)} ended with status {done.returncode}: {errors.read_text()[-500:]}")
    return time.perf_counter() - started


def stopped_after(words: Sequence[str], moment_s: float, errors: Path) -> Stop:
    """Run a command and stop it."""
    with errors.open("wb") as told:
        process = subprocess.Popen([*OURS, *words], stdout=subprocess.DEVNULL, stderr=told)
        time.sleep(moment_s)
        used_s, started = sum(map(cpu_s, family(process.pid))), time.perf_counter()
        os.kill(process.pid, signal.SIGINT)  # Popen would reap a process that has ended
        _, code, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(code)
    latency_s = time.perf_counter() - started
    used_s = max(0.0, used.ru_utime + used.ru_stime - used_s)
    lines = errors.read_text(errors="replace").splitlines()
    jobs = [json.loads(line)["job"] for line in lines if line.startswith("{")]
    return Stop(
        latency_s, used_s, process.returncode, jobs[-1] if jobs else "(before the first job)", "".join(lines[-1:])
    )


def cpu_s(pid: int) -> float:
    """Return the processor time of a process and of its children that have ended."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def left_behind(work: Path) -> list[Path]:
    """Return what is half made and not removed after a while."""
    for _ in range(50):
        left = list(work.rglob(".mixwright-*.part"))
        if not left:
            break
        time.sleep(0.1)
    return left


def linked(source: str, to: str) -> None:
    """Copy a file; large ones are never changed, so another name will do."""
    if Path(source).stat().st_size > 1 << 20:
        os.link(source, to)
    else:
        shutil.copy2(source, to)


def main() -> None:
    """Make the song, stop every command, print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("commands", nargs="*", metavar="COMMAND")
    parser.add_argument("--tracks", type=int, default=8)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--tries", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_intermixed_args()
    given.folder.mkdir(parents=True)
    try:
        measure_all(given.folder.absolute(), given)
    finally:
        shutil.rmtree(given.folder, ignore_errors=True)


def measure_all(folder: Path, given: argparse.Namespace) -> None:
    """Bring songs to the states that the commands start from, and stop each command there."""
    seconds, errors = given.minutes * 60.0, folder / "errors.txt"
    tracks, record = folder / "tracks", folder / "record" / "Record.wav"
    paths = write_tracks(tracks, given.tracks, seconds)
    write_track(tracks / "Grand Piano.wav", "held", 96000, 2, seconds, 99)
    write_record(record, seconds)
    late = folder / "late"
    write_track_folder = late / "tracks"
    write_track_folder.mkdir(parents=True)
    write_track(write_track_folder / "Choir.wav", "sung", 48000, 2, seconds, 98)

    raw, started, planned = folder / "raw", folder / "started", folder / "planned"
    raw.mkdir()
    started.mkdir()
    begin = ["start", str(tracks), "--reference", str(record), "--into"]
    at_end([*begin, str(started / "song")], errors)
    shutil.copytree(started, planned, copy_function=linked)
    at_end(["plan", str(planned / "song"), "--lead", "auto"], errors)
    at_end(["accept", str(planned / "song"), "--all"], errors)
    work = folder / "work"
    song = str(work / "song")
    states: dict[str, tuple[Path, list[str]]] = {
        "start": (raw, [*begin, song]),
        "measure": (started, ["measure", song]),
        "plan": (started, ["plan", song, "--lead", "auto"]),
        "mix": (planned, ["mix", song]),
        "deliver": (planned, ["deliver", song]),
        "refresh": (started, ["refresh", song]),
        "check": (raw, ["check", *map(str, paths), str(tracks / "Grand Piano.wav")]),
        "tour": (raw, ["tour", str(work / "tour")]),
    }
    sys.stdout.write(f"{'':10} {'whole s':>8} {'tries':>6} {'median s':>9} {'worst s':>8} {'CPU s':>6}  during\n")
    moments = random.Random(given.seed)
    for command in given.commands or states:
        state, words = states[command]
        arrived = tracks / "Choir.wav"
        if command == "refresh":
            os.link(write_track_folder / "Choir.wav", arrived)
        stops = []
        for number in range(given.tries + 1):
            shutil.rmtree(work, ignore_errors=True)
            shutil.copytree(state, work, copy_function=linked)
            if number == 0:
                whole_s = at_end(words, errors)
            else:
                stops.append(stopped_after(words, moments.uniform(0.0, whole_s), errors))
            if left := left_behind(work):
                sys.stdout.write(f"{command}: left behind {left[:3]}\n")
        arrived.unlink(missing_ok=True)
        tell(command, whole_s, stops)


def tell(command: str, whole_s: float, stops: Sequence[Stop]) -> None:
    """Print one row."""
    took = [stop for stop in stops if stop.status == STOPPED]
    other = [(stop.status, stop.last) for stop in stops if stop.status != STOPPED]
    if took:
        worst = max(took, key=lambda stop: stop.latency_s)
        cpu = max(stop.cpu_s for stop in took)
        median_s = statistics.median(stop.latency_s for stop in took)
        sys.stdout.write(
            f"{command:10} {whole_s:8.1f} {len(took):6} {median_s:9.3f} {worst.latency_s:8.3f} {cpu:6.2f}"
            f"  {worst.job}\n"
        )
    if other:
        sys.stdout.write(f"{command:10} other endings: {other}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
