# SPDX-License-Identifier: Apache-2.0
"""`mixwright completion`."""

from __future__ import annotations

import click

from mixwright.cli.options import Command
from mixwright.cli.output import say


@click.command(
    "completion",
    cls=Command,
    short_help="Print the completion script of a shell.",
    example="mixwright completion bash > ~/.local/share/bash-completion/completions/mixwright",
)
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
@click.pass_context
def command_line(ctx: click.Context, shell: str) -> None:
    """Print the script that lets a shell complete commands and options.

    \b
    bash: save it as ~/.local/share/bash-completion/completions/mixwright
    zsh:  save it as _mixwright in a folder of $fpath
    fish: save it as ~/.config/fish/completions/mixwright.fish
    """  # noqa: D301 - \b is click's mark for lines kept as they are
    from click.shell_completion import get_completion_class

    made = get_completion_class(shell)
    if made is not None:
        say([made(ctx.find_root().command, {}, "mixwright", "_MIXWRIGHT_COMPLETE").source()])
