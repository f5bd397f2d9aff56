# SPDX-License-Identifier: Apache-2.0
"""`mixwright chain`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, command, song_argument
from mixwright.cli.output import Output


@command(
    "chain",
    short_help="Tell, hold, save or use the inserts of a strip.",
    example="mixwright chain night-bus lead-vox --use voice.toml --hold",
)
@song_argument
@click.argument("target", metavar="TARGET")
@click.option("--use", type=FILE, metavar="FILE", help="First put a saved chain in the place of the inserts.")
@click.option("--hold", is_flag=True, help="Set the gain of each insert so that it comes out as loud as it went in.")
@click.option("--save", type=FILE, metavar="FILE", help="Save the chain, as it is then, as a new .toml file.")
def command_line(output: Output, song: Path, target: str, use: Path | None, hold: bool, save: Path | None) -> None:
    """Tell the inserts of a strip in order, with loudness and true peak after each on the song's own audio.

    TARGET is a track, group or send, or `master`. Better is never louder: what --hold writes keeps each stage within
    0.1 LU of what goes into it; it is one step of `undo`.
    """
    from mixwright.app.chain import chain
    from mixwright.report.chains import chain_text

    output.show(output.run(chain, song, target, use=use, hold=hold, save=save), chain_text, str(song))
