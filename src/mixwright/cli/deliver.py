# SPDX-License-Identifier: Apache-2.0
"""`mixwright deliver`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command(
    "deliver",
    short_help="Print the mix, its versions and stems, and check them.",
    example="mixwright deliver night-bus",
)
@song_argument
@click.option(
    "--template", metavar="TEXT", help="How files are named [{title}_{print}_{rate}{depth}]; more in docs/tags.md."
)
@click.option("--undecided-ok", is_flag=True, help="Print although some proposed moves are not decided.")
@click.option("--mutes-ok", is_flag=True, help="Print although some tracks are muted.")
def command_line(output: Output, song: Path, template: str | None, undecided_ok: bool, mutes_ok: bool) -> None:
    """Print the mix, instrumental, a cappella and stems into a new numbered folder, and check them.

    All files start together and are equally long; the stems are shown to sum to the mix. Ends with status 3 when a
    check fails.
    """
    from mixwright.app.deliver import deliver
    from mixwright.report.text import deliver_text

    result = output.run(deliver, song, template=template, undecided_ok=undecided_ok, mutes_ok=mutes_ok)
    output.show(result, deliver_text, str(song))
