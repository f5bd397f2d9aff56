# SPDX-License-Identifier: Apache-2.0
"""`mixwright reference`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, command, song_argument
from mixwright.cli.output import Output


@command(
    "reference",
    short_help="Say what a reference stands for, or add one.",
    example="mixwright reference night-bus glass-harbour --for width,low_end",
)
@song_argument
@click.argument("reference", metavar="[ID]", required=False, default="")
@click.option(
    "--for",
    "use_for",
    metavar="ATTR,...",
    default="",
    help="What it was chosen for: low_end, top_end, spectrum, width, dynamics, density, contrast, lead; or everything.",
)
@click.option(
    "--beside",
    "beside",
    multiple=True,
    metavar="SECTION=PART",
    help="Which part of it stands beside a section of the song; without a part the likest one; repeatable.",
)
@click.option("--voice", type=FILE, metavar="FILE", help="Its lead voice alone, as loud as in the record.")
@click.option("--add", type=FILE, metavar="FILE", help="Add this finished record.")
def command_line(
    output: Output,
    song: Path,
    reference: str,
    use_for: str,
    beside: tuple[str, ...],
    voice: Path | None,
    add: Path | None,
) -> None:
    """Say what a reference was chosen for and which of its parts stand beside the song's sections, or add one.

    Without options: tell what each reference stands for. Its own sections can be marked in song.toml.
    """
    pairs = [pair.partition("=") for pair in beside]
    for name, equals, _ in pairs:
        if not (name and equals):
            raise click.UsageError("--beside must be written as SECTION=PART", click.get_current_context())
    from mixwright.app.tick import tick
    from mixwright.report.compared import references_text

    words = [word.strip() for word in use_for.split(",") if word.strip()]
    parts = {name: part for name, _, part in pairs}
    output.show(tick(song, reference, use_for=words, beside=parts, voice=voice, add=add), references_text, str(song))
