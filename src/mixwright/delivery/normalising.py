# SPDX-License-Identifier: Apache-2.0
"""What playback that normalises loudness does to the level of a file, by classes of such playback.

The classes are levels in use, from the Audio Engineering Society's recommendations (TD1008, 2021, later AES77:
music by the track at -16 LUFS, by the album with its loudest track at -14 LUFS, true peak at most -1 dBTP) and from
common practice, no source (-14 by the track, -11 and -19 as options of the listener). None of them is a target.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from mixwright.errors import SettingError
from mixwright.model.levels import Levels
from mixwright.model.results import PlayedLevel

CEILING_DBTP = -1.0
LOWEST_LUFS, HIGHEST_LUFS = -40.0, 0.0


@dataclass(frozen=True)
class Normaliser:
    """A level that playback is brought to; `raises`: quieter files are raised, as far as their peak allows."""

    target_lufs: float
    raises: bool
    name: str


NORMALISERS: tuple[Normaliser, ...] = (
    Normaliser(-11.0, True, "loud, a listener's option"),
    Normaliser(-14.0, True, "common, up as far as the peak allows"),
    Normaliser(-14.0, False, "common, down only"),
    Normaliser(-16.0, True, "AES TD1008, by the track"),
    Normaliser(-19.0, True, "quiet, a listener's option"),
)


def played_levels(levels: Levels, normalisers: Sequence[Normaliser] = NORMALISERS) -> tuple[PlayedLevel, ...]:
    """Return at which level each class plays a file of these levels; nothing for one whose loudness is not defined.

    The gain is target minus integrated loudness; a gain above 0 is at most what brings the true peak to -1 dBTP.
    """
    loudness, peak = levels.integrated_lufs, levels.true_peak_dbtp
    if loudness is None or peak is None:
        return ()
    played = []
    for one in normalisers:
        wanted = one.target_lufs - loudness
        gain = min(wanted, 0.0 if not one.raises else max(0.0, CEILING_DBTP - peak)) if wanted > 0.0 else wanted
        played.append(
            PlayedLevel(
                normaliser=one.name,
                target_lufs=one.target_lufs,
                gain_db=gain,
                played_lufs=loudness + gain,
                played_dbtp=peak + gain,
                short_of_target_lu=max(0.0, wanted - gain),
            )
        )
    return tuple(played)


def normalisers_of(targets_lufs: Sequence[float]) -> tuple[Normaliser, ...]:
    """Return classes of one's own, all of which raise as far as the peak allows.

    Raises
    ------
    SettingError
        for a level outside -40 to 0 LUFS
    """
    for target in targets_lufs:
        if not LOWEST_LUFS <= target <= HIGHEST_LUFS:
            raise SettingError(f"{target:g} LUFS is no level of playback", hint=f"{LOWEST_LUFS:g} to 0 are allowed")
    return tuple(Normaliser(target, True, f"{target:g} LUFS, up as far as the peak allows") for target in targets_lufs)
