# SPDX-License-Identifier: Apache-2.0
"""`mixwright measure`."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import click

from mixwright.cli.options import FOLDER, FiniteRange, command, detail_option, song_argument
from mixwright.cli.output import Output


@command(
    "measure",
    short_help="Measure the mix as it stands and every layer in it.",
    example="mixwright measure night-bus",
)
@song_argument
@click.option(
    "--listening-level",
    type=FiniteRange(60.0, 90.0),
    default=79.0,
    show_default=True,
    metavar="DB_SPL",
    help="Level in dB SPL at which the mix is taken to play, 60 to 90; 79 is a working level, 65 a quiet check.",
)
@click.option(
    "--listening",
    type=click.Choice(["headphones", "loudspeakers"]),
    default="headphones",
    show_default=True,
    help="How the mix is taken to reach the ears.",
)
@click.option("--track", "tracks", multiple=True, metavar="ID", help="Tell of this track or source alone; repeatable.")
@click.option("--section", "sections", multiple=True, metavar="NAME", help="Tell of this section alone; repeatable.")
@click.option(
    "--leave",
    multiple=True,
    metavar="FINDING",
    help="Leave a finding of the last measure as it is: an id, or a part that fits one; repeatable.",
)
@click.option("--without", "muted", metavar="ID", help="Hear each --track, or the lead, with this layer muted, too.")
@click.option(
    "--pictures",
    "into",
    type=FOLDER,
    metavar="DIR",
    help="Write the pictures of the page into this folder, too, as SVG.",
)
@detail_option
def command_line(
    output: Output,
    song: Path,
    listening_level: float,
    listening: Literal["headphones", "loudspeakers"],
    tracks: tuple[str, ...],
    sections: tuple[str, ...],
    leave: tuple[str, ...],
    muted: str | None,
    into: Path | None,
) -> None:
    """Measure the mix as it stands, accepted moves included, and every layer in it, by level and as it is heard.

    First comes the line that is followed, phrase by phrase, then what stands outside the tolerance of its place, and
    what was buried deeper since the last measure.
    """
    from mixwright.app.leave import leave as leave_findings
    from mixwright.app.measure import measure
    from mixwright.app.pictures import pictures
    from mixwright.app.told import document_of, told
    from mixwright.app.without import without
    from mixwright.model.song import changed
    from mixwright.report.text import measure_text

    if leave:
        leave_findings(song, leave)
    found = output.run(measure, song, listening_level_db_spl=listening_level, listening=listening)
    if muted is not None and found.hearing is not None:
        layers = tracks or tuple(layer.id for layer in found.hearing.layers if layer.place == "lead")
        found = changed(found, hearing=output.run(without, song, found.hearing, layers, muted))
    if into is not None:
        pictures(found, into)
    asked = told(found, tracks, sections)
    output.show(document_of(asked) if output.as_json else asked, measure_text)
