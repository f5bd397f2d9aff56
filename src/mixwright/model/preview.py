# SPDX-License-Identifier: Apache-2.0
"""What `preview` returns: a temporary master for the client, what it cost, and what became of it in every file."""

from __future__ import annotations

from typing import Literal

from mixwright.model.dynamics_inserts import Compressor
from mixwright.model.levels import Levels
from mixwright.model.record import Record
from mixwright.model.results import PlannedMove

PreviewFormat = Literal["wav", "flac", "mp3", "opus", "aac"]
TargetOf = Literal["given", "rough", "references", "usual"]


class Reduced(Record, frozen=True, kw_only=True):
    """By how much a processor takes the mix down: at most and where, in the mean of the song, and how often.

    `share_of_time`: of the song in which it takes off more than 0.1 dB.
    """

    largest_db: float
    largest_at_s: float
    mean_db: float
    share_of_time: float


class BusCompressor(Record, frozen=True, kw_only=True):
    """The compressor before the limiter: its settings, and what it does."""

    settings: Compressor
    reduction: Reduced


class CodingTry(Record, frozen=True, kw_only=True):
    """One try to write a file: where the limiter held peaks, by how much all was lowered, and the peak as decoded."""

    limiter_ceiling_dbtp: float
    lowered_db: float = 0.0
    true_peak_dbtp: float | None


class PreviewFile(Record, frozen=True, kw_only=True):
    """One file of a preview.

    `integrated_lufs`: before coding; `decoded_lufs` and `true_peak_dbtp` (16 points a sample): as decoded again.
    `kbit_s`: of lossy formats. `limiter`: what was taken off for this file; `tries`: how its ceiling was found, the
    last one stands. `short_by_lu`: by how much it stays below the target, `why` says why.
    """

    file: str
    format: PreviewFormat
    kbit_s: float | None = None
    sample_format: Literal["pcm16", "pcm24", "float32"] | None = None
    rate_hz: int
    frames: int
    size_bytes: int
    sha256: str
    gain_db: float
    integrated_lufs: float | None
    decoded_lufs: float | None
    true_peak_dbtp: float | None
    plr_db: float | None
    limiter: Reduced
    tries: tuple[CodingTry, ...]
    short_by_lu: float = 0.0
    why: str = ""


class LimitedSection(Record, frozen=True, kw_only=True):
    """What limiting did to the parts of a mix in one section, in LU; None where a part does not sound.

    `lead_lu`, `backing_lu`, `drums_lu`: change of their loudness beside the gain that all of the mix gets; backing is
    all that is neither lead nor drums. The others: change of one against the other, positive where the first gains.
    `name` is empty for the whole song.
    """

    name: str = ""
    start_s: float
    end_s: float
    lead_lu: float | None
    backing_lu: float | None
    drums_lu: float | None
    lead_to_backing_lu: float | None
    lead_to_drums_lu: float | None
    drums_to_backing_lu: float | None


class PreviewResult(Record, frozen=True, kw_only=True):
    """A preview: a folder of files that are no mix and no master.

    `mix`: the mix as it is. `rough_lufs`: of the artist's rough mix, None where there is none. `limited`: what limiting
    changed, the whole song first, in the file named `limited_file`, which is limited most. `moves`: the level moves
    before it that restore what it changed, offered and not part of the mix; `restored`: as `limited`, as it would be
    with them. `proposed`: whether they were written into the song, to be decided. `sounding` as in MeasureResult.
    """

    folder: str
    files: tuple[PreviewFile, ...]
    target_lufs: float
    target_of: TargetOf
    ceiling_dbtp: float
    most_reduction_db: float
    mix: Levels
    rough_lufs: float | None = None
    compressor: BusCompressor | None = None
    limited_file: str = ""
    limited: tuple[LimitedSection, ...] = ()
    moves: tuple[PlannedMove, ...] = ()
    restored: tuple[LimitedSection, ...] = ()
    proposed: bool = False
    song_moves: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    sounding: str = ""
    engine: str = ""
