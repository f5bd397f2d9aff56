# SPDX-License-Identifier: Apache-2.0
"""Speed of the desk: `python benchmarks/desk_speed.py [--seconds 30] [--repeat 3]`. All in one run.

First the full strip on 24 stereo tracks: high-pass, six bands, compressor, de-esser, saturation, a dip of two bands
keyed by the lead; 4 groups with a compressor, 2 sends with reverbs, a compressor on the master; on two threads and on
one, times real time. Beside it the same song without inserts (what is left), and numpy adding the tracks up (naive: it
does not mix).

Then one stereo track through a high-pass, six bands and a compressor, processor time of all threads: ours, and the same
filters in a graph of FFmpeg's libavfilter through PyAV, at float32 and float64. An empty graph stands beside.
"""

from __future__ import annotations

import argparse
import itertools
import sys
from collections.abc import Callable

import av
import av.filter
import numpy as np
from timing import timed

from mixwright.engine.chain import Chain
from mixwright.engine.compiling import compile_mix
from mixwright.engine.operation import Operation
from mixwright.engine.processors import operations_of
from mixwright.engine.render import render
from mixwright.model.colour_inserts import Saturation
from mixwright.model.dynamics_inserts import Compressor, DeEsser
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.keyed_inserts import Dip, DipBand
from mixwright.model.song import Group, Send, Song, Track, changed
from mixwright.model.strip import Master, Reverb, Strip

RATE_HZ = 48000
TRACKS, GROUPS = 24, 4
PLACES = ((120, 2), (300, -3), (450, -2), (1200, 1.5), (2500, 2), (9000, 1.5))
BANDS = tuple(EqBand(hz=hz, gain_db=gain_db, q=1.2) for hz, gain_db in PLACES)
STRIP = Strip(high_pass=Pass(hz=80), eq=BANDS, left=-0.8, right=0.4, fader_db=-12.0)
COMPRESSOR = Compressor(threshold_db=-24.0, ratio=3.0, attack_ms=10.0, release_ms=120.0)
GLUE = Compressor(threshold_db=-12.0, ratio=1.8)
FULL = (
    COMPRESSOR,
    DeEsser(),
    Saturation(drive_db=6.0),
    Dip(key="t0", bands=(DipBand(hz=400.0, most_db=3.0), DipBand(hz=2500.0, most_db=4.0))),
)


def song_of(*, inserts: bool) -> Song:
    """Return an invented song of 24 tracks; the first is the lead, which keys the dips of all others."""
    full = changed(STRIP, inserts=FULL) if inserts else STRIP
    lead = changed(STRIP, inserts=FULL[:3]) if inserts else STRIP
    glued = Strip(inserts=(GLUE,)) if inserts else Strip()
    tracks = tuple(
        Track(
            id=f"t{k}",
            name=f"t{k}",
            file=f"t{k}.wav",
            strip=full if k else lead,
            group=f"g{k % GROUPS}",
            sends={f"s{k % 2}": -12.0},
        )
        for k in range(TRACKS)
    )
    groups = tuple(Group(id=f"g{k}", name=f"g{k}", strip=glued) for k in range(GROUPS))
    sends = tuple(
        Send(id=f"s{k}", name=f"s{k}", reverb=Reverb(kind=kind, decay_s=1.5))
        for k, kind in enumerate(("voice", "instruments"))
    )
    master = Master(inserts=(GLUE,)) if inserts else Master()
    return Song(title="speed", rate_hz=RATE_HZ, tracks=tracks, groups=groups, sends=sends, master=master)


def mixed(song: Song, stems: dict[str, np.ndarray], workers: int) -> None:
    """Render the whole mix once, as `mix` does the first time: gains are made on the way."""
    graph = compile_mix(song, (), {name: len(audio) for name, audio in stems.items()})
    log = (lambda _: None) if graph.dynamics else None
    for _ in render(graph, stems, workers=workers, log=log):
        pass


def added(stems: dict[str, np.ndarray]) -> None:
    """Add the tracks up."""
    out = np.zeros((len(stems["t0"]), 2))
    for audio in stems.values():
        out += audio


def ours(operations: tuple[Operation, ...], audio: np.ndarray) -> None:
    """Run a chain in blocks of 16384 frames."""
    chain = Chain(operations, 2)
    out = np.empty_like(audio)
    for start in range(0, len(audio), 16384):
        chain.process_float(audio[start : start + 16384], out[start : start + 16384])


