# SPDX-License-Identifier: Apache-2.0
"""Prints in short sentences and aligned rows: a set that was made, and one that was looked at again."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from mixwright.model.prints import DeliverResult, VerifyResult
from mixwright.model.results import CheckLine
from mixwright.report.figures import count, depth, rate, with_unit
from mixwright.report.rows import rows

#: So many files that are as they were printed are named one by one.
_MOST_NAMED = 12


def deliver_text(result: DeliverResult, song: str) -> list[str]:
    """Return the printed files and their checks."""
    folder = Path(song) / result.folder
    lines = [f"{count(len(result.files), 'file')} in {folder}:"]
    rates = {file.rate_hz for file in result.files}
    body = [
        (
            file.kind.replace("_", " "),
            depth(file.sample_format) + (f", {rate(file.rate_hz)}" if len(rates) > 1 else ""),
            with_unit(file.integrated_lufs, "LUFS"),
            with_unit(file.true_peak_dbtp, "dBTP"),
            file.file,
        )
        for file in result.files
    ]
    lines += rows(("kind", "format", "loudness", "true peak", "file"), body, right="23")
    lines += [f"Beside them, as it is: {copy.file}, the {copy.kind} {copy.copy_of}" for copy in result.beside]
    return [*lines, "", *_check_lines(result.checks), f"Manifest: {Path(song) / result.manifest}"]


def verify_text(result: VerifyResult) -> list[str]:
    """Return what became of the files of a set."""
    same = [file.file for file in result.files if file.state == "as printed"]
    other = [(file.state.upper() if file.state != "extra" else "extra", file.file) for file in result.files]
    shown = [line for line in other if line[0] != "AS PRINTED"]
    named = [("as printed", name) for name in same] if len(same) <= _MOST_NAMED else []
    lines = [f"{result.title}, {result.place}: {len(same)} of {count(len(result.files), 'file')} as printed."]
    lines += rows(("", ""), [*shown, *named])
    return [*lines, "", *_check_lines(result.checks)]


def _check_lines(checks: Iterable[CheckLine]) -> list[str]:
    """Return checks as rows: whether each holds, what it is, what was found."""
    return rows(("", "", ""), [("holds" if c.passed else "FAILS", c.name, c.detail) for c in checks])
