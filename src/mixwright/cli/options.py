# SPDX-License-Identifier: Apache-2.0
"""What every command shares: its form, the global options, the kinds of arguments."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from mixwright.cli.output import Output, stopped_by_user

F = Callable[..., None]

#: Commands that are done in a moment: they are not broken off midway.
SHORT = frozenset({"accept", "refuse", "change", "add", "settle", "undo", "clean", "completion", "reference"})


class PathName(click.Path):
    """The name of a file or folder; never empty, which would mean the folder that one happens to be in."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the path, or fail where nothing is named."""
        if not str(value):
            self.fail("the name is empty", param, ctx)
        return super().convert(value, param, ctx)


FILE = PathName(path_type=Path)
FOLDER = PathName(path_type=Path)


class FiniteRange(click.ParamType):
    """A number between two limits; never NaN or infinite."""

    name = "number"
    _kind = "a number"

    def __init__(self, low: float, high: float) -> None:
        self.low = low
        self.high = high

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """Return the number, or fail with what is allowed."""
        try:
            number = self._number(value)
        except ValueError:
            number = math.nan
        if not self.low <= number <= self.high:
            self.fail(f"{value!r} is not {self._kind} from {self.low:g} to {self.high:g}", param, ctx)
        return number

    def _number(self, value: Any) -> float:
        return float(value)


class WholeRange(FiniteRange):
    """A whole number between two limits."""

    _kind = "a whole number"

    def _number(self, value: Any) -> int:
        return int(value)


def _set(ctx: click.Context, param: click.Parameter, value: Any) -> None:
    if value and param.name:
        setattr(ctx.ensure_object(Output), param.name, value)


def global_options() -> list[click.Parameter]:
    """Return the options that hold for every command; they stand before or after its name."""
    return [
        click.Option(
            ["--json", "as_json"],
            is_flag=True,
            expose_value=False,
            callback=_set,
            help="Print exactly one JSON document in place of sentences.",
        ),
        click.Option(
            ["--progress"],
            type=click.Choice(["bar", "plain", "json", "none"]),
            expose_value=False,
            callback=_set,
            help="How progress is told on standard error.",
        ),
        click.Option(
            ["--strict"],
            is_flag=True,
            expose_value=False,
            callback=_set,
            help="End with status 3 also when something needs a look.",
        ),
        click.Option(
            ["--debug"], is_flag=True, expose_value=False, callback=_set, help="Show the traceback of a fault."
        ),
    ]


class Command(click.Command):
    """A command whose help ends with an example."""

    def __init__(self, *args: Any, example: str, **settings: Any) -> None:
        super().__init__(*args, **settings)
        self.example = example

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the example as it is typed."""
        del ctx
        with formatter.section("Example"):
            formatter.write(f"  {self.example}\n")


def command(name: str, *, example: str, **settings: Any) -> Callable[[F], Command]:
    """Make a command of a function whose first parameter is the Output."""

    def wrap(function: F) -> Command:
        @functools.wraps(function)
        @click.pass_context
        def call(ctx: click.Context, /, **arguments: Any) -> None:
            output = ctx.ensure_object(Output)
            output.command = name
            if arguments.get("song") is not None:
                output.song = str(arguments["song"])
            output.begun = name in SHORT
            with stopped_by_user(output):
                function(output, **arguments)

        made = click.command(name, cls=Command, example=example, **settings)(call)
        made.params.extend(global_options())
        return made

    return wrap


song_argument = click.argument("song", metavar="SONG", type=FOLDER)
detail_option = click.option(
    "--detail",
    type=click.Choice(["sections", "bands"]),
    default="sections",
    show_default=True,
    expose_value=False,
    callback=_set,
    help="What the JSON document holds of each figure: the song and its sections, or every band, too.",
)
moves_argument = click.argument("moves", metavar="MOVE...", nargs=-1, required=True)
