# SPDX-License-Identifier: Apache-2.0
"""`mixwright mix`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import FILE, command, detail_option, song_argument
from mixwright.cli.output import Output

_FORMATS = {"16": "pcm16", "24": "pcm24", "float": "float32"}


@command(
    "mix",
    short_help="Render the mix with the accepted moves.",
    example="mixwright mix night-bus --format 24",
)
@song_argument
@click.option("--out", metavar="FILE", type=FILE, help="Where to write it [the song's folder `mixes`].")
@click.option(
    "--format",
    "sample_format",
    type=click.Choice(list(_FORMATS)),
    default="24",
    show_default=True,
    help="Bits of a sample, or 32-bit float.",
)
@click.option(
    "--solo",
    metavar="LAYER",
    multiple=True,
    help="Only this track, source or group, as it stands in the mix; repeatable.",
)
@click.option("--mute", metavar="LAYER", multiple=True, help="All but this track, source or group; repeatable.")
@detail_option
def command_line(
    output: Output, song: Path, out: Path | None, sample_format: str, solo: tuple[str, ...], mute: tuple[str, ...]
) -> None:
    """Render the mix with the accepted moves, and measure it.

    A layer alone, and the mix without it, have the gains that the whole mix makes: together they are the mix.
    """
    from mixwright.app.mix import mix
    from mixwright.report.text import mix_text

    result = output.run(mix, song, out=out, sample_format=_FORMATS[sample_format], solo=solo, mute=mute)
    output.show(result, mix_text, str(song), str(out or song / result.file))
