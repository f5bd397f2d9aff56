# SPDX-License-Identifier: Apache-2.0
"""`mixwright check`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, command, detail_option
from mixwright.cli.output import Output


@command(
    "check",
    short_help="Check any finished file.",
    example="mixwright check night-bus/prints/001/*.wav",
)
@click.argument("files", metavar="FILE...", nargs=-1, required=True, type=FILE)
@detail_option
def command_line(output: Output, files: tuple[Path, ...]) -> None:
    """Measure and check finished files. Ends with status 3 when a check fails."""
    from mixwright.app.check import check
    from mixwright.report.text import check_text

    output.show(output.run(check, files), check_text)
