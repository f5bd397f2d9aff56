# SPDX-License-Identifier: Apache-2.0
"""An invented preview, for tests of pages, texts and documents."""

from __future__ import annotations

from invented import LEVELS, RATE_HZ
from mixwright.model.preview import CodingTry, LimitedSection, PreviewFile, PreviewResult, Reduced
from mixwright.model.results import PlannedMove
from mixwright.model.song import changed


def preview_result(*, loud: bool = False) -> PreviewResult:
    """Return a preview of two files, of which one took a second try; far louder than the rough mix or not."""
    limiter = Reduced(largest_db=5.2, largest_at_s=61.4, mean_db=0.7, share_of_time=0.31)

    def file(name: str, format_: str, tries: tuple[CodingTry, ...], **fields: object) -> PreviewFile:
        return PreviewFile(
            file=name,
            format=format_,
            rate_hz=RATE_HZ,
            frames=202 * RATE_HZ,
            size_bytes=8_100_000,
            sha256="cd" * 32,
            gain_db=6.1,
            integrated_lufs=-10.0,
            decoded_lufs=-10.1,
            true_peak_dbtp=-1.02,
            plr_db=9.1,
            limiter=limiter,
            tries=tries,
            **fields,
        )

    first = CodingTry(limiter_ceiling_dbtp=-1.0, true_peak_dbtp=-0.62)
    sections = tuple(
        LimitedSection(
            name=name,
            start_s=start_s,
            end_s=end_s,
            lead_lu=-0.4,
            backing_lu=-0.3,
            drums_lu=drums_lu,
            lead_to_backing_lu=-0.1,
            lead_to_drums_lu=-0.4 - drums_lu,
            drums_to_backing_lu=drums_lu + 0.3,
        )
        for name, start_s, end_s, drums_lu in (("", 0.0, 202.0, -1.0), ("chorus 1", 40.0, 72.0, -1.6))
    )
    move = PlannedMove(
        id="level-drums-51d0aa",
        kind="level",
        target="drums",
        sections=("chorus 1",),
        settings={"gain_db": 1.5},
        state="proposed",
        strength=1.0,
        by="plan",
        reason="Limiting the preview takes 1.3 LU more off Drums than off the rest in chorus 1.",
    )
    return PreviewResult(
        folder="previews/001",
        files=(
            file("NightBus_Preview01_48k24.wav", "wav", (first,), sample_format="pcm24"),
            file(
                "NightBus_Preview01_48k.mp3",
                "mp3",
                (first, CodingTry(limiter_ceiling_dbtp=-1.4, true_peak_dbtp=-1.02)),
                kbit_s=320.8,
                short_by_lu=0.3,
                why="0.3 LU more would take off more than the 6 dB that the limiter may",
            ),
        ),
        target_lufs=-10.0,
        target_of="rough",
        ceiling_dbtp=-1.0,
        most_reduction_db=6.0,
        mix=LEVELS,
        rough_lufs=-18.0 if loud else -10.0,
        limited_file="NightBus_Preview01_48k.mp3",
        limited=sections,
        moves=(move,),
        restored=tuple(changed(one, drums_to_backing_lu=0.1) for one in sections),
        song_moves=("level-warm-pad-7d10c2",),
        notes=("Not in it: 3 proposed moves that wait to be decided.",),
    )
