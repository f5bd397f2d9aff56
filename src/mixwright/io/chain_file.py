# SPDX-License-Identifier: Apache-2.0
"""Chains as files of their own: plain TOML, with messages for the person who writes them."""

from __future__ import annotations

import os
import tomllib
from pathlib import Path

import msgspec

from mixwright.errors import FileFormatError, InputError, OutputError, SettingError, printable
from mixwright.io.replace import replacing
from mixwright.io.song_errors import check_finite, conversion_error, syntax_error
from mixwright.io.toml_text import too_deep
from mixwright.io.toml_write import block_text, fields_of, line_text
from mixwright.model.chain import CHAIN_SCHEMA, ChainFile

_MOST_BYTES, _MOST_DEPTH = 1 << 20, 16
_HEAD = """\
# A chain of inserts for Mixwright, in the order of the signal. Levels are in dB, times in ms, frequencies in Hz.
# gain_db holds each stage as loud as what goes into it, for the audio it was saved from.

"""


def read_chain(path: Path) -> ChainFile:
    """Return a saved chain.

    Raises
    ------
    InputError
        where it cannot be read
    SettingError
        `where` is ``FILE:LINE key``, the hint what is allowed there
    """
    name = printable(path.name)
    try:
        with path.open("rb") as file:
            content = file.read(_MOST_BYTES + 1)
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", where=printable(path)) from error
    if len(content) > _MOST_BYTES:
        raise FileFormatError("too large for a chain", where=printable(path))
    try:
        text = content.decode("utf-8").removeprefix("\ufeff")
    except UnicodeDecodeError as error:
        raise FileFormatError("not UTF-8 text", where=printable(path), hint="save it as UTF-8") from error
    if too_deep(text, _MOST_DEPTH) >= 0:
        raise SettingError(f"lists or tables nest more than {_MOST_DEPTH} deep", where=name)
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise syntax_error(text, str(error), name) from error
    check_finite(text, data, name)
    try:
        found = msgspec.convert(data, ChainFile)
    except msgspec.ValidationError as error:
        raise conversion_error(text, data, error, ChainFile, name) from error
    if found.chain > CHAIN_SCHEMA:
        raise SettingError(f"written by a newer version (chain = {found.chain})", where=name, hint="update mixwright")
    if not found.inserts:
        raise SettingError(
            "there are no inserts in it", where=name, hint='write them as [[inserts]], processor = "..."'
        )
    return found


def check_new_chain(path: Path) -> None:
    """Check that a chain can be written to a path.

    Raises
    ------
    SettingError
        where the name does not end in .toml
    OutputError
        where there is a file already, or it cannot be written
    """
    if path.suffix.lower() != ".toml":
        raise SettingError("a chain is written as .toml", where=printable(path), hint="end the name with .toml")
    if not path.parent.is_dir():
        raise OutputError("there is no such folder", where=printable(path.parent), hint="make it first")
    if os.path.lexists(path):
        raise OutputError("the file exists already", where=printable(path), hint="choose another name")


def write_chain(path: Path, chain: ChainFile) -> None:
    """Write a chain into a new file; errors are those of :func:`check_new_chain`."""
    check_new_chain(path)
    lines = [
        line_text([name], value) for name, value, _ in fields_of(chain) if name != "inserts" and value not in ("", None)
    ]
    tables = [block_text(["inserts"], insert, repeated=True) for insert in chain.inserts]
    with replacing(path) as part:
        part.write_bytes((_HEAD + "\n".join(["".join(lines), *tables])).encode("utf-8"))
