# SPDX-License-Identifier: Apache-2.0
"""A full set of prints beside one mix: `python benchmarks/print_speed.py DIR [--tracks 40] [--minutes 4] [--again]`.

The song of `ear_song.py` in eight groups, with voices, three sends, filters and a compressor on every track, layers
that are ducked under the lead, compressors on groups and master, and a limiter. `mix` and `deliver` run as processes of
their own, as a person would run them, each from a copy of the song whose tracks are decoded and nothing else: twelve
prints (main, vocal up and down, instrumental, a cappella, TV, clean, performance, for mastering, three returns) and a
stem of each group, 24 bit. Then `deliver` once more after `mix`, as it is most often run. Beside them a process that
only starts Python (empty), and the naive way: as many mixes as there are files, each from what is in the cache by then.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from pathlib import Path

from ear_song import RATE_HZ, apart, made, run

from mixwright.app.session import open_song
from mixwright.io.kept import read_kept
from mixwright.io.song_file import edit_song
from mixwright.model.agreement import Agreement
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Duck, DuckRule
from mixwright.model.prints import DeliverResult
from mixwright.model.song import Group, MutedWords, Send, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Reverb, Strip

QUIET = ("-m", "mixwright", "--progress", "none", "--json")
GROUPS = 8
VOICES = ("lead vocal", "double", "backing vocal", "backing vocal", "backing vocal")
KINDS = (
    "main", "vocal_up", "vocal_down", "instrumental", "a_cappella", "tv", "clean", "performance", "for_mastering",
    "return", "stem",
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tracks", type=int, default=40)
    parser.add_argument("--minutes", type=float, default=4.0)
    parser.add_argument("--again", action="store_true", help="go on with the song that is there")
    parser.add_argument("--plain", action="store_true", help="no strips, no dynamics, no sends: tracks are only summed")
    parser.add_argument("--no-naive", action="store_true", help="leave the naive way out")
    given = parser.parse_args()
    received, song = given.folder / "received", given.folder / "song"
    made(received, given.tracks, 60.0 * given.minutes)
    if not given.again:
        shutil.rmtree(song, ignore_errors=True)
        run("-m", "mixwright", "start", str(received), "--into", str(song), "--progress", "none", "--json")
    edit_song(song, "a song to be printed", lambda now: prepared(now, plain=given.plain))
    with open_song(song):
        pass  # every track is decoded
    sys.stdout.write(
        f"{given.tracks} stereo tracks of {given.minutes:g} minutes at {RATE_HZ} Hz; {os.cpu_count()} cores\n"
        f"{'':34} {'wall s':>8} {'CPU s':>8} {'RssAnon MiB':>12} {'load':>6}\n"
    )
    told("empty: Python alone", "-c", "pass")
    mixed, printed = copied(song, "mixed"), copied(song, "printed")
    one = told("one mix, tracks decoded", "-m", "mixwright", "mix", str(mixed), "--progress", "none", "--json")
    full = told(
        "all prints, tracks decoded", "-m", "mixwright", "deliver", str(printed), "--progress", "none", "--json"
    )
    told("all prints, after the mix", "-m", "mixwright", "deliver", str(mixed), "--progress", "none", "--json")
    result = read_kept(printed, "deliver", DeliverResult)
    files = 0 if result is None else len(result.files)
    failed = ["nothing was printed"] if result is None else [one.name for one in result.checks if not one.passed]
    sys.stdout.write(f"{files} files; failed checks: {failed or 'none'}\n")
    sys.stdout.write(f"all prints over one mix: {full[0] / one[0]:.2f} x wall, {full[1] / one[1]:.2f} x CPU\n")
    if not given.no_naive:
        walls = [run(*QUIET, "mix", str(mixed), "--solo", f"group-{k}") for k in range(3)]
        wall, cpu = (sum(each[k] for each in walls) / len(walls) for k in range(2))
        sys.stdout.write(
            f"naive, {files} parts one after the other (mean of 3 stems): {one[0] + (files - 1) * wall:.1f} s wall, "
            f"{one[1] + (files - 1) * cpu:.1f} s CPU\n"
        )
    for folder in (mixed, printed):
        shutil.rmtree(folder.parent)
    raise SystemExit(0 if not failed and full[0] < 4.0 * one[0] else 1)


def prepared(now: Song, *, plain: bool) -> Song:
    """Return the song with groups, voices and sends; and, unless it shall be plain, with all that a mix has."""
    tracks = [dressed(track, k, plain=plain) for k, track in enumerate(apart(now).tracks)]
    bus = Strip() if plain else Strip(inserts=(Compressor(threshold_db=-24.0, ratio=2.0),))
    sends = (
        Send(id="hall", name="Hall", reverb=Reverb(kind="voice", decay_s=1.0)),
        Send(id="room", name="Room", reverb=Reverb(kind="instruments", decay_s=1.5)),
        Send(id="plate", name="Plate", reverb=Reverb(kind="instruments", decay_s=2.0)),
    )
    return changed(
        now,
        tracks_are="raw",
        tracks=tuple(tracks),
        sources=(),
        lead=(tracks[0].id,),
        groups=tuple(Group(id=f"group-{k}", name=f"Group {k}", strip=bus) for k in range(GROUPS)),
        sends=sends,
        master=Master(fader_db=-12.0)
        if plain
        else Master(inserts=(Compressor(threshold_db=-18.0, ratio=1.5),), fader_db=-3.0, limiter=Limiter()),
        muted_words=(MutedWords(start_s=30.0, end_s=30.5), MutedWords(start_s=60.0, end_s=61.0)),
        moves=(),
        agreement=Agreement(prints=KINDS),  # type: ignore[arg-type]
    )


def dressed(track: Track, k: int, *, plain: bool) -> Track:
    """Return a track with role, group and sends, and with what a strip usually has."""
    strip = Strip(fader_db=-12.0)
    if not plain:
        inserts: tuple[Compressor | Duck, ...] = (Compressor(threshold_db=-26.0, ratio=3.0),)
        if k % 8 == 7:
            inserts = (*inserts, Duck(key="group-0", rules=(DuckRule(depth_db=2.0),)))
        eq = (EqBand(hz=300.0, gain_db=-2.0), EqBand(kind="high_shelf", hz=8000.0, gain_db=1.5, q=0.7))
        strip = changed(strip, high_pass=Pass(hz=60.0), eq=eq, inserts=inserts)
    feeds = {("hall", "room", "plate")[k % 3]: -15.0} if k % 2 == 0 else {}
    role = VOICES[k] if k < len(VOICES) else track.role
    return changed(
        track, role=role, group=f"group-{k * GROUPS // 40 % GROUPS}", sends=feeds, strip=strip, source="", mute=False
    )


def copied(song: Path, name: str) -> Path:
    """Return a copy of the song that shares the decoded tracks with it, under another folder beside its tracks."""
    folder = song.parent.parent / f"{song.parent.name}-{name}"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    (folder / "received").symlink_to((song.parent / "received").resolve())
    shutil.copytree(song, folder / "song", copy_function=os.link)
    for private in ("song.toml", "page.html"):
        if (song / private).exists():
            (folder / "song" / private).unlink()
            shutil.copy(song / private, folder / "song" / private)
    return folder / "song"


def told(name: str, *arguments: str) -> tuple[float, float]:
    """Run a process, print and return what it took: wall clock and processor time."""
    wall, cpu, peak = run(*arguments)
    sys.stdout.write(f"{name:34} {wall:8.2f} {cpu:8.2f} {peak:12.0f} {os.getloadavg()[0]:6.1f}\n")
    sys.stdout.flush()
    return wall, cpu


if __name__ == "__main__":
    main()
