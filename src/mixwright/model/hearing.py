# SPDX-License-Identifier: Apache-2.0
"""How loud layers are alone and in the mix, as results tell it."""

from __future__ import annotations

from typing import Literal

from mixwright.model.arrangement import Arrangement
from mixwright.model.ledger import Finding, Growth, VoiceInterval, VoicePhrase
from mixwright.model.ranges import Range as Range
from mixwright.model.ranges import TakenBy as TakenBy
from mixwright.model.record import Record
from mixwright.model.words import Place

#: How the mix reaches the ears.
Listening = Literal["headphones", "loudspeakers"]


class LayerLoudness(Record, frozen=True, kw_only=True):
    """Loudness of a layer while it sounds, means of the short-term loudness: alone, and what the mix leaves of it.

    `share`: loudness in the mix over loudness alone, in sone, 0 to 1. All None where it does not sound.
    """

    alone_sone: float | None = None
    alone_phon: float | None = None
    in_mix_sone: Range | None = None
    in_mix_phon: Range | None = None
    share: Range | None = None


class HeardBand(Record, frozen=True, kw_only=True):
    """A layer in one band; loudness in sone, as in LayerLoudness; `taken_by`: who takes what it loses there."""

    low_hz: float
    high_hz: float
    alone_sone: float
    in_mix_sone: Range
    taken_by: tuple[TakenBy, ...] = ()


class HeardSection(LayerLoudness, frozen=True, kw_only=True):
    """One layer in one section; `active_s`: how long it sounds there."""

    name: str
    active_s: float
    taken_by: tuple[TakenBy, ...] = ()
    bands: tuple[HeardBand, ...] = ()


class HeardLayer(LayerLoudness, frozen=True, kw_only=True):
    """A layer, or the return of a send, as heard over the song.

    `tracks` read as this one layer; none for a return, whose id begins with ``send``. `why` says why there are no
    figures. `peak_phon`: 95th percentile of its short-term loudness alone; `phrase_phon`: the most of its long-term
    loudness alone. `fader_equivalent_db`: by how many dB it would have to rise in this mix to be heard as loud as it is
    alone; None where no fader does that. `correlated`: share of its loss in places where its maskers do not add up as
    powers do; above a half, who takes what is a rough guess. `kept`: for every second of the song, the percentage of
    its loudness that the mix leaves, cued, whole; None where it does not sound for a tenth of that second.
    """

    id: str
    name: str
    place: Place
    tracks: tuple[str, ...]
    active_s: float
    why: str = ""
    peak_phon: float | None = None
    phrase_phon: float | None = None
    fader_equivalent_db: Range | None = None
    taken_by: tuple[TakenBy, ...] = ()
    correlated: float = 0.0
    sections: tuple[HeardSection, ...] = ()
    bands: tuple[HeardBand, ...] = ()
    kept: tuple[int | None, ...] = ()


#: Of what a phrase has less than the same voice in its middle phrase: see mixwright.hearing.lyric.
PhraseFlag = Literal["few_glimpses", "bands_covered"]


class Phrase(Record, frozen=True, kw_only=True):
    """How audible the words of a lead are in one phrase: not how well they are sung, or understood.

    `layer`: id of the lead's layer. `glimpse_share`: share of places on the ear's scale and moments at which the voice
    stands more than 3 dB above the rest, and can be heard. `band_audibility`: the same by bands, weighted by what they
    mean for speech, 0 to 1 (speech intelligibility index, running).
    """

    layer: str
    start_s: float
    end_s: float
    glimpse_share: float
    band_audibility: float
    flags: tuple[PhraseFlag, ...] = ()


class Pin(Record, frozen=True, kw_only=True):
    """Which integrated loudness of the mix is taken to play at a listening level."""

    listening_level_db_spl: float
    integrated_lufs: float


class Calibration(Record, frozen=True, kw_only=True):
    """What hearing is calibrated by, one pin for each listening level that was asked for."""

    pins: tuple[Pin, ...] = ()


class HeardWithout(Record, frozen=True, kw_only=True):
    """A layer in the mix without another one; `gives_back_phon`: how much louder it is then, at least 0."""

    track: str
    without: str
    in_mix_phon: Range
    gives_back_phon: Range


class KeptStretch(Record, frozen=True, kw_only=True):
    """Cells `first` to `end` of the song, and the key by which the cache keeps what was heard of them."""

    first: int
    end: int
    key: str


class HearingResult(Record, frozen=True, kw_only=True):
    """All layers as heard at a listening level; `k_offset_db`: the two readings of the masked threshold.

    `listening_level_db_spl`: the level at which a mix of `calibrated_lufs` is taken to play: its integrated loudness
    when it was first heard, until it has moved from there by half an LU. `phrases` of the confirmed lead, in order of
    time; where there are none, `why_no_phrases` says why. `voice_line`: the line that is followed, in order of time;
    `followed_by_guess`: it is that of the lead that intake takes it for, as none is confirmed; `voice_interval`: where
    lead voices stand in mixes, None where no voice leads. `findings`: what stands
    outside its tolerance, furthest first. `grew`: what was buried deeper since the last measure, what is
    missed most first. `stretches`: what was heard, as the cache keeps it; `heard_by`: a digest of the code that heard
    it. They are for the next measure, and no document has them, nor `other_layers`: names by the ids of layers that are
    left out but may be named.
    """

    layers: tuple[HeardLayer, ...]
    listening_level_db_spl: float
    listening: Listening
    k_offset_db: Range
    phrases: tuple[Phrase, ...] = ()
    why_no_phrases: str = ""
    calibrated_lufs: float | None = None
    voice_line: tuple[VoicePhrase, ...] = ()
    followed_by_guess: bool = False
    voice_interval: VoiceInterval | None = None
    findings: tuple[Finding, ...] = ()
    grew: tuple[Growth, ...] = ()
    arrangement: Arrangement = Arrangement()
    stretches: tuple[KeptStretch, ...] = ()
    heard_by: str = ""
    other_layers: dict[str, str] = {}
    without: tuple[HeardWithout, ...] = ()
