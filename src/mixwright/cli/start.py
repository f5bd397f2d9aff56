# SPDX-License-Identifier: Apache-2.0
"""`mixwright start`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, FOLDER, FiniteRange, command
from mixwright.cli.output import Output


@command(
    "start",
    short_help="Make a song of a folder of tracks.",
    example="mixwright start from-artist/tracks --into night-bus --reference records/one.flac",
)
@click.argument("tracks", metavar="TRACKS", type=FOLDER)
@click.option("--into", metavar="SONG", type=FOLDER, required=True, help="The song folder to make; must be new.")
@click.option(
    "--reference",
    "references",
    metavar="FILE",
    type=FILE,
    multiple=True,
    help="A finished record to stand the mix beside; may be given several times.",
)
@click.option("--rough", metavar="FILE", type=FILE, help="The artist's rough mix.")
@click.option("--as-mixed", is_flag=True, help="The tracks are layers mixed elsewhere: faders stay at 0.")
@click.option("--print", "mix_print", metavar="FILE", type=FILE, help="With --as-mixed: the mix that they sum to.")
@click.option(
    "--rate",
    "rate_hz",
    metavar="HZ",
    type=click.IntRange(8000, 384000),
    help="Sample rate of the song [that of most track time].",
)
@click.option("--tempo", "tempo_bpm", metavar="BPM", type=FiniteRange(20, 400), help="Tempo of the plain grid.")
@click.option("--title", metavar="TEXT", help="Title of the song [the folder's name].")
def command_line(output: Output, tracks: Path, into: Path, references: tuple[Path, ...], **settings: object) -> None:
    """Read every track in the folder TRACKS and make a song: names, roles, places, faults, sections.

    Received files are never changed. A faulty file does not stop the rest: it is listed and left out.
    """
    from mixwright.app.start import start
    from mixwright.report.text import start_text

    output.song = str(into)
    output.show(output.run(start, tracks, into, references=references, **settings), start_text)
