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

    TARGET is a track, source or group; the level of `master` is that of the whole mix. End with `in SECTION, SECTION`
    where it is not for the whole song. Positions run from -1 (left) to 1 (right).
    """  # noqa: D301 - the mark keeps lines as they are
    from mixwright.app.decide import add
    from mixwright.report.text import decide_text

    output.show(add(song, " ".join(words)), decide_text, str(song))
