# SPDX-License-Identifier: Apache-2.0
"""The profile of a finished song: its figures, of the whole and of each section, and what of it cannot be used."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixwright.jobs.progress import Cancel
from mixwright.model.profile import FIGURES, Profile, SectionProfile, Values
from mixwright.model.song import Section
from mixwright.reference.contrast import contrast_values
from mixwright.reference.density import density_values
from mixwright.reference.dynamics import dynamics_values
from mixwright.reference.lead_interval import lead_interval
from mixwright.reference.low_end import low_end_values
from mixwright.reference.sections import find_sections
from mixwright.reference.span import Span
from mixwright.reference.spectrum import spectrum_values
from mixwright.reference.stereo import width_values
from mixwright.reference.traces import Traces, traces
from mixwright.reference.weak import left_out, weaknesses

#: Figures are told to a thousandth of their unit: what follows is rounding of sums.
_DIGITS = 3


def profile(
    audio: npt.NDArray[np.floating],
    rate_hz: int,
    sections: Sequence[Section] = (),
    *,
    cancel: Cancel | None = None,
) -> Profile:
    """Profile a finished song in one pass.

    Parameters
    ----------
    audio : array, (frames, 1 or 2)
        May be memory-mapped: read in blocks. One channel counts as two equal ones.
    rate_hz : int
        8 to 384 kHz.
    sections : sequence of Section, optional
        Where they are known; else they are found.
    cancel : Cancel, optional
        The user's switch to stop.

    Raises
    ------
    InputError
        when it has more than two channels, or samples that are no numbers
    """
    return profile_of(traces(audio, rate_hz, cancel=cancel), sections)


def profile_of(found: Traces, sections: Sequence[Section] = ()) -> Profile:
    """Return the profile of a song that was read."""
    duration = found.levels.duration_s
    parts = tuple(_section(found, part) for part in (sections or find_sections(found)) if part.start_s < duration)
    whole = _values(Span(found, 0.0, duration + 1.0))
    whole["loudness_range_lu"] = (found.levels.loudness_range_lu,)
    whole |= contrast_values(parts, duration)
    return Profile(
        duration_s=duration,
        rate_hz=found.rate_hz,
        integrated_lufs=found.levels.integrated_lufs,
        true_peak_dbtp=found.levels.true_peak_dbtp,
        values=_rounded(left_out(whole, found)),
        sections=parts,
        weak=weaknesses(found, whole),
        lead_between_lu=lead_interval(found),
    )


def _section(found: Traces, part: Section) -> SectionProfile:
    span = Span(found, part.start_s, part.end_s)
    whole, own = found.levels.integrated_lufs, span.loudness_lufs
    values = {name: each for name, each in _values(span).items() if FIGURES[name].in_sections}
    return SectionProfile(
        name=part.name,
        start_s=part.start_s,
        end_s=min(part.end_s, found.levels.duration_s),
        energy_lu=None if whole is None or own is None else own - whole,
        values=_rounded(left_out(values, found)),
    )


def _values(span: Span) -> Values:
    return {
        **spectrum_values(span),
        **low_end_values(span),
        **width_values(span),
        **dynamics_values(span),
        **density_values(span),
    }


def _rounded(values: Values) -> Values:
    return {
        name: tuple(None if value is None else round(value, _DIGITS) + 0.0 for value in each)
        for name, each in values.items()
    }
