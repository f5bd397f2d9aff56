# SPDX-License-Identifier: Apache-2.0
"""`mixwright tour`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FOLDER, command
from mixwright.cli.output import Output


@command(
    "tour",
    short_help="Write the demo song and do the whole job on it.",
    example="mixwright tour",
)
@click.argument("folder", metavar="[DIR]", type=FOLDER, required=False)
def command_line(output: Output, folder: Path | None) -> None:
    """Write the demo song and do the whole job on it, then say where to look.

    The balance that is planned is accepted, mixed, measured, previewed and printed; moves that make room wait to be
    decided.

    The song is invented and made here; nothing is downloaded. DIR must be new; without it the first
    free name of mixwright-tour, mixwright-tour-2, ... is taken.
    """
    from mixwright.app.tour import tour
    from mixwright.report.text import tour_text

    output.show(output.run(tour, folder), tour_text)
