# SPDX-License-Identifier: Apache-2.0
"""The voices by the meter: how loud the followed line is beside the mix, and which backing voices are brighter."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from mixwright.app.session import Session
from mixwright.jobs.progress import Cancel
from mixwright.ledger.brightness import Sung, brighter
from mixwright.ledger.findings import judged
from mixwright.meter.loudness import SUB_BLOCKS_PER_S, Loudness
from mixwright.model.hearing import HeardLayer, HearingResult
from mixwright.model.ledger import VoiceInterval, VoicePhrase
from mixwright.model.song import changed, used_tracks
from mixwright.model.words import VOICE_ROLES
from mixwright.planning.table import DE_MAN, LEAD
from mixwright.reference.corridor import Interval

#: What the published interval is: mean and one standard deviation between engineers to either side.
PUBLISHED = VoiceInterval(
    low_lu=LEAD.mean_lu - LEAD.spread_lu,
    high_lu=LEAD.mean_lu + LEAD.spread_lu,
    references=0,
    source=f"8 songs by 8 engineers each, verse and chorus, mean and one standard deviation ({DE_MAN})",
)


def beside_the_mix(
    session: Session, hearing: HearingResult, references: Interval | None, cancel: Cancel | None = None
) -> HearingResult:
    """Return what was heard with the loudness of every phrase beside the mix, and where lead voices stand.

    A voice is measured as it stands in the mix, with the returns that it feeds. `references`: what references span
    whose voice is there alone; None: what is published. Nothing is published for a lead that is no voice.
    """
    if not hearing.voice_line:
        return hearing
    mix = session.measured(cancel=cancel)[1]
    tracks = {layer.id: frozenset(layer.tracks) for layer in hearing.layers}
    alone = {
        one: session.measured(tracks[one], cancel=cancel)[1]
        for one in dict.fromkeys(phrase.track for phrase in hearing.voice_line)
    }
    return changed(
        hearing,
        voice_line=tuple(_beside(phrase, alone[phrase.track], mix) for phrase in hearing.voice_line),
        voice_interval=_interval(references)
        if _sings(session, frozenset().union(*(tracks[one] for one in alone)))
        else None,
    )


def with_what_is_asked(
    session: Session, hearing: HearingResult, leads: Collection[str], cancel: Cancel | None = None
) -> HearingResult:
    """Return what was heard with the findings that the song asks for: backing voices that are brighter than the lead.

    `leads`: ids of the layers that are followed. Voices are measured as they stand in the mix, with what they send.
    """
    if "dark backing voices" not in session.song.asks:
        return hearing
    roles = {track.id: track.role for track in used_tracks(session.song)}

    def sung(layer: HeardLayer) -> Sung:
        tracks = frozenset(layer.tracks)
        levels, loudness = session.measured(tracks, cancel=cancel)
        at = np.flatnonzero(loudness.energy > 0.0)
        return Sung(levels, float(at[0]) / SUB_BLOCKS_PER_S, float(at[-1] + 1) / SUB_BLOCKS_PER_S)

    sounding = [layer for layer in hearing.layers if layer.alone_sone is not None]
    voices = [layer for layer in sounding if any(roles.get(track) in VOICE_ROLES for track in layer.tracks)]
    found = brighter(
        {layer.id: sung(layer) for layer in voices if layer.id in leads},
        {
            layer.id: sung(layer)
            for layer in voices
            if layer.id not in leads and any(roles[track] == "backing vocal" for track in layer.tracks)
        },
    )
    return changed(hearing, findings=judged((*hearing.findings, *found), session.song.left_as_is))


def _beside(phrase: VoicePhrase, own: Loudness, mix: Loudness) -> VoicePhrase:
    one, whole = (loudness.integrated_lufs(phrase.start_s, phrase.end_s) for loudness in (own, mix))
    return changed(phrase, re_mix_lu=None if one is None or whole is None else one - whole)


def _sings(session: Session, tracks: Collection[str]) -> bool:
    return any(track.role in VOICE_ROLES for track in used_tracks(session.song) if track.id in tracks)


def _interval(references: Interval | None) -> VoiceInterval:
    if references is None:
        return PUBLISHED
    if references.estimated:
        source = "what their mixes give away: the centre that lasts, and what of it comes and goes"
    else:
        source = "their voices beside them, widened where they are few by the standard deviation between engineers "
        source += f"({DE_MAN})"
    return VoiceInterval(
        low_lu=references.low,
        high_lu=references.high,
        references=references.references,
        source=source,
    )
