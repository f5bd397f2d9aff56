# SPDX-License-Identifier: Apache-2.0
"""Checked files in sentences: what is to be mended, one line each, and what holds."""

from __future__ import annotations

from collections.abc import Iterable

from mixwright.model.results import CheckedFile, CheckLine, CheckResult, PlayedLevel
from mixwright.report.figures import clock, count, depth, rate, with_unit
from mixwright.report.rows import rows, wrapped
from mixwright.report.sentences import fault_sentence
from mixwright.report.text import level_lines


def check_text(result: CheckResult) -> list[str]:
    """Return what was found in each file, what shows of all together, and how many are to be mended."""
    lines: list[str] = []
    for file in result.files:
        lines += [*_checked(file), ""]
    if result.checks:
        lines += ["All files together:", *_checks(result.checks), ""]
    faulty = [file for file in result.files if not all(check.passed for check in file.checks)]
    failed = sum(not check.passed for check in result.checks)
    if not faulty and not failed:
        return [*lines, f"Clean: every check of {count(len(result.files), 'file')} holds."]
    together = f", and {count(failed, 'check')} of all together" if failed else ""
    return [*lines, f"To be mended: {count(len(faulty), 'file')} of {len(result.files)}{together}."]


def _checked(file: CheckedFile) -> list[str]:
    facts = [file.container, depth(file.encoding)]
    facts += [rate(file.sample_rate_hz)] if file.sample_rate_hz else []
    facts += [count(file.channels, "channel")] if file.channels else []
    facts += [clock(file.duration_s, tenths=True)] if file.duration_s is not None else []
    lines = [": ".join(filter(None, (file.file, ", ".join(filter(None, facts)))))]
    lines += level_lines(file.levels) if file.levels else []
    lines += _played(file.played)
    # A fault that weighs is told by the check that fails because of it.
    lines += [f"  {fault_sentence(fault)}" for fault in file.faults if fault.severity == "note"]
    return lines + _checks(file.checks)


def _played(played: Iterable[PlayedLevel]) -> list[str]:
    body = [
        (
            with_unit(one.target_lufs, "LUFS"),
            with_unit(one.gain_db, "dB", sign=True),
            f"{with_unit(one.short_of_target_lu, 'LU')} below it" if one.short_of_target_lu > 0.05 else "",
            one.normaliser,
        )
        for one in played
    ]
    return (
        ["  Playback that brings files to a level changes this one by:", *rows(("", "", "", ""), body)] if body else []
    )


def _checks(checks: Iterable[CheckLine]) -> list[str]:
    checks = tuple(checks)
    failed = rows(("", "", ""), [("FAILS", c.name, c.detail) for c in checks if not c.passed])
    held = [c.name for c in checks if c.passed]
    return [*failed, *(wrapped(f"holds  {', '.join(held)}.", "  ", "         ") if held else [])]
