# SPDX-License-Identifier: Apache-2.0
"""`mixwright plan`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FiniteRange, command, song_argument
from mixwright.cli.output import Output


@command(
    "plan",
    short_help="Propose the few moves that matter.",
    example="mixwright plan night-bus --lead lead-vox",
)
@song_argument
@click.option("--lead", metavar="ID", help="Who carries the song; `auto` confirms the guess of `start`.")
@click.option(
    "--strength",
    metavar="0..1",
    type=FiniteRange(0, 1),
    default=1.0,
    show_default=True,
    help="How far each move goes.",
)
def command_line(output: Output, song: Path, lead: str | None, strength: float) -> None:
    """Propose the few moves that matter: what, why, by how much, what fails without each and what it costs.

    For raw tracks a first balance and positions, with how far engineers differ; then, once that is decided, room for
    what is covered: levels, positions, band limits, shapes, tilts, dips and ducks, each made for a finding of
    `measure`; at most two small moves go towards references that were ticked for something. Nothing is changed until a
    move is accepted. Accepted and refused moves stay as decided; `prove` tells what accepted ones do.
    """
    from mixwright.app.plan import plan
    from mixwright.report.text import plan_text

    output.show(output.run(plan, song, lead=lead, strength=strength), plan_text, str(song))
