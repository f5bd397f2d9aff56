# SPDX-License-Identifier: Apache-2.0
"""How parts add up to the mix: `python benchmarks/print_sums.py [--stems FOLDER] [--work DIR]`.

Receives the demo song, or a folder of stems, puts compressors and saturation on its groups and a compressor, a clipper
and a limiter on its master, and delivers main, instrumental, a cappella, stems, layers, dry and wet as 32-bit float and
24 bit. Printed for each sum: peak and RMS of what is left, read back from the files, and what is asked for. Beside
them the naive way, in which every stem goes through processors that hear it alone, and an empty one: the mix without
any stem.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np

from mixwright.app.deliver import deliver
from mixwright.app.session import open_song
from mixwright.app.start import start
from mixwright.demo.answers import answered
from mixwright.demo.record import write_demo
from mixwright.io.song_file import edit_song
from mixwright.model.agreement import Agreement
from mixwright.model.colour_inserts import Saturation
from mixwright.model.dynamics_inserts import Clipper, Compressor
from mixwright.model.song import Song, Track, changed
from mixwright.model.strip import Limiter, Strip
from mixwright.units import db_from_ratio

KINDS = ("main", "instrumental", "a_cappella", "stem", "layer", "dry", "wet")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--stems", type=Path, help="a folder of tracks in place of the demo song")
    parser.add_argument("--work", type=Path, help="where to work, in place of a temporary folder")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=asked.work) as folder:
        song = Path(folder) / "song"
        if asked.stems is None:
            demo = write_demo(Path(folder) / "received")
            start(demo.tracks, song, references=demo.references, rough=demo.rough)
            edit_song(song, "answers of the artist", answered)
        else:
            start(asked.stems, song)
        edit_song(song, "what bends", bent)
        result = deliver(song)
        sys.stdout.write(f"{asked.stems or 'the demo song'}: {len(result.files)} files\n")
        sys.stdout.write(f"{'':60} {'peak dBFS':>10} {'RMS dBFS':>10} {'asked':>8}\n")
        for one in result.sums:
            row(one.name, one.residual_peak_dbfs, one.residual_rms_dbfs, one.largest_dbfs)
        naive(song)
        failed = [check.name for check in result.checks if not check.passed]
        sys.stdout.write(f"failed checks: {', '.join(failed) or 'none'}\n")
    raise SystemExit(1 if failed else 0)


def bent(now: Song) -> Song:
    """Return the song with all that is not linear on its buses, and sends fed by every second track."""
    strip = Strip(inserts=(Compressor(threshold_db=-30.0, ratio=3.0), Saturation(drive_db=9.0)))
    groups = tuple(changed(group, strip=strip) for group in now.groups)
    inserts = (Compressor(threshold_db=-24.0, ratio=2.0), Clipper(ceiling_db=-6.0))
    master = changed(now.master, inserts=inserts, fader_db=3.0, limiter=Limiter())
    fed = {send.id: -9.0 for send in now.sends[:1]}
    tracks = tuple(changed(track, sends=fed) if k % 2 else track for k, track in enumerate(now.tracks))
    agreement = Agreement(prints=KINDS, depths=("24", "float"), over_full_scale="float")  # type: ignore[arg-type]
    return changed(now, groups=groups, master=master, tracks=tracks, agreement=agreement)


def naive(song: Path) -> None:
    """Tell what is left where each group is rendered as a song of its own."""
    with open_song(song) as session:
        main_ = session.rendered().astype(np.float64)
        total = np.zeros_like(main_)
        for group in sorted({track.group for track in session.song.tracks if track.use}):
            total += session.changed(changed(session.song, tracks=only(session.song, group))).rendered()
    for name, left in (("naive: stems through processors that hear them alone", total - main_), ("empty", main_)):
        row(name, db_from_ratio(float(np.max(np.abs(left)))), db_from_ratio(float(np.sqrt(np.mean(left**2)))), None)


def only(song: Song, group: str) -> tuple[Track, ...]:
    """Return the tracks with all muted that are not in a group."""
    return tuple(changed(track, mute=track.mute or track.group != group) for track in song.tracks)


def row(name: str, peak_db: float | None, rms_db: float | None, asked_db: float | None) -> None:
    """Print one line."""
    cells = [f"{'-inf' if value is None else format(value, '.1f'):>10}" for value in (peak_db, rms_db)]
    sys.stdout.write(f"{name:60} {cells[0]} {cells[1]} {'' if asked_db is None else format(asked_db, '.0f'):>8}\n")


if __name__ == "__main__":
    main()
