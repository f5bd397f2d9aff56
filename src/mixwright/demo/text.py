# SPDX-License-Identifier: Apache-2.0
"""What stands beside the audio of the demo: the artist's brief, and a note that all of it is invented."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.demo.score import Piece


def read_me(song: Piece, records: Sequence[Piece]) -> str:
    """Return the note that goes with the demo."""
    named = "\n             ".join(f'"{record.title}" by {record.artist} (invented)' for record in records)
    return f"""\
Demo song. Everything here is invented and made by code: no person sang or played, and neither songs nor artists exist.

tracks/      "{song.title}" by {song.artist} (invented), raw tracks: {song.tempo_bpm} bpm, {song.key}
rough/       the artist's rough mix, and rough.json with its faders and positions
references/  {named}, finished records
brief.txt    what the artist wishes (invented)
truth.json   what each track is, where the sections lie, which layers cover which and what is wrong with the files,
             for checking what a program finds out by itself
"""


def brief(song: Piece, records: Sequence[Piece]) -> str:
    """Return the artist's brief."""
    punch, width = records
    return f"""\
(Invented: this brief belongs to the demo song.)

{song.title}, {song.artist}, {song.tempo_bpm} bpm, {song.key}

Hello, here are the tracks. The rough mix is mine; I like its guitars far left and right, please keep them there.
The voice must lead all the way through. In the choruses it gets lost between guitars, the glassy pad, arpeggio and
backing voices; I kept turning it up and then it sat on top instead of inside.
I want the choruses huge, everything louder than everything else, but the whole must not be tiring.
The three bass tracks are one bass, and in the chorus I cannot tell the sub from the kick.
The double is only there to thicken, nobody should notice it.
Pads and arpeggio are wallpaper: miss them if they are gone, that is enough.
The snare sounded fuller in the room than it does on the tracks, no idea why.
The tambourine came from another machine, I hope it fits.

Records that I like, each for one thing:
"{punch.title}" by {punch.artist}: how kick and bass share the bottom, and its punch. Not its dull top.
"{width.title}" by {width.artist}: how wide and open it is. Not its loudness.
"""
