# SPDX-License-Identifier: Apache-2.0
"""The help of every command as one page: ``python -m mixwright.cli.command_page > docs/commands.md``."""

from __future__ import annotations

import click

from mixwright.cli.main import COMMANDS, program

_WIDTH = 96


def command_page() -> str:
    """Return the help of the program and of every command as Markdown."""
    root = program.make_context("mixwright", [], resilient_parsing=True, terminal_width=_WIDTH)
    parts = [
        "# Commands",
        "Written by `python -m mixwright.cli.command_page > docs/commands.md`; do not edit.",
        _block(program.get_help(root)),
    ]
    for name in COMMANDS:
        command = program.get_command(root, name)
        if command is not None:
            context = click.Context(command, info_name=name, parent=root, terminal_width=_WIDTH)
            parts += [f"## {name}", _block(command.get_help(context))]
    return "\n\n".join(parts) + "\n"


def _block(text: str) -> str:
    return f"```text\n{text.strip()}\n```"


if __name__ == "__main__":
    click.echo(command_page(), nl=False)
