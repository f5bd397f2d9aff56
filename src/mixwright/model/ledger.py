# SPDX-License-Identifier: Apache-2.0
"""What the ledger finds: where a layer loses more than its place may, and the voice line phrase by phrase."""

from __future__ import annotations

import hashlib
import math
from typing import Literal

from mixwright.model.ranges import Range, TakenBy
from mixwright.model.record import Record

#: What a finding tells of a layer: it loses too much, in a band or as a whole; it piles up with others at the bottom;
#: a return fills the range of the voice; it is only ever covered, over the song (which does not say that nobody would
#: miss it: see `NeverHeard`); a backing voice is brighter than the lead, where the song asks for darker ones.
FindingKind = Literal["covered_band", "covered", "low_pile_up", "voice_filled", "only_covered", "brighter"]
#: What is said of a finding: it lies outside the tolerance of the layer's place; the engineer left it as it is; a plan
#: brings it inside.
Verdict = Literal["outside", "left as is", "mended"]


class Finding(Record, frozen=True, kw_only=True):
    """One place in the song where the mix stands outside a tolerance.

    `track`: id of the source, track or return that loses; of `voice_filled` the one whose range is filled. `section`
    names where, `start_s` to `end_s` is where in it it happens; of `only_covered` it is "", the whole song. `band_hz`
    (low, high), None where it is the layer as a whole. `size_db`: by how many dB the layer would have to rise to be
    heard there as loud as alone, None beyond any fader; of `brighter` how much brighter
    than the lead, `taker`, it is. `excess_db`: how far what counts lies outside `tolerance_db`:
    of a layer as a whole its size, cued; of a band the part of the rise of the layer as a whole that goes with this
    band and `taker`, the layer that it belongs to (None of a layer as a whole). `caused_by`: who takes the loss, most
    first. `alone_sone` and `in_mix_sone`: the loudness in that band. `depends_on_level`: outside the tolerance at one
    of 65 and 85 dB listening level, inside it at the other.
    """

    id: str
    kind: FindingKind
    track: str
    section: str
    start_s: float
    end_s: float
    band_hz: tuple[float, float] | None
    size_db: Range
    tolerance_db: float
    excess_db: float
    caused_by: tuple[TakenBy, ...] = ()
    taker: str | None = None
    alone_sone: float | None = None
    in_mix_sone: Range | None = None
    depends_on_level: bool = False
    verdict: Verdict = "outside"


class Growth(Record, frozen=True, kw_only=True):
    """Where a layer is buried deeper than it was at the last measure, by others that grew.

    `track`, `section`, `start_s` to `end_s` and `band_hz` as in Finding. `size_db`: by how many dB the layer as a whole
    would have to rise to make up for what it lost anew in that band; None beyond any fader. `share` and `share_before`:
    which part of its loudness the mix leaves there and left then, cued. The cued size counts less where little had been
    left, and where the band holds little of the layer; `excess_db`: how far what counts lies beyond `step_db`.
    `caused_by`: who grew, and which part of the new loss each takes, most first.
    """

    track: str
    section: str
    start_s: float
    end_s: float
    band_hz: tuple[float, float]
    size_db: Range
    step_db: float
    excess_db: float
    share: float
    share_before: float
    caused_by: tuple[TakenBy, ...] = ()


class VoicePhrase(Record, frozen=True, kw_only=True):
    """One phrase of the line that is followed.

    `track`: id of the source or track that leads; `section`: the one that most of the phrase lies in, "" outside all.
    `rise_db`: by how many dB it would have to rise to be heard as loud as alone. `margin_db`: how far its fader could
    go down before less than half of its loudness alone is left, below 0 where less is left already. `re_mix_lu`: its
    loudness minus that of the mix over the phrase (ITU-R BS.1770), None of less than 0.4 s. `taken_by`: who takes what
    it loses. `glimpse_share`, `band_audibility`, `flags`: as in Phrase, None for a lead that is no voice.
    """

    track: str
    section: str
    start_s: float
    end_s: float
    rise_db: Range
    margin_db: Range
    re_mix_lu: float | None = None
    taken_by: tuple[TakenBy, ...] = ()
    glimpse_share: float | None = None
    band_audibility: float | None = None
    flags: tuple[str, ...] = ()


class VoiceInterval(Record, frozen=True, kw_only=True):
    """Where lead voices stand in mixes: loudness minus that of the mix, from `low_lu` to `high_lu`.

    `references`: of so many references of this song; 0: of mixes of engineers as published in `source`.
    """

    low_lu: float
    high_lu: float
    references: int
    source: str


def finding_id(kind: FindingKind, track: str, section: str, band_hz: tuple[float, float] | None = None) -> str:
    """Return the id of a finding: the same whenever the same thing is found, whatever its size.

    It is a hash of kind, track, section and the third-octave band that the middle of `band_hz` lies in, as with moves.
    """
    middle_hz = None if band_hz is None else math.sqrt(band_hz[0] * band_hz[1])
    band = "" if middle_hz is None else str(round(10.0 * math.log10(middle_hz)))
    parts = f"{kind}\0{track}\0{band}\0{section}"
    return f"{kind}-{track}-{hashlib.sha256(parts.encode('utf-8')).hexdigest()[:6]}"
