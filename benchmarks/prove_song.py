# SPDX-License-Identifier: Apache-2.0
"""Speed of receipts: `python benchmarks/prove_song.py DIR [--tracks 40] [--minutes 4]`.

A song of eight sections with twelve accepted moves of several kinds, each over all of it. `prove` runs as a process of
its own, once, then again from its cache. Printed: wall clock, CPU and the peak of anonymous memory of each.
"""

from __future__ import annotations

import argparse
import shutil
import sys
from pathlib import Path

from ear_song import RATE_HZ, made, run

from mixwright.app.decide import add
from mixwright.io.song_file import create_song
from mixwright.model.song import Group, Section, Song, Track

MOVES = (
    "level warm-pad -4 dB",
    "level cold-keys +2 dB",
    "level verse-organ -3 dB",
    "level warm-brass -2 dB",
    "shape cold-pad -4 dB at 1.2 kHz q 2",
    "shape warm-synth -3 dB at 2.5 kHz q 2",
    "shape warm-keys +2 dB at 3 kHz q 1",
    "band-limit verse-pad 150 to 6000 Hz",
    "tilt warm-bass -2 dB at 200 Hz",
    "dip guitars 4 dB at 2 kHz q 1 margin 6 dB under warm-strings",
    "dip high-pad 4 dB at 1.5 kHz q 1 margin 6 dB under warm-strings",
    "pan cold-guitar left -0.9 right 0.2",
)


def song_of(folder: Path, files: list[Path], seconds: float) -> Path:
    """Make the song with its moves, anew."""
    shutil.rmtree(folder, ignore_errors=True)
    tracks = tuple(
        Track(
            id=file.stem,
            name=file.stem,
            file=str(file.resolve()),
            place="lead" if file.stem == "warm-strings" else "support",
            group="guitars" if "guitar" in file.stem else "",
        )
        for file in files
    )
    length = seconds / 8.0
    sections = tuple(Section(name=f"part-{k + 1}", start_s=k * length, end_s=(k + 1) * length) for k in range(8))
    groups = (Group(id="guitars", name="Guitars"),)
    song = Song(title="Speed", rate_hz=RATE_HZ, lead=("warm-strings",), tracks=tracks, sections=sections, groups=groups)
    create_song(folder, song)
    for sentence in MOVES:
        add(folder, sentence)
    return folder


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=4.0)
    given = parser.parse_args()
    seconds = 60.0 * given.minutes
    folder = song_of(given.folder / "song", made(given.folder / "tracks", given.tracks, seconds), seconds)
    for what in ("first", "again"):
        wall, cpu, peak = run("-m", "mixwright", "prove", str(folder), "--progress", "none", "--json")
        sys.stdout.write(f"{what:8} {wall:8.1f} s wall {cpu:8.1f} s CPU {peak:8.0f} MiB\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
