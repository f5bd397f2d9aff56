# SPDX-License-Identifier: Apache-2.0
"""What a plan knows of a song beside what is heard."""

from dataclasses import replace

from mixwright.app.known_song import split_groups
from mixwright.model.song import changed
from planning.test_candidates import PLAYED, ROWS


def test_a_group_through_which_a_part_of_a_layer_runs_is_split():
    assert split_groups(PLAYED, ROWS) == frozenset()
    tracks = tuple(changed(one, group="") if one.id == "kick-out" else one for one in PLAYED.tracks)
    rows = [replace(row, groups=()) if row.id == "kick" else row for row in ROWS]
    assert split_groups(changed(PLAYED, tracks=tracks), rows) == {"drums"}
