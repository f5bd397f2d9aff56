# SPDX-License-Identifier: Apache-2.0
"""What is heard of the invented song, and how it is arranged; no figure is measured."""

from __future__ import annotations

import math

from mixwright.model.arrangement import (
    Arrangement,
    LayerMotion,
    MissingJob,
    MotionRange,
    MotionWord,
    NeverHeard,
    SharedPlace,
    Twins,
    WallHole,
)
from mixwright.model.hearing import HeardBand, HeardLayer, HeardSection, HearingResult, Range, TakenBy
from mixwright.model.ledger import Finding, VoiceInterval, VoicePhrase, finding_id
from mixwright.model.song import Section

SECTIONS = tuple(
    Section(name=name, start_s=float(start), end_s=float(end))
    for name, start, end in (
        ("intro", 0, 16),
        ("verse 1", 16, 48),
        ("chorus 1", 48, 80),
        ("verse 2", 80, 104),
        ("chorus 2", 104, 136),
        ("bridge", 136, 152),
        ("chorus 3", 152, 190),
        ("outro", 190, 202),
    )
)


def name_of(id_: str) -> str:
    """Return a name as a person would write it."""
    return id_.replace("-", " ").capitalize()


def heard_layer(
    id_: str, place: str, alone: float, strict: float, cued: float, *taken: tuple[str, float]
) -> HeardLayer:
    """Return a layer of which the mix leaves so many phon; 10 phon are a factor of two in sone."""
    sone = {
        name: 2.0 ** ((phon - 40.0) / 10.0) for name, phon in (("alone", alone), ("strict", strict), ("cued", cued))
    }
    left = Range(cued=sone["cued"], strict=sone["strict"])
    by = tuple(TakenBy(track=track, fraction=fraction) for track, fraction in taken)
    figures = {
        "alone_sone": sone["alone"],
        "alone_phon": alone,
        "in_mix_sone": left,
        "in_mix_phon": Range(cued=cued, strict=strict),
        "share": Range(cued=sone["cued"] / sone["alone"], strict=sone["strict"] / sone["alone"]),
        "taken_by": by,
    }
    return HeardLayer(
        id=id_,
        name=name_of(id_),
        place=place,
        tracks=() if id_.startswith("send ") else (id_,),
        active_s=60.0,
        peak_phon=alone + 4.0,
        phrase_phon=alone + 2.0,
        fader_equivalent_db=Range(cued=(alone - cued) / 2.0, strict=(alone - strict) / 2.0),
        sections=tuple(HeardSection(name=s.name, active_s=10.0, bands=bands_of(sone, by), **figures) for s in SECTIONS),
        bands=bands_of(sone, by),
        kept=kept(100 * sone["cued"] / sone["alone"]),
        **figures,
    )


def bands_of(sone: dict[str, float], by: tuple[TakenBy, ...]) -> tuple[HeardBand, ...]:
    """Return four bands, the second of which holds most, and one that holds nothing."""
    edges, parts = (100.0, 300.0, 900.0, 2700.0, 5000.0, 9000.0), (0.2, 0.5, 0.2, 0.1, 0.0)
    return tuple(
        HeardBand(
            low_hz=low, high_hz=high, alone_sone=part * sone["alone"],
            in_mix_sone=Range(cued=part * sone["cued"], strict=part * sone["strict"]), taken_by=by,
        )
        for low, high, part in zip(edges, edges[1:], parts, strict=False)
    )  # fmt: skip


def kept(cued_percent: float) -> tuple[int | None, ...]:
    """Return a share for every second, around a middle; silent in the first section."""
    end_s = SECTIONS[0].end_s
    return tuple(
        None if second < end_s else round(min(max(cued_percent + 30 * math.sin(second / 5), 0), 100))
        for second in range(202)
    )


def voice_line() -> tuple[VoicePhrase, ...]:
    """Return phrases of which the second and the last fall short, the last the furthest."""
    phrases = []
    for i, margin_db in enumerate((6.0, -1.5, 3.0, 8.0, 0.0, 2.0, -4.2)):
        start_s = 10.0 + 25.0 * i
        section = next((s.name for s in SECTIONS if s.start_s <= start_s < s.end_s), "")
        phrases.append(
            VoicePhrase(
                track="lead-vox", section=section, start_s=start_s, end_s=start_s + 6.0,
                rise_db=Range(cued=7.0 - margin_db / 2, strict=12.0 - margin_db / 2),
                margin_db=Range(cued=margin_db, strict=margin_db - 3.5), re_mix_lu=margin_db - 4.0,
                taken_by=(TakenBy(track="warm-pad", fraction=0.4), TakenBy(track="bass-di", fraction=0.25)),
                glimpse_share=0.4, band_audibility=0.6,
            )
        )  # fmt: skip
    return tuple(phrases)


