# SPDX-License-Identifier: Apache-2.0
"""`mixwright check`."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from mixwright.cli.options import FILE, FiniteRange, command, detail_option
from mixwright.cli.output import Output


class _Range(click.ParamType):
    """A stretch of time in seconds: 12.5-13.1."""

    name = "range"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return start and end, or fail with what is allowed."""
        found = re.fullmatch(r"(\d{1,6}(?:\.\d*)?)-(\d{1,6}(?:\.\d*)?)", value) if isinstance(value, str) else None
        if found is None:
            self.fail(f"{value!r} is not a range in seconds like 12.5-13.1", param, ctx)
        return float(found[1]), float(found[2])


@command(
    "check",
    short_help="Check any finished file.",
    example="mixwright check prints/001 --against prints/001/NightBus_Main_48k24.wav --expect depth=24",
)
@click.argument("files", metavar="FILE|FOLDER...", nargs=-1, required=True, type=FILE)
@click.option("--against", metavar="MIX", type=FILE, help="The mix that they belong to: they must stand as it does.")
@click.option(
    "--expect",
    "agreed",
    metavar="KEY=VALUE",
    multiple=True,
    help="What was agreed: rate, depth, channels, length, loudness, peak, title, artist, kind, template; or `parts`: "
    "the files must add up to MIX. Repeatable.",
)
@click.option("--voice", metavar="FILE", type=FILE, help="The voice alone, to look for what is left of muted words.")
@click.option("--muted", metavar="START-END", type=_Range(), multiple=True, help="Where words are muted, in seconds.")
@click.option(
    "--played-at",
    metavar="LUFS",
    type=FiniteRange(-40.0, 0.0),
    multiple=True,
    help="A level to which playback brings files, in place of those in common use; repeatable.",
)
@detail_option
def command_line(
    output: Output,
    files: tuple[Path, ...],
    against: Path | None,
    agreed: tuple[str, ...],
    voice: Path | None,
    muted: tuple[tuple[float, float], ...],
    played_at: tuple[float, ...],
) -> None:
    """Measure and check finished files: what is to be mended, one line each.

    A folder stands for the audio files in it. Ends with status 3 when a check fails.
    """
    from mixwright.app.check import check
    from mixwright.model.expected import expected_from
    from mixwright.report.checked import check_text

    def checked(**how: Any) -> Any:
        expected = expected_from(agreed)
        return check(
            files, against=against, expected=expected, voice=voice, muted_s=muted, played_lufs=played_at, **how
        )

    output.show(output.run(checked), check_text)
