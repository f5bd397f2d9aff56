# SPDX-License-Identifier: Apache-2.0
"""Speed of hearing a whole song: `python benchmarks/ear_song.py DIR [--tracks 40] [--minutes 4]`.

Makes a song of stereo tracks in 24-bit FLAC, each sounding about 65 % of the time, receives it with `start`, and runs
`measure` twice, each as a process of its own, as a person would. Printed for each: wall clock, CPU, the peak of
anonymous memory (RssAnon), and how many times faster than real time an ear-track is, a stereo track being two; beside
them the same figures of a process that only starts Python, and of a plain reading of all files in one thread with
soundfile, which is the least that any program has to do.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import soundfile

from mixwright.io.song_file import edit_song
from mixwright.model.song import Song, changed

RATE_HZ = 48000
PYTHON = sys.executable
MEASURE = ("-m", "mixwright", "measure", "--progress", "none", "--json")
#: Names that intake takes for layers of their own.
_INSTRUMENTS = ("pad", "keys", "guitar", "strings", "organ", "brass", "synth", "bass")
_KINDS = ("warm", "cold", "verse", "chorus", "high", "answer", "bridge", "wide")
_READ = "import soundfile, sys\nfor name in sys.argv[1:]: soundfile.read(name, dtype='float32')"


def track(number: int, seconds: float) -> np.ndarray:
    """Return phrases of shaped noise and tones, a little different in both channels, pauses between them."""
    frames, rng = round(seconds * RATE_HZ), np.random.default_rng(number)
    at_s = np.arange(frames, dtype=np.float32) / RATE_HZ
    hz = np.float32(60.0 * 1.13 ** (number % 40))
    tone = np.zeros(frames, dtype=np.float32)
    for partial in range(1, 7):
        tone += np.sin(np.float32(2.0 * np.pi) * ((partial * hz * at_s) % 1.0)) / np.float32(partial)
    phrase = ((at_s + 0.37 * number) % 8.0) < 5.2  # 65 % of the time
    beat = np.exp(-((at_s * np.float32(2.0)) % 1.0) * np.float32(1.0 + number % 5))
    noise = rng.standard_normal((frames, 2), dtype=np.float32) * np.float32(0.2)
    return (tone[:, None] + noise) * (phrase * beat)[:, None] * np.float32(0.02)


def made(folder: Path, tracks: int, seconds: float) -> list[Path]:
    """Write the tracks that are not there yet; return their files."""
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    for number in range(tracks):
        kind, instrument = divmod(number, len(_INSTRUMENTS))
        name = f"{_KINDS[kind % len(_KINDS)]}-{_INSTRUMENTS[instrument]}{kind // len(_KINDS) or ''}"
        files.append(folder / f"{name}.flac")
        if not files[-1].exists():
            soundfile.write(files[-1], track(number, seconds), RATE_HZ, subtype="PCM_24")
    return files


def run(*arguments: str) -> tuple[float, float, float]:
    """Run a process; return wall clock and CPU in s and the peak of anonymous memory in MiB, its children's too."""
    before, started = os.times(), time.perf_counter()
    process = subprocess.Popen([PYTHON, *arguments], stdout=subprocess.DEVNULL)
    peak = 0
    while process.poll() is None:
        peak = max(peak, sum(map(_anonymous, _family(process.pid))))
        time.sleep(0.05)
    wall, after = time.perf_counter() - started, os.times()
    if process.returncode:
        raise SystemExit(f"{' '.join(arguments)} ended with {process.returncode}")
    cpu = after.children_user + after.children_system - before.children_user - before.children_system
    return wall, cpu, peak / 1024.0


def _family(pid: int) -> list[int]:
    try:
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return [pid]
    return [pid, *(one for child in children for one in _family(int(child)))]


def _anonymous(pid: int) -> int:
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("RssAnon:")), 0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=4.0)
    given = parser.parse_args()
    received, song = given.folder / "received", given.folder / "song"
    seconds = 60.0 * given.minutes
    files = [str(file) for file in made(received, given.tracks, seconds)]
    ear_seconds = 2 * given.tracks * seconds
    steps = {
        "Python alone": ("-c", "pass"),
        "all files read, one thread": ("-c", _READ, *files),
        "start": ("-m", "mixwright", "start", str(received), "--into", str(song), "--progress", "none", "--json"),
        "measure, first": (*MEASURE, str(song)),
        "measure, second": (*MEASURE, str(song)),
    }
    load = os.getloadavg()[0]
    sys.stdout.write(f"{given.tracks} stereo tracks of {given.minutes:g} minutes, 24-bit FLAC; load {load:.1f}\n")
    sys.stdout.write(f"{'':28} {'wall s':>9} {'CPU s':>9} {'RssAnon MiB':>12} {'x real time':>12} {'a core':>8}\n")
    for name, arguments in steps.items():
        wall, cpu, peak = run(*arguments)
        rates = f"{ear_seconds / wall:12.0f} {ear_seconds / max(cpu, 1e-3):8.0f}" if len(arguments) > 2 else ""
        sys.stdout.write(f"{name:28} {wall:9.2f} {cpu:9.2f} {peak:12.0f} {rates}\n")
        sys.stdout.flush()
        if name == "start":
            edit_song(song, "layers of their own", apart)


def apart(song: Song) -> Song:
    """Return the song with every track a layer of its own, which is the most there is to hear."""
    return changed(song, tracks=tuple(changed(track, source="") for track in song.tracks))


if __name__ == "__main__":
    main()
