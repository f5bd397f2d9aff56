# SPDX-License-Identifier: Apache-2.0
"""Excerpts of a mix: cut from the whole to the bit, or within -80 dBFS where something lingers (decision 6)."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.compiling import compile_mix
from mixwright.engine.render import listened, render
from mixwright.errors import InternalError
from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.filters import Pass
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.song import Group, Send, Song, Track, changed
from mixwright.model.strip import Limiter, Master, Reverb, Strip

RATE_HZ = 48000
FRAMES = 8 * RATE_HZ


def song(group: Strip, reverb: Reverb | None) -> tuple[Song, dict[str, np.ndarray]]:
    rng = np.random.default_rng(4)
    tracks = (
        Track(id="a", name="a", file="a", group="all", strip=Strip(delay_ms=7.0, pan=0.3), sends={"hall": -3.0}),
        Track(id="b", name="b", file="b", strip=Strip(high_pass=Pass(hz=80.0)), start_frame=1234),
    )
    made = Song(
        title="x", rate_hz=RATE_HZ, tracks=tracks, groups=(Group(id="all", name="all", strip=group),),
        sends=(Send(id="hall", name="hall", reverb=reverb),),
    )  # fmt: skip
    return made, {id_: rng.standard_normal((FRAMES, 2)).astype(np.float32) * 0.1 for id_ in "ab"}


LANES = (
    Lane(target="a", parameter="level", points=(Breakpoint(at_s=1.0, value=0.0), Breakpoint(at_s=6.0, value=-9.0))),
)


@pytest.mark.parametrize(
    "span", [(0, 100), (1, 48000), (200_001, 260_000), (FRAMES - 10, FRAMES + 99_999), (700_000, 900_000)]
)
@pytest.mark.parametrize("block", [977, 16384])
def test_where_nothing_lingers_it_is_the_same_to_the_bit(span: tuple[int, int], block: int) -> None:
    made, stems = song(Strip(fader_db=-2.0), None)
    graph = compile_mix(made, LANES, dict.fromkeys(stems, FRAMES))
    whole = np.concatenate(list(render(graph, stems)))
    found = np.concatenate([np.empty((0, 2)), *render(graph, stems, span=span, block_frames=block)])
    assert found.tobytes() == whole[span[0] : span[1]].tobytes()


def test_what_lingers_is_there_within_80_db() -> None:
    """A reverb and a high-pass on buses start so long before as they ring; any blocks give the same bits."""
    made, stems = song(Strip(high_pass=Pass(hz=30.0)), Reverb(kind="instruments", decay_s=1.5))
    graph = compile_mix(made, LANES, dict.fromkeys(stems, FRAMES))
    whole = np.concatenate(list(render(graph, stems)))
    first, end = 6 * RATE_HZ, 7 * RATE_HZ
    one, same = (np.concatenate(list(render(graph, stems, span=(first, end), block_frames=n))) for n in (1000, 16384))
    assert one.tobytes() == same.tobytes()
    assert one.shape == (RATE_HZ, 2)
    assert 20.0 * np.log10(np.abs(one - whole[first:end]).max()) < -80.0
    late = np.concatenate(list(render(graph, {id_: x * 0.0 for id_, x in stems.items()}, span=(first, end))))
    assert not late.any()


@pytest.mark.parametrize("block", [977, 16384])
def test_an_excerpt_makes_the_gains_that_the_whole_mix_has_there(block: int) -> None:
    """With a compressor on a group, one on the master and the limiter: parts of it then add up to it."""
    squeeze = Compressor(threshold_db=-30.0, ratio=4.0, attack_ms=5.0, release_ms=150.0, gain_db=6.0)
    made, stems = song(Strip(inserts=(squeeze,)), None)
    master = Master(inserts=(changed(squeeze, threshold_db=-24.0),), limiter=Limiter(ceiling_dbtp=-9.0))
    graph = compile_mix(changed(made, master=master), LANES, dict.fromkeys(stems, FRAMES))
    logged: list[np.ndarray] = []
    whole = np.concatenate(list(render(graph, stems, log=logged.append)))
    gains = np.concatenate(logged)
    first, end = 4 * RATE_HZ, 5 * RATE_HZ
    curves, mix = listened(graph, stems, (first, end), block_frames=block)
    assert curves.gains.shape == gains.shape == graph.gains_shape
    assert np.abs(mix - whole[first:end]).max() < 1e-4  # -80 dBFS
    there = slice(first + graph.latency_frames, end + graph.latency_frames)
    assert np.abs(curves.gains[there] - gains[there]).max() < 1e-4
    assert gains[there].min() < 0.9
    parts = [np.concatenate(list(render(graph, stems, tracks=[id_], curves=curves, span=(first, end)))) for id_ in "ab"]
    assert np.abs(sum(parts) - mix).max() < 1e-6


def test_gains_are_logged_from_the_whole_mix_alone() -> None:
    made, stems = song(Strip(), None)
    graph = compile_mix(made, (), dict.fromkeys(stems, FRAMES))
    with pytest.raises(InternalError):
        render(graph, stems, span=(0, 10), log=lambda gains: None)
