# SPDX-License-Identifier: Apache-2.0
"""What restores the balance that a limiter changes: which part, by how much, where, and as which moves."""

from __future__ import annotations

import msgspec
import pytest

from mixwright.model.song import Group, Section, Song, Source, Track
from mixwright.planning.restoring import Trim, lost, restoring_moves, targets_covering, trims_of, with_moves

SONG = Song(
    title="Made up",
    rate_hz=48000,
    tracks=(
        Track(id="vox", name="Vox", file="v.wav", role="lead vocal"),
        Track(id="kick", name="Kick", file="k.wav", role="kick", group="kit"),
        Track(id="snare-top", name="Snare top", file="s.wav", role="snare", group="kit", source="snare"),
        Track(id="snare-bottom", name="Snare bottom", file="t.wav", role="snare", group="kit", source="snare"),
        Track(id="hats", name="Hats", file="h.wav", role="hats"),
        Track(id="keys", name="Keys", file="y.wav", role="keys"),
    ),
    sources=(Source(id="snare", name="Snare"),),
    groups=(Group(id="kit", name="Kit"),),
    sections=(Section(name="verse", start_s=0.0, end_s=4.0), Section(name="chorus", start_s=4.0, end_s=8.0)),
)
DRUMS = frozenset({"kick", "snare-top", "snare-bottom"})
TRACKS = {"lead": frozenset({"vox"}), "drums": DRUMS}


def test_a_part_is_given_back_what_it_lost_against_the_one_that_stays():
    assert lost({"lead": -0.5, "backing": -0.2, "drums": -1.5}) == pytest.approx({"lead": 0.3, "drums": 1.3})
    assert lost({"lead": -0.5, "backing": None, "drums": -1.5}) == pytest.approx({"drums": 1.0})
    assert lost({"lead": -0.5, "backing": None, "drums": None}) == {}


def test_sections_that_ask_for_about_the_same_share_a_trim_and_little_is_left():
    wanted = [{"drums": 1.0}, {"drums": 1.2}, {"drums": 0.19}, {"drums": 1.5, "lead": -0.4}]
    assert trims_of(wanted) == (Trim("lead", -0.4, (3,)), Trim("drums", 1.1, (0, 1)), Trim("drums", 1.5, (3,)))
    # However much a limiter takes: no more than 3 dB.
    assert trims_of([{"drums": 7.0}]) == (Trim("drums", 3.0, (0,)),)


def test_drums_are_moved_by_as_few_targets_as_there_are():
    assert targets_covering(SONG, DRUMS) == ("kit",)
    assert targets_covering(SONG, DRUMS | {"hats"}) == ("kit", "hats")
    assert targets_covering(SONG, frozenset({"snare-top", "snare-bottom"})) == ("snare",)
    assert targets_covering(SONG, frozenset({"snare-top"})) == ("snare-top",)
    # A muted member is none of what sounds, and does not stop its group from being taken.
    muted = msgspec.structs.replace(SONG.tracks[1], mute=True)
    song = msgspec.structs.replace(SONG, tracks=(SONG.tracks[0], muted, *SONG.tracks[2:]))
    assert targets_covering(song, DRUMS - {"kick"}) == ("kit",)


def test_moves_say_what_limiting_does_and_wait_to_be_decided():
    before = [{"lead": 0.0, "backing": 0.0, "drums": 0.0}, {"lead": 0.0, "backing": -0.2, "drums": -1.3}]
    after = [{"lead": 0.0, "backing": 0.0, "drums": 0.0}, {"lead": 0.0, "backing": -0.3, "drums": -0.35}]
    (move,) = restoring_moves(SONG, TRACKS, [Trim("drums", 1.2, (1,))], before, after)
    assert (move.kind, move.target, move.sections, move.settings) == ("level", "kit", ("chorus",), {"gain_db": 1.2})
    assert move.state == "proposed"
    assert move.measured == {"against_backing_lu": -1.1}
    assert move.predicted == {"against_backing_lu": -0.05}
    assert move.reason == (
        "Limiting the preview takes 1.1 LU more off Kit than off the rest in chorus: raise it by 1.2 dB before that."
    )
    song = with_moves(SONG, [move])
    assert [(one.id, one.state) for one in song.moves] == [(move.id, "proposed")]
    assert with_moves(song, [move]) == song
    # What was decided is not offered again.
    decided = msgspec.structs.replace(song, moves=(msgspec.structs.replace(song.moves[0], state="refused"),))
    assert restoring_moves(decided, TRACKS, [Trim("drums", 1.2, (1,))], before, after) == ()


def test_all_sections_in_which_a_part_sounds_are_the_whole_song():
    before = [{"lead": None, "backing": 0.0, "drums": None}, {"lead": -0.5, "backing": 0.0, "drums": None}]
    (move,) = restoring_moves(SONG, TRACKS, [Trim("lead", 0.5, (1,))], before, before)
    assert (move.target, move.sections) == ("vox", ())
