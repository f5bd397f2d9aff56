# SPDX-License-Identifier: Apache-2.0
"""The program: finds the command, runs it, turns every end into an exit status."""

from __future__ import annotations

import difflib
import errno
import importlib
import os
import signal
import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import Any, NoReturn

import click

from mixwright.app.beside import Beside
from mixwright.cli.options import global_options
from mixwright.cli.output import DONE, ENDING, STOPPED, Output
from mixwright.errors import Cancelled, InternalError, MixwrightError, OutputError
from mixwright.jobs.parts import reason
from mixwright.version import __version__

#: The commands in the order of the work. Each is a module of this package, loaded when it is needed.
COMMANDS = (
    "tour",
    "start",
    "open",
    "measure",
    "plan",
    "accept",
    "refuse",
    "change",
    "add",
    "settle",
    "undo",
    "redo",
    "prove",
    "chain",
    "mix",
    "reference",
    "compare",
    "preview",
    "deliver",
    "check",
    "relink",
    "refresh",
    "clean",
    "completion",
)
#: What the surroundings do to us: not a fault of this program.
_SURROUNDINGS = frozenset({
    errno.ENOSPC, errno.EDQUOT, errno.EACCES, errno.EPERM, errno.EROFS, errno.ENOENT, errno.ENOTDIR, errno.EISDIR,
    errno.ENAMETOOLONG, errno.EMFILE, errno.EIO,
})  # fmt: skip


class Commands(click.Group):
    """A group whose commands are loaded when they are asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order of the work."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Load a command by its name."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        found = importlib.import_module(f"mixwright.cli.{cmd_name}").command_line
        return found if isinstance(found, click.Command) else None

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is asked for, or say which one is nearest."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-") and not ctx.resilient_parsing:
            near = difflib.get_close_matches(name, COMMANDS, 1)
            meant = f"did you mean {near[0]}?" if near else f"known: {', '.join(COMMANDS)}"
            raise click.UsageError(f"no command is called {name!r}; {meant}", ctx)
        return super().resolve_command(ctx, args)


@click.group(
    cls=Commands,
    no_args_is_help=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    epilog="Exit status: 0 done, 1 a fault of mixwright, 2 something to mend, 3 a check failed, 130 stopped.",
)
@click.version_option(__version__, prog_name="mixwright", message="%(prog)s %(version)s")
@click.pass_context
def program(ctx: click.Context) -> None:
    """See every track of a song at once, plan the few moves that matter, print the mix.

    Start with `mixwright tour`, or with a folder of tracks: `mixwright start TRACKS --into SONG`.
    """
    ctx.ensure_object(Output)


program.params.extend(global_options())


def run(arguments: Sequence[str]) -> int:
    """Run one command line and return its exit status; nothing is raised, nothing exits."""
    output = Output()
    # The words before "--" tell the form of an error that comes before the options are read.
    before_end = list(arguments)[: list(arguments).index("--")] if "--" in arguments else list(arguments)
    output.as_json = "--json" in before_end
    output.command = next((word for word in arguments if word in COMMANDS), "")
    try:
        with _hearing_what_lies_beside(output):
            status = program.main(list(arguments), prog_name="mixwright", standalone_mode=False, obj=output)
    except SystemExit:  # click leaves this way, muted, when the reader of its help went away
        return DONE
    except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001 - the outermost wall
        _tell(output, error)
        return output.status
    return status if isinstance(status, int) and status else output.status


@contextmanager
def _hearing_what_lies_beside(output: Output) -> Iterator[None]:
    """Collect what was not written beside the work that is done; other warnings go where they always go."""
    with warnings.catch_warnings():
        warnings.simplefilter("always", Beside)
        others = warnings.showwarning

        def hear(message: Warning | str, category: type[Warning], *where: Any, **more: Any) -> None:
            if issubclass(category, Beside):
                output.beside.append(str(message))
            else:
                others(message, category, *where, **more)

        warnings.showwarning = hear
        yield


def _tell(output: Output, error: BaseException) -> None:
    """Tell how a command ended; whatever is not of our own kinds is ours to mend."""
    if isinstance(error, click.UsageError):
        output.fail(_usage(error))
    elif isinstance(error, click.ClickException):
        output.fail(MixwrightError(_one_line(error.format_message())))
    elif isinstance(error, KeyboardInterrupt | click.Abort):
        output.fail(Cancelled("stopped", hint="run the command again to go on from what is done"))
    elif isinstance(error, MixwrightError) and not isinstance(error, InternalError):
        output.fail(error)
    elif isinstance(error, OSError) and error.errno in _SURROUNDINGS:
        output.fail(_surroundings(error))
    else:
        output.crash(error)


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Run the program and leave it; at once where the user stopped it, without taking the interpreter apart."""
    _fill_standard_streams()
    for number in ENDING:
        if signal.getsignal(number) is signal.SIG_DFL:
            signal.signal(number, signal.default_int_handler)
    try:
        status = run(sys.argv[1:] if arguments is None else arguments)
    except KeyboardInterrupt:
        status = STOPPED
    if status == STOPPED:
        with suppress(OSError, ValueError):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(STOPPED)
    for number in ENDING:
        if signal.getsignal(number) is signal.default_int_handler:
            signal.signal(number, signal.SIG_IGN)  # all is done and told: the status stays what it is
    sys.exit(status)


def _fill_standard_streams() -> None:
    """Open nothing for each standard stream that was closed, so that no file of a song gets its number."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


class _UsageError(MixwrightError):
    kind = "usage"


def _usage(error: click.UsageError) -> MixwrightError:
    """Return a wrong command line as one line with the command that explains it."""
    path = error.ctx.command_path if error.ctx else "mixwright"
    message = _one_line(error.format_message()).rstrip(".")
    return _UsageError(message, hint=f"see `{path} --help`")


def _surroundings(error: OSError) -> OutputError:
    where = str(error.filename) if error.filename else ""
    full = error.errno in (errno.ENOSPC, errno.EDQUOT)
    hint = "free some space and run again" if full else "check the path and who may read and write there"
    return OutputError(reason(error), where=where, hint=hint)


def _one_line(text: str) -> str:
    return " ".join(text.split())
