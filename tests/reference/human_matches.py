# SPDX-License-Identifier: Apache-2.0
"""Levels that listeners set for a sound alone to match its loudness in a masker: Hz of the probe, dB SPL.

Means over three listeners of a public data set (Apache-2.0), described in the thesis of L. Ruis, Amsterdam 2020.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mixwright.hearing.constants import CUED_DB, STRICT_DB
from mixwright.hearing.scale import bandwidth_hz
from reference import ear_twin as twin
from reference.check_table import Table, level_where
from reference.line_sounds import band


@dataclass(frozen=True)
class Match:
    """One set; `noise`: bands half an ERB wide, else tones. No judgement of a set lies below `floor_db`."""

    probe_db: float
    masker_hz: float
    masker_db: float
    noise: bool
    floor_db: float
    level_db: dict[float, float]

    def sound(self, hz, level_db):
        """A probe or the masker; components 4 Hz apart, at least eight."""
        if not self.noise:
            return twin.tone(hz, level_db)
        width_hz = 0.5 * float(bandwidth_hz(hz))
        return band(hz, width_hz, level_db, min(4.0, width_hz / 8.0))


def _levels(text):
    pairs = (pair.split(":") for pair in text.replace("\n", " ").split(","))
    return {float(hz): float(level_db) for hz, level_db in pairs}


MATCHES = {
    "noise of 30 dB, masker 1370 Hz at 80 dB": Match(30.0, 1370.0, 80.0, True, 9.0, _levels("""
        100: 32.9, 135: 28.7, 175: 31.5, 218: 32.8, 267: 34.1, 320: 33.4, 379: 29.9, 445: 33.2, 518: 31.7, 598: 31.9,
        688: 31.4, 787: 31.4, 896: 31.7, 1018: 25.2, 1152: 9.8, 1301: 8.4, 1466: 9.1, 1649: 9.7, 1852: 10.1, 2077: 9.6,
        2326: 8.1, 2601: 13.1, 2907: 20.4, 3245: 21.9, 3620: 27.8, 4036: 28.5, 4496: 30.9, 5006: 30.6, 5571: 30.4,
        6197: 32.8, 6891: 33.3, 7659: 33.7, 8511: 32.8""")),
    "tone of 40 dB, masker 843 Hz at 70 dB": Match(40.0, 843.0, 70.0, False, 2.0, _levels("""
        100: 41.6, 135: 41.0, 175: 41.1, 218: 42.7, 267: 40.3, 320: 40.4, 379: 40.6, 445: 39.9, 518: 38.5, 598: 35.4,
        688: 29.1, 787: 18.5, 896: 20.9, 1018: 21.6, 1152: 19.7, 1301: 19.8, 1466: 22.5, 1649: 25.6, 1852: 28.9,
        2077: 24.7, 2326: 33.0, 2601: 38.2, 2907: 38.7, 3245: 38.1, 3620: 38.6, 4036: 39.2, 4496: 40.0, 5006: 42.0,
        5571: 41.8, 6197: 43.0, 6891: 40.7, 7659: 42.8, 8511: 44.8, 9454: 38.9""")),
    "tone of 40 dB, masker 843 Hz at 50 dB": Match(40.0, 843.0, 50.0, False, 2.0, _levels("""
        100: 42.7, 135: 41.8, 175: 42.5, 218: 41.9, 267: 41.8, 320: 42.2, 379: 41.1, 445: 40.2, 518: 39.7, 598: 41.8,
        688: 38.2, 787: 33.7, 896: 41.3, 1018: 41.1, 1152: 40.9, 1301: 41.0, 1466: 41.4, 1649: 41.2, 1852: 40.6,
        2077: 40.5, 2326: 40.0, 2601: 41.0, 2907: 41.7, 3245: 40.8, 3620: 40.9, 4036: 40.9, 4496: 40.6, 5006: 41.9,
        5571: 41.1, 6197: 40.2, 6891: 42.0, 7659: 42.0, 8511: 42.0, 9454: 42.7""")),
}  # fmt: skip


def human_matches() -> list[str]:
    """Levels that listeners set for a sound alone to match what they heard of it in a masker: means over three
    listeners, a public data set (L. Ruis, thesis, Amsterdam 2020). Ours: the level at which the model finds the
    probe alone as loud as in the masker; ISO 532-3 constants, lines. A report, no test: listeners differ by 3 dB
    among themselves. Levels that the model finds lower are set to 9 dB in the first set, where judgements end, and in
    the others to 2 dB, about the threshold of hearing.
    """
    table = Table("set", "pairs", "strict: bias, RMS, dB", "cued: bias, RMS, dB", "nothing masked: bias, RMS, dB")
    for name, match in MATCHES.items():
        listeners = np.array(list(match.level_db.values()))
        cells = [str(len(listeners))]
        for offset_db in (STRICT_DB, CUED_DB):
            found = [max(match.floor_db, _matched_db(match, hz, offset_db)) for hz in match.level_db]
            cells.append(_bias(np.array(found) - listeners))
        table.row(name, *cells, _bias(match.probe_db - listeners))
    return table.rows


def _matched_db(match: Match, hz: float, offset_db: float) -> float:
    probe, masker = (match.sound(*part) for part in ((hz, match.probe_db), (match.masker_hz, match.masker_db)))
    left = twin.partial([probe, masker], offset_db, name="ISO 532-3")[0]
    return level_where(lambda db: twin.loudness(match.sound(hz, db), "ISO 532-3"), left, -20.0, 60.0)


def _bias(away_db: np.ndarray) -> str:
    return f"{away_db.mean():+.1f}, {np.sqrt(np.mean(away_db**2)):.1f}"