def filter_graph(sample_format: str, *, filters: bool) -> Callable[[np.ndarray], None]:
    """Return what runs audio through a filter graph of FFmpeg, in frames of 16384."""

    def run(audio: np.ndarray) -> None:
        graph = av.filter.Graph()
        graph.threads = 1
        nodes = [graph.add_abuffer(sample_rate=RATE_HZ, format=sample_format, layout="stereo")]
        if filters:
            nodes.append(graph.add("highpass", "f=80:p=2:t=q:w=0.7071"))
            nodes += [graph.add("equalizer", f"f={hz}:t=q:w=1.2:g={gain_db}") for hz, gain_db in PLACES]
            threshold = 10.0 ** (COMPRESSOR.threshold_db / 20.0)
            knee = 10.0 ** (COMPRESSOR.knee_db / 20.0)
            nodes.append(
                graph.add("acompressor", f"threshold={threshold:.6f}:ratio=3:attack=10:release=120:knee={knee:.4f}")
            )
        nodes.append(graph.add("abuffersink"))
        for one, other in itertools.pairwise(nodes):
            one.link_to(other)
        graph.configure()
        kind = np.float64 if sample_format.startswith("dbl") else np.float32
        planar = sample_format.endswith("p")
        for start in range(0, len(audio), 16384):
            block = audio[start : start + 16384].astype(kind)
            shaped = np.ascontiguousarray(block.T) if planar else block.reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(shaped, format=sample_format, layout="stereo")
            frame.sample_rate, frame.pts = RATE_HZ, start
            graph.push(frame)
            graph.pull()

    return run


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=30.0, help="length of the song")
    parser.add_argument("--repeat", type=int, default=3, help="the smallest of so many runs counts")
    given = parser.parse_args()
    frames = round(given.seconds * RATE_HZ)
    noise = np.random.default_rng(1)
    # Loud and soft stretches, so that what follows levels works nearly all the time.
    swells = np.repeat(noise.uniform(0.05, 0.5, frames // 6000 + 1), 6000)[:frames, np.newaxis].astype(np.float32)
    stems = {f"t{k}": noise.uniform(-1.0, 1.0, (frames, 2)).astype(np.float32) * swells for k in range(TRACKS)}
    full, bare = song_of(inserts=True), song_of(inserts=False)
    wall, cpu = timed(
        {
            "full strip, 2 threads": lambda: mixed(full, stems, 2),
            "full strip, 1 thread": lambda: mixed(full, stems, 1),
            "without inserts, 2 threads": lambda: mixed(bare, stems, 2),
            "numpy adds the tracks (naive)": lambda: added(stems),
        },
        given.repeat,
    )
    sys.stdout.write(f"{TRACKS} stereo tracks, {given.seconds:g} s at {RATE_HZ} Hz, best of {given.repeat}\n")
    sys.stdout.write(f"{'':42} {'x real time':>12} {'CPU s a minute':>15}\n")
    for name in wall:
        sys.stdout.write(f"{name:42} {given.seconds / wall[name]:12.1f} {60.0 * cpu[name] / given.seconds:15.2f}\n")
    audio = stems["t0"]
    chain = (
        *operations_of(Filters(high_pass=STRIP.high_pass, bands=BANDS), RATE_HZ),
        *operations_of(COMPRESSOR, RATE_HZ),
    )
    _, cpu = timed(
        {
            "high-pass, 6 bands, compressor: ours": lambda: ours(chain, audio),
            **{
                f"the same by libavfilter, {kind}": lambda kind=kind: filter_graph(kind, filters=True)(audio)
                for kind in ("fltp", "dblp")
            },
            "a graph of libavfilter without filters": lambda: filter_graph("fltp", filters=False)(audio),
            "a chain without operations": lambda: ours((), audio),
        },
        given.repeat,
    )
    first = next(iter(cpu.values()))
    sys.stdout.write(f"\none stereo track, one thread\n{'':42} {'CPU s a minute':>15} {'re ours':>9}\n")
    for name, seconds in cpu.items():
        sys.stdout.write(f"{name:42} {60.0 * seconds / given.seconds:15.3f} {seconds / first:9.2f}\n")


if __name__ == "__main__":
    main()
