# SPDX-License-Identifier: Apache-2.0
"""`mixwright preview`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from mixwright.cli.options import FiniteRange, WholeRange, command, detail_option, song_argument
from mixwright.cli.output import Output

_TARGETS = {"rough": "rough", "references": "references", "-14": "usual"}


class _Formats(click.ParamType):
    """Formats, separated by commas."""

    name = "formats"
    _known = ("wav", "flac", "mp3", "opus", "aac")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the formats, or fail with those that are known."""
        if isinstance(value, tuple):
            return value
        found = tuple(word.strip().lower() for word in str(value).split(","))
        for word in found:
            if word not in self._known:
                self.fail(f"{word!r} is no format; known: {', '.join(self._known)}", param, ctx)
        return found


@command(
    "preview",
    short_help="Write a loud preview for the client, and tell what it costs.",
    example="mixwright preview night-bus --target-of rough --format wav,mp3",
)
@song_argument
@click.option(
    "--target", "target_lufs", metavar="LUFS", type=FiniteRange(-40.0, -3.0), help="How loud, -40 to -3 LUFS."
)
@click.option(
    "--target-of",
    type=click.Choice(list(_TARGETS)),
    help="As loud as the rough mix, the softest reference, or -14 LUFS [the first of these that is there].",
)
@click.option(
    "--most-reduction",
    metavar="DB",
    type=FiniteRange(0.0, 24.0),
    default=6.0,
    show_default=True,
    help="What the limiter may take off at most; where that is too little, the preview is softer.",
)
@click.option(
    "--format",
    "formats",
    metavar="FORMAT,...",
    type=_Formats(),
    default="wav,mp3",
    show_default=True,
    help="wav, flac, mp3, opus, aac.",
)
@click.option(
    "--rate", "rate_hz", metavar="HZ", type=WholeRange(8000, 192000), help="Sample rate of the files [the song's]."
)
@click.option(
    "--ceiling",
    "ceiling_dbtp",
    metavar="DBTP",
    type=FiniteRange(-9.0, 0.0),
    default=-1.0,
    show_default=True,
    help="True peak that no file exceeds, as decoded.",
)
@click.option("--no-compressor", is_flag=True, help="Reach the target with gain and limiter alone.")
@click.option("--propose", is_flag=True, help="Propose the level moves that restore what limiting changes.")
@detail_option
def command_line(
    output: Output,
    song: Path,
    target_lufs: float | None,
    target_of: str | None,
    most_reduction: float,
    formats: tuple[str, ...],
    rate_hz: int | None,
    ceiling_dbtp: float,
    no_compressor: bool,
    propose: bool,
) -> None:
    """Write a preview of the mix as it stands, as loud as the client expects: not the mix, and not a master.

    Gain first, the limiter only for the excess. Each file is decoded again, and kept below the ceiling. What limiting
    changes between lead, backing and drums is told section by section, with the level moves that restore it.
    """
    from mixwright.app.preview import preview
    from mixwright.report.preview import preview_text

    result = output.run(
        preview,
        song,
        target_lufs=target_lufs,
        target_of=None if target_of is None else _TARGETS[target_of],
        most_reduction_db=most_reduction,
        formats=formats,
        rate_hz=rate_hz,
        ceiling_dbtp=ceiling_dbtp,
        compress=not no_compressor,
        propose=propose,
    )
    output.show(result, preview_text, str(song))
