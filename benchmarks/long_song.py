# SPDX-License-Identifier: Apache-2.0
"""A long song through every command: wall and CPU time, memory, times real time.

    python benchmarks/long_song.py FOLDER [--tracks 100] [--minutes 10] [--keep]

FOLDER must not exist; it is removed at the end. The tracks are invented: struck, held and sung sounds, 24-bit WAV, 19
of 20 mono, one of eight at 44.1 kHz, the rest at 48. More than half of each is digital silence, as in a layered song,
and lies as a hole in the file where the file system knows holes: 100 tracks of 10 minutes need about 17 GB in all,
cache and prints included.

Every command is a process of its own under a limit of 2 GiB. The limit is RLIMIT_DATA: it counts private writable
memory (more than what is resident), but not mapped files, which RLIMIT_AS would count although the system may drop
them at any time. Memory is the sum of RssAnon over the process and its children, from /proc, 20 times a second.
Beside the commands stand an empty one, and the plain way, which reads all tracks into memory: at full size it fails.
"""

from __future__ import annotations

import argparse
import itertools
import os
import resource
import shutil
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.io.write import wav_header

LIMIT_BYTES = 2 << 30
SAMPLE_EVERY_S = 0.05
PHRASE_S = 16.0
ACTIVE = 0.4
LEAD = "Lead Vox"
STRUCK = ("Kick", "Snare", "Hats", "Tom", "OH", "Room", "Shaker", "Conga")
HELD = ("Bass DI", "Gtr Crunch", "Pad Warm", "Keys EP", "Synth Arp", "Strings", "Gtr Clean", "Pad Air", "Organ")
SUNG = ("BV Hi", "BV Lo", "Lead Vox Dbl", "BV Oohs")
READ_ALL = """
import sys, soundfile
tracks = [soundfile.read(path, dtype="float32") for path in sys.argv[1:]]
"""


@dataclass(frozen=True)
class Ran:
    """One process: how it ended and what it took."""

    status: int
    wall_s: float
    cpu_s: float
    peak_bytes: int


def track_names(count: int) -> Iterator[tuple[str, str]]:
    """Yield the kind of sound and the name of every track."""
    yield "sung", LEAD
    sounds = (("struck", STRUCK), ("held", HELD), ("sung", SUNG))
    named = itertools.cycle([(kind, name) for kind, names in sounds for name in names])
    for number, (kind, name) in zip(range(1, count), named, strict=False):
        yield kind, f"{name} {number:02d}"


def phrase(kind: str, rate_hz: int, seconds: float, noise: np.random.Generator) -> np.ndarray:
    """Return an invented phrase, float64, its peak at about -8 dBFS."""
    frames = round(seconds * rate_hz)
    t = np.arange(frames) / rate_hz
    if kind == "struck":
        step_s = float(noise.choice([0.25, 0.5, 1.0]))
        decay_s, hz = noise.uniform(0.03, 0.3), noise.uniform(50.0, 4000.0)
        since = t % step_s
        sound = np.exp(-since / decay_s) * (np.sin(2 * np.pi * hz * since) + 0.5 * noise.standard_normal(frames))
    else:
        note_s = 2.0 if kind == "held" else 0.5
        notes = 55.0 * 2.0 ** (noise.integers(0, 36, int(seconds / note_s) + 1) / 12.0)
        hz = notes[(t / note_s).astype(int)]
        bend = 1.0 if kind == "held" else 1.0 + 0.006 * np.sin(2 * np.pi * 5.5 * t)
        turn = 2 * np.pi * np.cumsum(hz * bend) / rate_hz
        sound = sum(np.sin(k * turn) * k ** -noise.uniform(0.8, 2.0) for k in range(1, 9))
        sound *= np.minimum(1.0, 20.0 * (t % note_s)) * np.minimum(1.0, 20.0 * (note_s - t % note_s))
        sound += 0.01 * noise.standard_normal(frames)
    return np.asarray(sound * (0.4 / np.abs(sound).max()))


