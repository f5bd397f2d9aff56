# SPDX-License-Identifier: Apache-2.0
"""What the C core's keyed processors need: how often they look, and how many doubles of state they have."""

from __future__ import annotations

#: Frames from one look at what was heard to the next (csrc/keyed.h).
LOOK = 32
#: Doubles of each band of an ear; of each band that is lowered with its gain.
_EAR, _LOWERED = 20, 4 + 3


def dip_states(bands: int, late_frames: int) -> int:
    """Return the doubles of a dip (csrc/dip.c)."""
    return _EAR * (3 * bands + 1) + (_LOWERED + 6) * bands + 3 + 2 * late_frames


def duck_states(rules: int, late_frames: int) -> int:
    """Return the doubles of a duck (csrc/duck.c)."""
    return (_EAR + _LOWERED + 6) * rules + 2 * late_frames


def peaks_states(bands: int, late_frames: int) -> int:
    """Return the doubles of peaks (csrc/peaks.c)."""
    return (_EAR + _LOWERED + 1) * bands + 2 * late_frames
