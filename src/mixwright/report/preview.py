# SPDX-License-Identifier: Apache-2.0
"""A preview in text and on the page: how loud it is and why, what it costs, and what limiting changed."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from mixwright.errors import listed
from mixwright.model.preview import LimitedSection, PreviewFile, PreviewResult, Reduced
from mixwright.model.results import PlannedMove
from mixwright.report.figures import clock, count, depth, number, rate, settings, size, with_unit
from mixwright.report.markup import Markup, element, marked, together
from mixwright.report.rows import rows, wrapped
from mixwright.report.tables import scrolled, table_of

#: A preview so much louder than what one heard before is told of: common practice, no source.
LOUD_LU = 6.0
#: Changes smaller than this are not told as a change.
_WORTH_SAYING_LU = 0.2
_OF = {
    "given": "as given",
    "rough": "as loud as the rough mix",
    "references": "as loud as the softest reference",
    "usual": "the level of most services",
}
_NAMES = {"wav": "WAV", "flac": "FLAC", "mp3": "MP3", "opus": "Opus", "aac": "AAC"}
_HEAD = ("section", "lead", "backing", "drums", "lead to backing", "lead to drums")


def preview_text(result: PreviewResult, song: str) -> list[str]:
    """Return the files, how they got so loud, and what that changed."""
    lines = [f"A preview, not the mix: {count(len(result.files), 'file')} in {Path(song) / result.folder}:"]
    lines += rows(_FILE_HEAD, [_file_cells(file) for file in result.files], right="1234")
    lines.append("")
    for sentence in preview_sentences(result):
        lines += wrapped(sentence)
    if result.limited:
        title = f"What limiting changed, in LU beside the gain of all, in {result.limited_file}:"
        lines += ["", title, *rows(_HEAD, _section_rows(result.limited), right="12345")]
        lines += wrapped(limited_sentence(result))
    for move in result.moves:
        lines += ["", *wrapped(f"{move.target}: {settings(move.settings)}{_where(move)}. {move.reason}", "  ", "    ")]
    quoted = shlex.quote(song)
    if result.moves and not result.proposed:
        tried = [f"mixwright preview {quoted} --propose   (writes what restores the balance, to be decided)"]
    elif result.proposed:
        tried = [f"mixwright accept {quoted} {result.moves[0].id}"]
    else:
        tried = [f"mixwright deliver {quoted}"]
    return [*lines, "", "Next:", *(f"  {one}" for one in tried)]


def preview_card(result: PreviewResult | None) -> Markup | None:
    """Return the last preview on the page."""
    if result is None:
        return None
    caution = loud_caution(result)
    told = [element("p", marked(caution))] if caution else []
    told += [element("p", sentence) for sentence in preview_sentences(result) if sentence != caution]
    parts = [
        element("p", f"{count(len(result.files), 'file')} in ", element("code", result.folder), ": not the mix."),
        scrolled(table_of(_FILE_HEAD, [_file_cells(file) for file in result.files]), "Files of the preview"),
        together(told),
    ]
    if result.limited:
        parts.append(element("h3", "What limiting changed"))
        parts.append(
            element("p", f"In LU beside the gain of all, in {result.limited_file}. {limited_sentence(result)}")
        )
        parts.append(scrolled(table_of(_HEAD, _section_rows(result.limited)), "What limiting changed"))
    if result.moves:
        items = [
            element("li", element("b", f"{move.target}: {settings(move.settings)}{_where(move)}"), f". {move.reason}")
            for move in result.moves
        ]
        parts.append(element("ul", items))
    return together(parts)


def preview_sentences(result: PreviewResult) -> list[str]:
    """Return what a preview is, and what it took, one sentence each; a caution where it is loud comes first."""
    told = [loud_caution(result)] if loud_caution(result) else []
    told.append(
        f"The target is {with_unit(result.target_lufs, 'LUFS')}, {_OF[result.target_of]}; the mix itself has "
        f"{with_unit(result.mix.integrated_lufs, 'LUFS')}, peaks at {with_unit(result.mix.true_peak_dbtp, 'dBTP')}, "
        f"peak to loudness {with_unit(result.mix.plr_db, 'dB')}."
    )
    for why in dict.fromkeys(file.why for file in result.files if file.why):
        files = [file for file in result.files if file.why == why]
        softer = f" is {number(files[0].short_by_lu)} LU softer" if files[0].short_by_lu else ""
        told.append(f"{listed([_NAMES[file.format] for file in files])}{softer}: {why}.")
    for file in result.files:
        told.append(f"{_NAMES[file.format]}: {with_unit(file.gain_db, 'dB', sign=True)}, {_limited(file.limiter)}.")
        if len(file.tries) > 1:
            told.append(_tries(file, result.ceiling_dbtp))
    if result.compressor is not None:
        told.append(
            f"A bus compressor goes before it, {result.compressor.settings.ratio:g}:1: it takes off "
            f"{_reduction(result.compressor.reduction)}. The limiter alone would have left the preview softer."
        )
    return [*told, *result.notes]


def loud_caution(result: PreviewResult) -> str:
    """Return a caution where a preview is far louder than the rough mix, or without one than the mix; else nothing."""
    heard = result.rough_lufs if result.rough_lufs is not None else result.mix.integrated_lufs
    lufs = max((file.integrated_lufs for file in result.files if file.integrated_lufs is not None), default=None)
    if heard is None or lufs is None or lufs < heard + LOUD_LU:
        return ""
    what = "rough mix" if result.rough_lufs is not None else "mix"
    return f"It is {number(lufs - heard)} LU louder than the {what}: turn down before you play it."


def limited_sentence(result: PreviewResult) -> str:
    """Return in one sentence what limiting changed most, and whether it can be restored."""
    found = [
        (abs(value), value, words, section)
        for section in result.limited
        for value, words in (
            (section.lead_to_backing_lu, ("lead", "backing")),
            (section.lead_to_drums_lu, ("lead", "drums")),
            (section.drums_to_backing_lu, ("drums", "backing")),
        )
        if value is not None
    ]
    size_lu, value, words, section = max(found, key=lambda one: one[0], default=(0.0, 0.0, ("", ""), result.limited[0]))
    if size_lu < _WORTH_SAYING_LU:
        return "Parts stand to each other as in the mix."
    gains, loses = words if value > 0 else words[::-1]
    place = f" in {section.name}" if section.name else ""
    verb = "lose" if loses == "drums" else "loses"
    told = f"Most of all the {loses} {verb} {number(size_lu)} LU against the {gains}{place}."
    if not result.moves:
        return told
    rest = max(
        (abs(value) for one in result.restored for value in (one.lead_to_backing_lu, one.drums_to_backing_lu) if value),
        default=0.0,
    )
    moves = count(len(result.moves), "level move")
    return f"{told} With {moves} before the limiter {number(rest)} LU would be left."


_FILE_HEAD = ("file", "loudness", "decoded", "true peak", "PLR", "format")


def _file_cells(file: PreviewFile) -> tuple[str, ...]:
    kind = depth(file.sample_format) if file.sample_format else with_unit(file.kbit_s, "kbit/s", 0)
    return (
        file.file,
        with_unit(file.integrated_lufs, "LUFS"),
        with_unit(file.decoded_lufs, "LUFS"),
        with_unit(file.true_peak_dbtp, "dBTP", 2),
        with_unit(file.plr_db, "dB"),
        f"{_NAMES[file.format]}, {kind}, {rate(file.rate_hz)}, {size(file.size_bytes)}",
    )


def _section_rows(sections: Sequence[LimitedSection]) -> list[tuple[str, ...]]:
    return [
        (
            one.name or "whole song",
            *(
                number(value, sign=True)
                for value in (
                    one.lead_lu,
                    one.backing_lu,
                    one.drums_lu,
                    one.lead_to_backing_lu,
                    one.lead_to_drums_lu,
                )
            ),
        )
        for one in sections
    ]


def _limited(found: Reduced) -> str:
    if found.share_of_time == 0.0:
        return "and the limiter takes nothing off"
    return f"and the limiter takes off {_reduction(found)}"


def _reduction(found: Reduced) -> str:
    most = f"{number(found.largest_db)} dB at most, at {clock(found.largest_at_s, tenths=True)}"
    share = f"in {100.0 * found.share_of_time:.0f} % of the time"
    return f"{most}, {number(found.mean_db)} dB on average, {share}"


def _tries(file: PreviewFile, ceiling_dbtp: float) -> str:
    """Return how the ceiling of a file was found."""
    told = [
        f"{with_unit(one.limiter_ceiling_dbtp, 'dBTP')}"
        + (f" and {number(-one.lowered_db)} dB less" if one.lowered_db else "")
        + f" gave {with_unit(one.true_peak_dbtp, 'dBTP', 2)}"
        for one in file.tries
    ]
    kept = f"to keep {with_unit(ceiling_dbtp, 'dBTP')} when it is decoded"
    return f"{_NAMES[file.format]}: the limiter was lowered {kept}: {', '.join(told)}."


def _where(move: PlannedMove) -> str:
    return f" in {listed(move.sections)}" if move.sections else ""
