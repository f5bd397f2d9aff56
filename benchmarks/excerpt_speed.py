# SPDX-License-Identifier: Apache-2.0
"""How soon an excerpt of a changed mix is there: `python benchmarks/excerpt_speed.py`.

40 stereo tracks (high-pass, two bands and a compressor each), of which 12 dip under the group of voices, four groups
with compressors, two returns with reverbs, a compressor and a limiter on the master. The strips of all tracks are kept
from an earlier rendering; then the equaliser of one track changes, another one each time, and 20 s of the middle of the
song are rendered in the same process, from settings to audio. All in one run, middle of a few, wall clock and, beside
it, processor time of all threads:

- the excerpt;
- naive: the excerpt cut from the whole mix, rendered again after the change (the gains logged, then the mix), strips
  that did not change from the cache;
- empty: the same 20 s of stems read, multiplied by a fader each and added in numpy, nothing else.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from mixwright.engine.compiling import compile_mix
from mixwright.engine.curves import Curves
from mixwright.engine.graph import MixGraph
from mixwright.engine.render import render
from mixwright.jobs.cache import Cache
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Dip, DipBand
from mixwright.model.song import Group, Send, Song, Track
from mixwright.model.strip import Limiter, Master, Reverb, Strip

RATE_HZ = 48000
TRACKS = 40
EXCERPT_S = 20
EVEN = Compressor(threshold_db=-24.0, ratio=3.0)
GLUE = Compressor(threshold_db=-18.0, ratio=2.0)
DIP = Dip(key="voices", bands=(DipBand(hz=800.0), DipBand(hz=2500.0)))
GROUPS = ("drums", "low", "wall", "voices")


def song_of(changed_track: int = -1, gain_db: float = 0.0) -> Song:
    tracks = []
    for k in range(TRACKS):
        group = GROUPS[k % 4]
        bands = (EqBand(hz=300.0, gain_db=-2.0), EqBand(hz=3000.0, gain_db=gain_db if k == changed_track else 1.5))
        inserts = (EVEN, DIP) if group == "wall" or k in (0, 4) else (EVEN,)
        strip = Strip(high_pass=Pass(hz=70.0), eq=bands, inserts=inserts, fader_db=-14.0, left=-0.8, right=0.6)
        sends = {"room": -9.0} if k % 3 == 0 else {}
        tracks.append(
            Track(id=f"t{k}", name=f"t{k}", file=f"t{k}", sha256=f"{k:064x}", group=group, strip=strip, sends=sends)
        )
    return Song(
        title="excerpt",
        rate_hz=RATE_HZ,
        tracks=tuple(tracks),
        groups=tuple(Group(id=name, name=name, strip=Strip(inserts=(GLUE,))) for name in GROUPS),
        sends=(
            Send(id="room", name="room", reverb=Reverb(kind="instruments", decay_s=1.2)),
            Send(id="hall", name="hall", reverb=Reverb(kind="voice", decay_s=2.0)),
        ),
        master=Master(inserts=(GLUE,), limiter=Limiter(), fader_db=6.0),
    )  # fmt: skip


def compiled(song: Song, frames: int) -> MixGraph:
    return compile_mix(song, (), dict.fromkeys((track.id for track in song.tracks), frames))


def whole(graph: MixGraph, stems: dict[str, np.ndarray], cache: Cache) -> np.ndarray:
    gains: list[np.ndarray] = []
    for _ in render(graph, stems, log=gains.append, cache=cache):
        pass
    return np.concatenate(list(render(graph, stems, curves=Curves(np.concatenate(gains)), cache=cache)))


def empty(stems: dict[str, np.ndarray], span: tuple[int, int]) -> np.ndarray:
    out = np.zeros((span[1] - span[0], 2))
    for audio in stems.values():
        out += audio[span[0] : span[1]] * 0.2
    return out


def now() -> np.ndarray:
    return np.array([time.perf_counter(), time.process_time()])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=240.0, help="length of the song")
    parser.add_argument("--repeat", type=int, default=5, help="so many changes; the middle counts")
    given = parser.parse_args()
    frames = round(given.seconds * RATE_HZ)
    first = round(given.seconds / 2.0) * RATE_HZ
    span = first, first + EXCERPT_S * RATE_HZ
    noise = np.random.default_rng(1)
    swell = (0.05 + 0.1 * np.abs(np.sin(np.arange(frames) * (2 * np.pi / RATE_HZ)))).astype(np.float32)[:, np.newaxis]
    with tempfile.TemporaryDirectory() as folder, Cache(Path(folder)) as cache:
        stems = {}
        for k in range(TRACKS):  # mapped, as stems of a song are
            path = Path(folder) / f"stem{k}.npy"
            np.save(path, noise.standard_normal((frames, 2), dtype=np.float32) * swell)
            stems[f"t{k}"] = np.load(path, mmap_mode="r")
        whole(compiled(song_of(), frames), stems, cache)
        took: dict[str, list[np.ndarray]] = {"excerpt": [], "naive: the whole mix anew": [], "empty: numpy sum": []}
        off_db = []
        for k in range(given.repeat):
            song = song_of(4 * k + 1, 2.0 + k)  # of the group of basses: nobody listens to it
            start = now()
            graph = compiled(song, frames)
            found = np.concatenate(list(render(graph, stems, span=span, excerpt=True, cache=cache, block_frames=65536)))
            took["excerpt"].append(now() - start)
            start = now()
            full = whole(compiled(song, frames), stems, cache)[span[0] : span[1]]
            took["naive: the whole mix anew"].append(now() - start)
            start = now()
            empty(stems, span)
            took["empty: numpy sum"].append(now() - start)
            off_db.append(20.0 * np.log10(np.abs(found - full).max() + 1e-30))
    sys.stdout.write(f"{TRACKS} stereo tracks of {given.seconds:g} s at {RATE_HZ} Hz, {EXCERPT_S} s of them\n")
    for name, times in took.items():
        wall, processor = np.median(times, axis=0)
        least, most = min(one[0] for one in times), max(one[0] for one in times)
        line = f"{name:28} {wall:8.3f} s (from {least:.3f} to {most:.3f}), processor {processor:.3f} s"
        sys.stdout.write(f"{line}\n")
    sys.stdout.write(f"the excerpt is the whole mix within {max(off_db):.1f} dBFS\n")


if __name__ == "__main__":
    main()
