# SPDX-License-Identifier: Apache-2.0
"""Returns and the dry mix as parts: they add up to the mix."""

from __future__ import annotations

import numpy as np
import pytest

from mixwright.engine.render import render
from mixwright.engine.returns import fed_by, feeding_tracks, return_alone, without_sends
from mixwright.model.song import Send, changed, replace_in
from mixwright.model.strip import Reverb
from reference.noise_songs import graph_of, rich_song

SENDS = ("send echo", "send hall")


@pytest.fixture(scope="module")
def made():
    song, lanes, stems = rich_song(0.6)
    hall = Send(id="hall", name="hall", reverb=Reverb(kind="voice", decay_s=0.2))
    keys = next(track for track in song.tracks if track.id == "keys")
    wall = next(group for group in song.groups if group.id == "wall")
    song = changed(
        song,
        sends=(*song.sends, hall),
        tracks=replace_in(song.tracks, changed(keys, sends={"hall": 3.0})),
        groups=replace_in(song.groups, changed(wall, sends={"hall": -6.0, "echo": -3.0})),
    )
    return graph_of(song, lanes, stems), stems


def whole(graph, stems, tracks=None):
    return np.concatenate(list(render(graph, stems, tracks=tracks)))


def test_the_dry_mix_and_the_returns_add_up_to_the_mix(made):
    graph, stems = made
    dry = whole(without_sends(graph, frozenset(SENDS)), stems)
    returns = [whole(return_alone(graph, send), stems) for send in SENDS]
    assert all(np.abs(part).max() > 1e-3 for part in (dry, *returns))
    assert dry + sum(returns) == pytest.approx(whole(graph, stems), abs=1e-12)


def test_a_reverb_runs_on_its_send_without_latency(made):
    graph, _ = made
    send = next(bus for bus in graph.buses if bus.id == "send hall")
    assert [type(operation).__name__ for operation in send.operations] == ["Reverberation"]
    assert send.latency_frames == send.before_frames


def test_what_feeds_a_send(made):
    graph, _ = made
    assert fed_by(graph, "send hall") == ("keys", "group wall")
    assert feeding_tracks(graph, "send hall") == {"keys", "pad"}
    # guide is muted; the group of the drums feeds it with the kick
    assert fed_by(graph, "send echo") == ("pad", "voice", "group drums", "group wall")
    assert feeding_tracks(graph, "send echo") == {"pad", "voice", "kick", "keys"}


def test_only_what_leads_to_a_return_is_rendered(made):
    graph, _ = made
    assert {track.id for track in return_alone(graph, "send hall").tracks} == {"keys", "pad"}
