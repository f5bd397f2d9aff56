# SPDX-License-Identifier: Apache-2.0
"""Invented songs of noise for tests of the engine, the same every time."""

from __future__ import annotations

import numpy as np

from mixwright.engine.compiling import compile_mix
from mixwright.engine.render import render
from mixwright.model.filters import EqBand, Pass
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Move, Section, Send, Song, Track
from mixwright.model.strip import Master, Strip

RATE_HZ = 48000


def noise(frames, channels, seed):
    return np.random.default_rng(seed).uniform(-0.25, 0.25, (frames, channels)).astype(np.float32)


def rich_song(seconds):
    """Return a song in which every stage does something, its lanes and its stems."""
    frames = round(seconds * RATE_HZ)
    low_cut = Pass(hz=90, slope_db_oct=24)
    eq = (EqBand(hz=700, gain_db=-4, q=2), EqBand(kind="high_shelf", hz=6000, gain_db=3, q=0.7))
    strips = {
        "kick": Strip(trim_db=-2, low_pass=Pass(hz=9000, slope_db_oct=18), pan=0.1),
        "bass": Strip(polarity="inverted", delay_ms=-12.5, eq=eq, pan=-0.2, fader_db=-4),
        "pad": Strip(high_pass=low_cut, eq=eq, left=-0.4, right=0.9, width=1.5, fader_db=-6),
        "keys": Strip(left=-0.9, right=0.3, delay_ms=7.0),
        "voice": Strip(high_pass=low_cut, fader_db=2),
        "guide": Strip(),
    }
    shape = {"kick": (1, 0), "bass": (1, 0), "pad": (2, 401), "keys": (2, 100), "voice": (1, 900), "guide": (2, 0)}
    group = {"kick": "drums", "bass": "", "pad": "wall", "keys": "wall", "voice": "", "guide": ""}
    stems = {
        name: noise(frames - start - 700 * (name == "kick"), channels, seed)
        for seed, (name, (channels, start)) in enumerate(shape.items())
    }
    tracks = tuple(
        Track(
            id=name,
            name=name,
            file=f"{name}.wav",
            sha256=f"{seed:064x}",
            group=group[name],
            start_frame=shape[name][1],
            strip=strip,
            mute=name == "guide",
            sends={"echo": -9.0} if name in ("voice", "pad") else {},
        )
        for seed, (name, strip) in enumerate(strips.items())
    )
    song = Song(
        title="Invented",
        rate_hz=RATE_HZ,
        pan_law_db=4.5,
        tracks=tracks,
        groups=(
            Group(id="drums", name="drums", strip=Strip(trim_db=1.5, width=0.7), sends={"echo": -20.0}),
            Group(id="wall", name="wall", strip=Strip(high_pass=low_cut, delay_ms=3.0, fader_db=-1)),
        ),
        sends=(Send(id="echo", name="echo", strip=Strip(delay_ms=120, low_pass=Pass(hz=4000), left=-0.5)),),
        master=Master(eq=eq[:1], fader_db=-3),
        sections=(
            Section(name="one", start_s=0, end_s=seconds / 2),
            Section(name="two", start_s=seconds / 2, end_s=seconds),
        ),
        moves=(
            Move(id="m1", kind="level", target="voice", sections=("two",), settings={"gain_db": 3.0}, state="accepted"),
            Move(id="m2", kind="pan", target="pad", settings={"left": -1.0, "right": 0.0}, state="accepted"),
            Move(id="m3", kind="level", target="wall", settings={"gain_db": -2.0}, state="accepted", strength=0.5),
        ),
    )
    ride = tuple(Breakpoint(at_s=t * seconds, value=v) for t, v in ((0.1, 0.0), (0.2, -6.0), (0.6, -6.0), (0.6, 2.0)))
    lanes = (
        Lane(target="keys", parameter="level", points=ride),
        Lane(target="kick", parameter="pan", points=(Breakpoint(at_s=0, value=-1), Breakpoint(at_s=1, value=1))),
    )
    return song, lanes, stems


def graph_of(song, lanes, stems):
    return compile_mix(song, lanes, {name: len(audio) for name, audio in stems.items()})


def rendered(graph, stems, **how):
    return np.concatenate([np.empty((0, 2)), *render(graph, stems, **how)])
