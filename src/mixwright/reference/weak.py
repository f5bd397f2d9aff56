# SPDX-License-Identifier: Apache-2.0
"""What is wrong with a finished song as a reference, and which of its attributes are left out because of it."""

from __future__ import annotations

import numpy as np

from mixwright.model.profile import ATTRIBUTES, BANDS_HZ, Attribute, Values, Weakness
from mixwright.reference.traces import MIDDLE_THIRDS, Traces

#: Longer than this is no song: an album or a set, whose figures are of no single song.
LONGEST_S = 1800.0
#: Shorter than this holds no sections and no loudness range (EBU Tech 3342: not stable below a minute).
_SHORT_S, _RANGE_S = 30.0, 60.0
#: Dead stop of a low-pass: 20 dB and more within 1 kHz, which no instrument does.
_STEP_DB, _STEP_HZ = 20.0, 500.0
_LOWEST_LIMIT_HZ = 3000.0
#: From here on nobody misses what is missing.
_HEARD_HZ = 18000.0
#: Below this the top end (5 to 16 kHz) and the slope (up to 10 kHz) are not what was heard in the studio.
_TOP_HZ, _SLOPE_HZ = 14000.0, 10500.0
#: Flat tops in a second that limiting does not leave.
_FLAT_PER_S = 2.0
_OFFSET_DBFS = -46.0
#: Speech: pauses between words this deep, for so much of the time, and so little below 80 Hz beside the middle.
_PAUSE_DB, _PAUSES, _SPEECH_BOTTOM_DB = 25.0, 0.15, -25.0
_BELOW_80_HZ = slice(0, 6)


def weaknesses(traces: Traces, values: Values) -> tuple[Weakness, ...]:
    """Return what is wrong with a song, each with the attributes that it spoils.

    Parameters
    ----------
    traces : Traces
    values : Values
        Of the whole song.
    """
    levels = traces.levels
    if levels.integrated_lufs is None:
        why = "silent" if levels.duration_s >= 0.4 else "too short to have a loudness"
        return (Weakness(why=why, attributes=ATTRIBUTES),)
    found: list[Weakness] = []

    def tell(why: str, *attributes: Attribute) -> None:
        found.append(Weakness(why=why, attributes=attributes))

    if is_speech(traces):
        return (Weakness(why="sounds like speech, or like a voice alone", attributes=ATTRIBUTES),)
    if levels.duration_s < _SHORT_S:
        tell(f"only {levels.duration_s:.0f} s long", "contrast", "density")
    if values["side_to_mid_db"][0] is None:
        tell("both sides are the same (mono)", "width", "lead")
    limit = limit_hz(traces)
    if limit is not None and limit < _HEARD_HZ:
        spoilt: list[Attribute] = ["top_end"] if limit < _TOP_HZ else []
        spoilt += ["spectrum", "density"] if limit < _SLOPE_HZ / 2.0 else []
        where = (
            f"nothing above {limit / 1000.0:.1f} kHz ({'a low rate' if limit > 0.45 * traces.rate_hz else 'coding'})"
        )
        tell(where, *spoilt)
    if traces.flat_per_s > _FLAT_PER_S:
        tell(f"clipped: {traces.flat_per_s:.0f} flat tops a second", "dynamics")
    if levels.dc_dbfs is not None and levels.dc_dbfs > _OFFSET_DBFS:
        tell(f"a constant offset of {levels.dc_dbfs:.0f} dBFS", "dynamics", "low_end")
    return tuple(found)


def left_out(values: Values, traces: Traces) -> Values:
    """Return the values without what cannot be told of a short or a band-limited song."""
    limit, found = limit_hz(traces), dict(values)
    if traces.levels.duration_s < _RANGE_S:
        found["loudness_range_lu"] = (None,)
    if limit is None:
        return found
    for name, bands in (("third_octaves_db", "thirds"), ("side_to_mid_octaves_db", "octaves"),
                        ("crest_octaves_db", "octaves")):  # fmt: skip
        edges = BANDS_HZ[bands]  # type: ignore[index]
        found[name] = tuple(
            None if high > limit * 1.02 else value for value, (_, high) in zip(found[name], edges, strict=True)
        )
    if limit < _SLOPE_HZ:
        found["slope_db_oct"] = (None,)
    return found


def limit_hz(traces: Traces) -> float | None:
    """Return above which frequency there is nothing, though there could be; None where the spectrum is whole.

    Found where the mean spectrum falls by 20 dB or more within a kilohertz and stays there.
    """
    hz, power = traces.spectrum_hz, traces.spectrum
    edges = np.arange(_LOWEST_LIMIT_HZ - 2 * _STEP_HZ, min(hz[-1], 20000.0), _STEP_HZ / 2.0)
    bins = np.searchsorted(hz, edges)
    sums = np.concatenate([[0.0], np.cumsum(power)])
    level = 10.0 * np.log10(np.maximum(np.diff(sums[bins]) / np.maximum(1, np.diff(bins)), 1e-20))
    # Rates that end below 20 kHz are limits themselves.
    rate_limit = hz[-1] if hz[-1] < 15000.0 else None
    for i in range(2, len(level) - 2):
        above = level[i + 2 :].max()
        if level[i - 1] - above >= _STEP_DB and level[i - 1] > level.max() - 70.0:
            return float(min(edges[i + 1], rate_limit or np.inf))
    return None if rate_limit is None else float(rate_limit)


def is_speech(traces: Traces) -> bool:
    """Tell whether a song is speech or a voice alone: deep pauses, and next to nothing below 80 Hz."""
    power = traces.short.sum(axis=1, dtype=np.float64)
    bands = traces.both.sum(axis=0, dtype=np.float64)
    if not len(power) or not bands.any():
        return False
    sounds = power >= float(np.percentile(power, 95.0)) * 10.0 ** (-_PAUSE_DB / 10.0)
    at = np.flatnonzero(sounds)
    # What lies before the first sound and behind the last is no pause.
    pauses = 1.0 - float(sounds[at[0] : at[-1] + 1].mean())
    middle = float(bands[MIDDLE_THIRDS].sum())
    return pauses > _PAUSES and float(bands[_BELOW_80_HZ].sum()) < middle * 10.0 ** (_SPEECH_BOTTOM_DB / 10.0)
