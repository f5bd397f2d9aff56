# SPDX-License-Identifier: Apache-2.0
"""`mixwright measure`."""

from __future__ import annotations

from pathlib import Path

from mixwright.cli.options import command, detail_option, song_argument
from mixwright.cli.output import Output


@command(
    "measure",
    short_help="Measure the mix as it stands and every layer in it.",
    example="mixwright measure night-bus",
)
@song_argument
@detail_option
def command_line(output: Output, song: Path) -> None:
    """Measure the mix as it stands, accepted moves included, and every layer in it."""
    from mixwright.app.measure import measure
    from mixwright.report.text import measure_text

    output.show(output.run(measure, song), measure_text)