def findings() -> tuple[Finding, ...]:
    """Return the bass covered in the third section, and the lead in a band of the second."""
    by = (TakenBy(track="warm-pad", fraction=0.9), TakenBy(track="others", fraction=0.1))
    return tuple(
        Finding(
            id=finding_id(kind, layer, part.name, band_hz), kind=kind, track=layer, section=part.name,
            start_s=part.start_s, end_s=part.end_s, band_hz=band_hz, size_db=Range(cued=size_db, strict=size_db + 5.0),
            tolerance_db=5.0, excess_db=size_db - 5.0, caused_by=by, taker=None if band_hz is None else "warm-pad",
        )
        for kind, layer, part, band_hz, size_db in (
            ("covered", "bass-di", SECTIONS[2], None, 9.0),
            ("covered_band", "lead-vox", SECTIONS[1], (900.0, 2700.0), 7.5),
        )
    )  # fmt: skip


def hearing_result(*more: HeardLayer) -> HearingResult:
    """Return a pad that covers the lead, a bass that is hardly heard, the voice's reverb, and a layer that is not."""
    layers = (
        heard_layer("lead-vox", "lead", 61.0, 55.2, 58.0, ("warm-pad", 0.4), ("bass-di", 0.25), ("others", 0.35)),
        heard_layer("warm-pad", "bed", 66.0, 60.0, 63.0, ("lead-vox", 0.3), ("bass-di", 0.28), ("others", 0.42)),
        heard_layer("bass-di", "support", 70.0, 40.0, 55.0, ("warm-pad", 0.9), ("others", 0.1)),
        heard_layer("send voice-reverb", "bed", 30.0, -60.0, -50.0, ("lead-vox", 1.0)),
        HeardLayer(
            id="shaker",
            name="Shaker",
            place="support",
            tracks=("shaker",),
            active_s=0.0,
            why="never louder than 0.05 sone",
        ),
        *more,
    )
    return HearingResult(
        layers=layers,
        listening_level_db_spl=79.0,
        listening="headphones",
        k_offset_db=Range(cued=-10.0, strict=0.0),
        why_no_phrases="the lead is not confirmed",
        voice_line=voice_line(),
        voice_interval=VoiceInterval(low_lu=-4.0, high_lu=2.0, references=2, source="as invented"),
        findings=findings(),
        arrangement=arrangement(),
    )


#: What each layer does in each section: holds, between, pulses, silent; a bass that holds low and is struck high.
_MOTIONS = {
    "lead-vox": ".bbbbbb.",
    "warm-pad": "hhhhh.hh",
    "bass-di": "bbrbr.r.",
    "send voice-reverb": ".pppppp.",
    "shaker": "........",
}


def arrangement() -> Arrangement:
    """Return who holds and who pulses, a hole in the bridge, a held chord that it lacks, and the rest of each kind."""
    words: dict[str, tuple[MotionWord, float, float]] = {
        "h": ("sustains", 0.12, 0.1),
        "b": ("between", 0.41, 2.2),
        "p": ("pulses", 0.83, 4.0),
        "r": ("between", 0.4, 4.0),
    }
    ranges = (
        MotionRange(low_hz=43.8, high_hz=147.9, motion="sustains", modulation=0.1, part=0.4),
        MotionRange(low_hz=147.9, high_hz=2189.5, motion="pulses", modulation=0.7, part=0.5),
    )
    motion = []
    for layer, does in _MOTIONS.items():
        for part, one in zip(SECTIONS, does, strict=True):
            if one == ".":
                motion.append(LayerMotion(layer=layer, section=part.name, motion="silent"))
                continue
            word, modulation, per_s = words[one]
            told = {"motion": word, "modulation": modulation, "onsets_per_s": per_s}
            motion.append(LayerMotion(layer=layer, section=part.name, ranges=ranges if one == "r" else (), **told))
    beside = ("chorus 2", "chorus 3")
    return Arrangement(
        sections=tuple(part.name for part in SECTIONS),
        motion=tuple(motion),
        shared=(
            SharedPlace(layers=("warm-pad", "bass-di"), section="chorus 1", share=0.66, low_hz=226.1, high_hz=663.6),
            SharedPlace(layers=("warm-pad", "bass-di"), section="chorus 2", share=0.61, low_hz=306.0, high_hz=820.2),
            SharedPlace(layers=("lead-vox", "warm-pad"), section="verse 1", share=0.52, low_hz=530.3, high_hz=2189.5),
        ),
        holes=(
            WallHole(
                section="bridge", start_s=136.0, end_s=152.0, low_hz=399.8, high_hz=820.2, depth_db=9.2, beside=beside
            ),
        ),
        missing=(MissingJob(section="bridge", job="held chord", beside=beside, done_by=("warm-pad",)),),
        never_heard=(
            NeverHeard(layer="send voice-reverb", loudness_lu=0.013, third_octave_db=0.21, third_octave_hz=501.2),
        ),
        twins=(Twins(layers=("lead-vox", "warm-pad"), share=0.91, onsets_together=0.9),),
    )
