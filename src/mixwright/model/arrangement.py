# SPDX-License-Identifier: Apache-2.0
"""How a song is arranged, by what is heard of its layers: facts and questions, never a verdict."""

from __future__ import annotations

from typing import Literal

from mixwright.model.record import Record

#: What a layer does in a section; definitions in mixwright.ledger.motion.
MotionWord = Literal["sustains", "pulses", "between", "silent"]
#: What a section may lack beside its neighbours.
Job = Literal["held chord", "pulse", "high", "low"]
#: Where high begins and low ends.
HIGH_HZ, LOW_HZ = 5000.0, 120.0


class MotionRange(Record, frozen=True, kw_only=True):
    """What a layer does in one range of frequency; `part`: of its loudness in the section, 0 to 1."""

    low_hz: float
    high_hz: float
    motion: MotionWord
    modulation: float
    part: float


class LayerMotion(Record, frozen=True, kw_only=True):
    """What a layer does in a section.

    `modulation`: how far its amplitude falls below its crests, mean over most within a second: 0 is held, 0.5 a tremolo
    from silence to full, towards 1 what is struck and gone. `onsets_per_s`: strikes for each second in which it plays.
    Both None where it is silent. `ranges`: only where it does not do the same in all of its range, from low to high.
    """

    layer: str
    section: str
    motion: MotionWord
    modulation: float | None = None
    onsets_per_s: float | None = None
    ranges: tuple[MotionRange, ...] = ()


class SharedPlace(Record, frozen=True, kw_only=True):
    """Two layers that spend their energy in the same place at the same time.

    `share`: 0 (nothing) to 1 (the same), whatever their levels. `low_hz` to `high_hz`: where most of it lies.
    `onsets_together`: share of the strikes of the sparser one with which the other strikes too; None without any.
    """

    layers: tuple[str, str]
    section: str
    share: float
    low_hz: float
    high_hz: float
    onsets_together: float | None = None


class WallHole(Record, frozen=True, kw_only=True):
    """A range in which a section holds less than the sections beside it; `depth_db`: than the lesser of them."""

    section: str
    start_s: float
    end_s: float
    low_hz: float
    high_hz: float
    depth_db: float
    beside: tuple[str, ...]


class MissingJob(Record, frozen=True, kw_only=True):
    """What no layer does in a section, though it is done in those beside it; `done_by`: layers that do it there."""

    section: str
    job: Job
    beside: tuple[str, ...]
    done_by: tuple[str, ...]


class NeverHeard(Record, frozen=True, kw_only=True):
    """A layer that nobody would miss: without it the mix was measured again.

    `loudness_lu`: change of the integrated loudness; `third_octave_db`: largest change of a third-octave, at
    `third_octave_hz`; both without sign.
    """

    layer: str
    loudness_lu: float
    third_octave_db: float
    third_octave_hz: float


class Twins(Record, frozen=True, kw_only=True):
    """Two layers that do nearly the same at the same time wherever one of them sounds.

    `share`: as in SharedPlace, in the section in which it is least; `onsets_together`: over all of them.
    """

    layers: tuple[str, str]
    share: float
    onsets_together: float | None = None


class Arrangement(Record, frozen=True, kw_only=True):
    """All of it; layers by id, `sections` by name in order."""

    sections: tuple[str, ...] = ()
    motion: tuple[LayerMotion, ...] = ()
    shared: tuple[SharedPlace, ...] = ()
    holes: tuple[WallHole, ...] = ()
    missing: tuple[MissingJob, ...] = ()
    never_heard: tuple[NeverHeard, ...] = ()
    twins: tuple[Twins, ...] = ()