def write_track(path: Path, kind: str, rate_hz: int, channels: int, seconds: float, seed: int) -> None:
    """Write one track, with a hole wherever it is silent."""
    noise = np.random.default_rng(seed)
    length_s = min(PHRASE_S, seconds / 4.0)
    sound = phrase(kind, rate_hz, length_s, noise)
    frames = round(seconds * rate_hz)
    slots = -(-frames // len(sound))
    active = np.repeat(noise.random(-(-slots // 2)) < (0.8 if path.stem == LEAD else ACTIVE), 2)[:slots]
    active[noise.integers(slots)] = True
    header = wav_header(frames, channels, rate_hz, "pcm24")
    with path.open("wb") as file:
        file.write(header)
        for slot in np.flatnonzero(active).tolist():
            part = sound[: frames - slot * len(sound)] * noise.uniform(0.7, 1.0)
            both = part[:, None] if channels == 1 else np.stack([part, np.roll(part, 300) * 0.9], axis=1)
            codes = np.rint(both * 2.0**23).astype("<i4").view(np.uint8).reshape(-1, 4)[:, :3]
            file.seek(len(header) + slot * len(sound) * 3 * channels)
            file.write(codes.tobytes())
        file.truncate(len(header) + frames * channels * 3)


def write_tracks(folder: Path, count: int, seconds: float) -> list[Path]:
    """Write the tracks of an invented song."""
    folder.mkdir(parents=True)
    jobs = []
    for number, (kind, name) in enumerate(track_names(count)):
        rate_hz = 44100 if number % 8 == 5 else 48000
        jobs.append((folder / f"{name}.wav", kind, rate_hz, 2 if number % 20 == 9 else 1, seconds, number))
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(lambda job: write_track(*job), jobs))
    return [job[0] for job in jobs]


def write_record(path: Path, seconds: float) -> None:
    """Write an invented finished record: a few layers, their peaks rounded off."""
    path.parent.mkdir(parents=True)
    noise = np.random.default_rng(9)
    length_s = min(PHRASE_S, seconds / 4.0)
    kinds = ("struck", "struck", "held", "held", "held", "sung")
    both = np.zeros((round(length_s * 44100), 2))
    for kind in kinds:
        both += phrase(kind, 44100, length_s, noise)[:, None] * noise.uniform(0.4, 1.0, 2)
    codes = np.rint(np.tanh(both) * 0.9 * 2.0**15).astype("<i2")
    times = max(1, round(min(seconds, 240.0) / length_s))
    with path.open("wb") as file:
        file.write(wav_header(times * len(codes), 2, 44100, "pcm16"))
        for _ in range(times):
            file.write(codes.tobytes())


def run(command: Sequence[str], limit_bytes: int | None = LIMIT_BYTES) -> Ran:
    """Run a process to its end under the limit, and watch the memory of it and its children."""
    started = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    if limit_bytes is not None:
        resource.prlimit(process.pid, resource.RLIMIT_DATA, (limit_bytes, limit_bytes))
    peak = 0
    ended = threading.Event()

    def watch() -> None:
        nonlocal peak
        while not ended.wait(SAMPLE_EVERY_S):
            peak = max(peak, sum(anonymous_bytes(pid) for pid in family(process.pid)))

    watcher = threading.Thread(target=watch)
    watcher.start()
    assert process.stderr is not None
    errors = process.stderr.read()
    _, code, used = os.wait4(process.pid, 0)
    ended.set()
    watcher.join()
    process.returncode = status = os.waitstatus_to_exitcode(code)
    if status not in (0, 3):
        sys.stderr.write("\n".join(errors.splitlines()[-3:]) + "\n")
    return Ran(status, time.perf_counter() - started, used.ru_utime + used.ru_stime, peak)


def family(pid: int) -> list[int]:
    """Return a process and all below it."""
    found = [pid]
    for one in found:
        try:
            for task in Path(f"/proc/{one}/task").iterdir():
                found += map(int, (task / "children").read_text().split())
        except OSError:
            continue
    return found


def anonymous_bytes(pid: int) -> int:
    """Return the resident anonymous memory of a process; 0 when it is gone."""
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("RssAnon:"):
                return int(line.split()[1]) * 1024
    except OSError:
        pass
    return 0


def used_bytes(folder: Path) -> int:
    """Return what the files of a folder take on the disk; holes take nothing."""
    return sum(path.lstat().st_blocks * 512 for path in folder.rglob("*"))


def job(folder: Path, python: Sequence[str], report: Callable[[str, Ran], None]) -> None:
    """Run every command on the song in `folder`."""
    tracks, song = folder / "tracks", folder / "song"
    ours = [*python, "-m", "mixwright", "--json", "--progress", "none"]
    commands = {
        "start": ["start", str(tracks), "--into", str(song), "--reference", str(folder / "record" / "Record.wav")],
        "measure": ["measure", str(song)],
        "plan": ["plan", str(song), "--lead", "auto"],
        "accept": ["accept", str(song), "--all"],
        "mix": ["mix", str(song)],
        "deliver": ["deliver", str(song)],
    }
    report("--version (empty)", run([*python, "-m", "mixwright", "--version"]))
    for name, words in commands.items():
        ran = run([*ours, *words])
        report(name, ran)
        if ran.status not in (0, 3):
            sys.stderr.write(f"{name} ended with status {ran.status}\n")
            return
    report("measure again", run([*ours, "measure", str(song)]))
    report("plain: read all tracks", run([*python, "-c", READ_ALL, *map(str, sorted(tracks.iterdir()))]))


def main() -> None:
    """Make the song, run the commands, print a table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=int, default=100)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--keep", action="store_true", help="leave everything there")
    given = parser.parse_args()
    seconds = given.minutes * 60.0
    given.folder.mkdir(parents=True)
    try:
        started = time.perf_counter()
        write_tracks(given.folder / "tracks", given.tracks, seconds)
        write_record(given.folder / "record" / "Record.wav", seconds)
        sys.stdout.write(
            f"{given.tracks} tracks of {given.minutes:g} minutes, written in {time.perf_counter() - started:.0f} s, "
            f"{used_bytes(given.folder) / 1e9:.2f} GB on the disk\n"
            f"{'':24} {'status':>6} {'wall s':>8} {'CPU s':>8} {'peak MiB':>9} {'x real time':>12}\n"
        )

        def report(name: str, ran: Ran) -> None:
            row = f"{name:24} {ran.status:6} {ran.wall_s:8.1f} {ran.cpu_s:8.1f} {ran.peak_bytes / 2**20:9.0f}"
            sys.stdout.write(f"{row} {seconds / ran.wall_s:12.1f}\n")
            sys.stdout.flush()

        job(given.folder, [sys.executable], report)
        sys.stdout.write(f"on the disk at the end: {used_bytes(given.folder) / 1e9:.2f} GB\n")
    finally:
        if not given.keep:
            shutil.rmtree(given.folder, ignore_errors=True)


if __name__ == "__main__":
    main()
