# SPDX-License-Identifier: Apache-2.0
"""The pictures of the page as files that stand alone."""

from __future__ import annotations

from pathlib import Path

from mixwright.io.replace import make_folder, write_text
from mixwright.model.comparison import CompareResult
from mixwright.model.results import MeasureResult


def compare_picture(result: CompareResult, into: Path) -> Path:
    """Write the picture of a mix beside its references as an SVG file into a folder; return the file.

    Parameters
    ----------
    result : CompareResult
    into : Path
        made where it is missing

    Raises
    ------
    OutputError
        where the folder cannot be made or written
    """
    from mixwright.report.stills import beside_still

    make_folder(into)
    path = into / "beside-the-references.svg"
    write_text(path, beside_still(result))
    return path


def pictures(result: MeasureResult, into: Path) -> tuple[Path, ...]:
    """Write every picture of how a song is heard as an SVG file into a folder; return the files.

    Files of the same names are replaced. What there is nothing to show of is left out.

    Parameters
    ----------
    result : MeasureResult
    into : Path
        made where it is missing

    Raises
    ------
    OutputError
        where the folder cannot be made or written
    """
    from mixwright.report.stills import stills

    if result.hearing is None:
        return ()
    make_folder(into)
    drawn = {
        into / f"{n}.svg": svg for n, svg in stills(result.hearing, result.sections, result.mix.duration_s).items()
    }
    for path, svg in drawn.items():
        write_text(path, svg)
    return tuple(drawn)
