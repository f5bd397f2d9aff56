# SPDX-License-Identifier: Apache-2.0
"""`mixwright compare`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, FOLDER, command, song_argument
from mixwright.cli.output import Output


@command(
    "compare",
    short_help="Stand the mix beside its references.",
    example="mixwright compare night-bus --only width",
)
@song_argument
@click.option(
    "--only",
    multiple=True,
    metavar="ATTR",
    help="Tell of this attribute alone: low_end, top_end, spectrum, width, dynamics, density, contrast or lead; "
    "repeatable.",
)
@click.option("--section", "sections", multiple=True, metavar="NAME", help="Tell of this section alone; repeatable.")
@click.option("--mix", type=FILE, metavar="FILE", help="Stand this bounce beside them in place of the song's own mix.")
@click.option(
    "--listen",
    type=FOLDER,
    metavar="DIR",
    help="Write excerpts of the mix and the references into this folder, equally loud, whole and by band: of the "
    "sections asked for, else of the loudest and the softest.",
)
@click.option("--pictures", "into", type=FOLDER, metavar="DIR", help="Write the picture into this folder, as SVG.")
def command_line(
    output: Output,
    song: Path,
    only: tuple[str, ...],
    sections: tuple[str, ...],
    mix: Path | None,
    listen: Path | None,
    into: Path | None,
) -> None:
    """Stand the mix beside its references at equal loudness, attribute by attribute, whole and section by section.

    Each figure is told with the interval that the references span which were chosen for it. Inside there is nothing
    to do; outside it says how far, where and in which direction. A difference may be meant.
    """
    from mixwright.app.compare import compare
    from mixwright.app.pictures import compare_picture
    from mixwright.report.compared import compare_text

    found = output.run(compare, song, only=only, sections=sections, mix=mix, listen=listen)
    if into is not None:
        compare_picture(found, into)
    output.show(found, compare_text)
