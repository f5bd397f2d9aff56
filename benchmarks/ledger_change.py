# SPDX-License-Identifier: Apache-2.0
"""A new ledger after a change: `python benchmarks/ledger_change.py DIR [--tracks 40] [--minutes 4] [--sections 8]`.

The song of `ear_song.py`, cut into sections, its first track the lead voice, followed phrase by phrase. `measure` runs
as a process of its own, as a person would run it: cold, again from the cache, after a change of the level of one track
in one section, and after a change of a whole track. Beside them stand a process that only starts Python (empty), and
the naive way: the changed song cold, without its cache, whose ledger must be the same to the bit. And the size of what
the cold run keeps on disk.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from pathlib import Path

import msgspec
from ear_song import MEASURE, RATE_HZ, apart, made, run

from mixwright.app.session import open_song
from mixwright.io.kept import read_kept
from mixwright.io.song_file import edit_song
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.results import MeasureResult
from mixwright.model.song import Section, Song, changed
from mixwright.model.strip import Strip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--sections", type=int, default=8)
    parser.add_argument("--no-naive", action="store_true", help="leave the cold run of the changed song out")
    parser.add_argument("--again", action="store_true", help="take the song that is there, tracks decoded")
    given = parser.parse_args()
    received, song = given.folder / "received", given.folder / "song"
    seconds = 60.0 * given.minutes
    made(received, given.tracks, seconds)
    length_s = seconds / given.sections
    if not given.again:
        shutil.rmtree(song, ignore_errors=True)
        run("-m", "mixwright", "start", str(received), "--into", str(song), "--progress", "none", "--json")
    for file in results(song):
        file.unlink()

    def prepared(now: Song) -> Song:
        sections = tuple(
            Section(name=f"part {k + 1}", start_s=k * length_s, end_s=(k + 1) * length_s) for k in range(given.sections)
        )
        lead, *others = (changed(one, strip=Strip()) for one in apart(now).tracks)
        tracks = (changed(lead, role="lead vocal", place="lead"), *others)
        return changed(now, tracks=tracks, sections=sections, lead=(lead.id,))

    edit_song(song, "sections, and layers of their own", prepared)
    (song / "kept" / "lanes.json").unlink(missing_ok=True)
    sys.stdout.write(
        f"{given.tracks} stereo tracks of {given.minutes:g} minutes at {RATE_HZ} Hz, {given.sections} sections; "
        f"{os.cpu_count()} cores\n{'':34} {'wall s':>8} {'CPU s':>8} {'RssAnon MiB':>12} {'load':>6}\n"
    )
    told("empty: Python alone", "-c", "pass")
    told("cold, tracks decoded", *MEASURE, str(song))
    told("from the cache", *MEASURE, str(song))
    sizes(song)
    with open_song(song) as session:
        track = session.song.tracks[given.tracks // 2].id
    start_s = (given.sections // 2) * length_s
    points = ((start_s, 0.0), (start_s + 1.0, 2.0), (start_s + length_s - 2.0, 2.0), (start_s + length_s - 1.0, 0.0))
    lane = Lane(target=track, parameter="level", points=tuple(Breakpoint(at_s=at_s, value=db) for at_s, db in points))
    (song / "kept" / "lanes.json").write_bytes(msgspec.json.encode((lane,)))
    told("one section of one track", *MEASURE, str(song))

    def lower(now: Song) -> Song:
        strip = Strip(fader_db=-2.0)
        return changed(now, tracks=tuple(changed(t, strip=strip) if t.id == track else t for t in now.tracks))

    edit_song(song, "one track 2 dB lower", lower)
    told("a whole track", *MEASURE, str(song))
    if given.no_naive:
        return
    incremental = read_kept(song, "measure", MeasureResult)
    cache, aside = song / "cache", given.folder / "cache"
    shutil.rmtree(aside, ignore_errors=True)
    cache.rename(aside)
    told("naive: all of it again, decoding too", *MEASURE, str(song))
    same = read_kept(song, "measure", MeasureResult) == incremental
    sys.stdout.write(f"both ledgers are {'equal to the bit' if same else 'NOT EQUAL'}\n")
    raise SystemExit(0 if same else 1)


def told(name: str, *arguments: str) -> None:
    """Run a process and print what it took."""
    wall, cpu, peak = run(*arguments)
    sys.stdout.write(f"{name:34} {wall:8.2f} {cpu:8.2f} {peak:12.0f} {os.getloadavg()[0]:6.1f}\n")
    sys.stdout.flush()


def results(song: Path) -> list[Path]:
    """Return what the cache holds besides audio: arrays of under 16 MiB, and records."""
    files = (file for file in (song / "cache").iterdir() if file.suffix != ".seal")
    return [file for file in files if file.stat().st_size < 1 << 24]


def sizes(song: Path) -> None:
    """Print how much the results take in the cache, and what is kept in the song."""
    cached, kept = (
        sum(file.stat().st_size for file in files) / 1e6 for files in (results(song), (song / "kept").glob("*.*"))
    )
    sys.stdout.write(f"on disk: {cached:.1f} MB of results in the cache, {kept:.1f} MB kept in the song\n")


if __name__ == "__main__":
    main()
