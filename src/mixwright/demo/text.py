# SPDX-License-Identifier: Apache-2.0
"""What stands beside the audio of the demo: the artist's brief, and a note that all of it is invented."""

from __future__ import annotations

from mixwright.demo.score import Piece


def read_me(song: Piece, record: Piece) -> str:
    """Return the note that goes with the demo."""
    return f"""\
Demo song. Everything here is invented and made by code: no person sang or played, and neither song nor artist exists.

tracks/      "{song.title}" by {song.artist} (invented), raw tracks: {song.tempo_bpm} bpm, {song.key}
rough/       the artist's rough mix, and rough.json with its faders and positions
references/  "{record.title}" by {record.artist} (invented), a finished record
brief.txt    what the artist wishes (invented)
truth.json   what each track is and where the sections lie, for checking what a program finds out by itself
"""


def brief(song: Piece) -> str:
    """Return the artist's brief."""
    return f"""\
(Invented: this brief belongs to the demo song.)

{song.title}, {song.artist}, {song.tempo_bpm} bpm, {song.key}

Hello, here are the tracks. The rough mix is mine; I like its guitars far left and right, please keep them there.
The voice must lead all the way through. In the choruses it gets lost between guitars, pad, arpeggio and backing
voices; I kept turning it up and then it sat on top instead of inside.
The three bass tracks are one bass. The double is only there to thicken, nobody should notice it.
The pad and the arpeggio are wallpaper: miss them if they are gone, that is enough.
For the overall tone I sent a record that I like.
"""
