# SPDX-License-Identifier: Apache-2.0
"""`mixwright clean`."""

from __future__ import annotations

from pathlib import Path

import click

from mixwright.cli.options import command, song_argument
from mixwright.cli.output import Output


@command("clean", short_help="Free the disk space of a song's cache.", example="mixwright clean night-bus --all")
@song_argument
@click.option("--superseded", is_flag=True, help="Release what bounces superseded, too.")
@click.option("--all", "everything", is_flag=True, help="Empty the cache, whatever its budget.")
def command_line(output: Output, song: Path, everything: bool, superseded: bool) -> None:
    """Bring the cache of a song to its budget; what was used longest ago goes first.

    Commands do so at their end, too. The budget is 40 GiB or a tenth of the disk, whichever is smaller;
    MIXWRIGHT_CACHE_GIB in the environment sets another. Whatever goes is made again when it is needed. Received files,
    mixes, prints and what the song keeps are never touched, nor is what a running command uses. What tracks held before
    bounces took their place is kept until it is released with --superseded.
    """
    from mixwright.app.clean import clean
    from mixwright.report.text import clean_text

    output.show(clean(song, everything=everything, superseded=superseded), clean_text)
