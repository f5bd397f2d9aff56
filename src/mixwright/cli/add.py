# SPDX-License-Identifier: Apache-2.0
"""`mixwright add`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command(
    "add",
    short_help="Add a move of your own.",
    example="mixwright add night-bus level lead-vox +1 dB in chorus 2",
    context_settings={"ignore_unknown_options": True},
)
@song_argument
@click.argument("words", metavar="SENTENCE", nargs=-1, required=True)
def command_line(output: Output, song: Path, words: tuple[str, ...]) -> None:
    """Add a move of your own in one sentence; it is accepted at once and binds every later plan.

    \b
    level TARGET +1.5 dB
    pan TARGET 0.4
    pan TARGET left -0.6 right 0.8
    band-limit TARGET 200 to 4000 Hz        or above 200 Hz, or below 4 kHz; 24 dB/oct
    shape TARGET -3 dB at 400 Hz q 2
    tilt TARGET -1.5 dB at 120 Hz           darker; +1.5 dB is brighter
    dip TARGET 3.5 dB at 2 kHz under KEY    q 1, margin 12 dB, attack 8 ms, hold 30 ms, release 120 ms
    duck TARGET 3 dB under KEY              by hits; from 200 to 8000 Hz; attack, hold, release
    width TARGET 0.6
    send TARGET -2 dB to SEND
    even out TARGET above -24 dB ratio 3    attack 30 ms, release 200 ms, gain 2 dB
    colour TARGET 6 dB                      mix 0.5; from 50 to 150 Hz

    TARGET is a track, source or group, or `hall return`; the level of `master` is that of the whole mix. KEY is who is
    made room for. End with `in SECTION, SECTION` where it is not for the whole song. Positions run from -1 (left) to 1
    (right). docs/song-file.md has the range of each setting.
    """  # noqa: D301 - the mark keeps lines as they are
    from mixwright.app.decide import add
    from mixwright.report.text import decide_text

    output.show(add(song, " ".join(words)), decide_text, str(song))
