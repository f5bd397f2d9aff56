# SPDX-License-Identifier: Apache-2.0
"""The mix and the prints on the page."""

from __future__ import annotations

from mixwright.model.prints import DeliverResult
from mixwright.model.results import MixResult
from mixwright.report.figures import count, depth, number, rate, with_unit
from mixwright.report.markup import Markup, element, marked, together
from mixwright.report.sentences import dynamics_sentences
from mixwright.report.warnings import failed_checks, warnings_of


def mixed(mix: MixResult | None) -> Markup | None:
    """Return the last rendered mix and what it measures."""
    if mix is None:
        return None
    levels = mix.levels
    figures = {
        "File": mix.file,
        "Loudness": f"{with_unit(levels.integrated_lufs, 'LUFS')} integrated, "
        f"{with_unit(levels.short_term_max_lufs, 'LUFS')} largest short-term",
        "Range": with_unit(levels.loudness_range_lu, "LU"),
        "True peak": with_unit(levels.true_peak_dbtp, "dBTP"),
        "Peak to loudness": with_unit(levels.plr_db, "dB"),
        "Left and right": f"correlation {number(levels.correlation, 2)}",
        "Moves in it": str(len(mix.moves)),
        "SHA-256": mix.sha256,
    }
    pairs = [together(element("dt", key), element("dd", value)) for key, value in figures.items()]
    notes = [element("p", note) for note in (*dynamics_sentences(mix.dynamics), *mix.notes)]
    warned = [element("p", marked(warning)) for warning in warnings_of(mix)]
    return together(element("dl", pairs), notes, warned)


def printed(deliver: DeliverResult | None) -> Markup | None:
    """Return the last prints and their checks."""
    if deliver is None:
        return None
    failed = failed_checks(deliver)
    checks = [
        element("li", element("b", check.name) if check.passed else marked(f"{check.name}: fails"), f": {check.detail}")
        for check in deliver.checks
    ]
    told = f"{count(len(failed), 'check')} failed." if failed else "Every check holds."
    head = element(
        "tr", [element("th", text, scope="col") for text in ("Kind", "File", "Loudness", "True peak", "Format")]
    )
    rows = [
        element(
            "tr",
            element("th", file.kind.replace("_", " "), scope="row"),
            [
                element("td", cell)
                for cell in (
                    file.file,
                    with_unit(file.integrated_lufs, "LUFS"),
                    with_unit(file.true_peak_dbtp, "dBTP"),
                    f"{depth(file.sample_format)}, {rate(file.rate_hz)}",
                )
            ],
        )
        for file in deliver.files
    ]
    table = element("table", element("thead", head), element("tbody", rows))
    return together(
        element("p", f"{count(len(deliver.files), 'file')} in ", element("code", deliver.folder), f". {told}"),
        element("ul", checks),
        element("div", table, class_="scroll", tabindex="0", role="region", aria_label="Files"),
    )
