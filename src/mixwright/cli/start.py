# SPDX-License-Identifier: Apache-2.0
"""`mixwright start`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, FOLDER, FiniteRange, WholeRange, command
from mixwright.cli.output import Output


@command(
    "start",
    short_help="Make a song of the tracks received.",
    example="mixwright start from-artist/tracks --into night-bus --reference records/one.flac",
)
@click.argument("tracks", metavar="TRACKS...", nargs=-1, required=True, type=FOLDER)
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
    type=WholeRange(8000, 384000),
    help="Sample rate of the song [that of most track time].",
)
@click.option("--tempo", "tempo_bpm", metavar="BPM", type=FiniteRange(20, 400), help="Tempo of the plain grid.")
@click.option("--title", metavar="TEXT", help="Title of the song [the folder's name].")
def command_line(
    output: Output,
    tracks: tuple[Path, ...],
    into: Path,
    references: tuple[Path, ...],
    as_mixed: bool,
    mix_print: Path | None,
    **settings: object,
) -> None:
    """Read every track and make a song: names, roles, places, faults, sections.

    TRACKS are folders (those in them are searched too, one level deep) or single files. Received files are never
    changed. A faulty file does not stop the rest: it is listed and left out.
    """
    if mix_print and not as_mixed:
        raise click.UsageError("--print goes with --as-mixed", click.get_current_context())
    from mixwright.app.start import start
    from mixwright.report.text import start_text

    output.song = str(into)
    given = tracks[0] if len(tracks) == 1 else tracks
    layers = {"as_mixed": as_mixed, "mix_print": mix_print}
    output.show(output.run(start, given, into, references=references, **layers, **settings), start_text)
