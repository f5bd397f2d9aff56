# SPDX-License-Identifier: Apache-2.0
"""The voice line: the line that is followed phrase by phrase, how far it stands above the rest, and who takes it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from mixwright.hearing.bands import bands_of_places
from mixwright.hearing.fader import Fader, loudness
from mixwright.hearing.heard import ALONE, BAND_CELLS, CELL_S, CUED, STRICT, Heard, Hearing
from mixwright.hearing.lyric import GAP_S, LEAST_S, VOICED_DB, phrases_of
from mixwright.hearing.statistics import named_takers
from mixwright.jobs.pool import in_order
from mixwright.ledger.rise import FRAMES
from mixwright.model.hearing import Phrase
from mixwright.model.ledger import VoicePhrase
from mixwright.model.ranges import Range, TakenBy
from mixwright.model.song import Section

#: Ten times the power is about twice as loud.
_DB_A_DOUBLING = 10.0
_BLOCK_S = BAND_CELLS * CELL_S
_NOTHING = 1e-12
#: A phrase that is sung, or when something else plays.
Followed = Phrase | tuple[float, float]


def voice_line(
    hearing: Hearing, leads: Sequence[str], sections: Sequence[Section], *, workers: int | None = None
) -> tuple[VoicePhrase, ...]:
    """Return the phrases of the layers that are followed, in order of time.

    Parameters
    ----------
    hearing : Hearing
        with a dense sketch of each lead, and the `lyric` of those that sing
    leads : sequence of str
        ids of layers
    sections : sequence of Section
    workers : int, optional
        threads; the result does not depend on it

    Notes
    -----
    A voice's phrases are those of `lyric.phrases_of`. What does not sing is cut where it pauses, and where a section
    ends. Who takes what is known by stretch; in a phrase it is in proportion to how loud each layer plays just then.
    """
    wanted = [(one, phrase) for one in leads if one in hearing.layers for phrase in followed(hearing, one, sections)]
    return in_time(heard_phrases(hearing, wanted, sections, workers=workers))


def heard_phrases(
    hearing: Hearing,
    wanted: Sequence[tuple[str, Followed]],
    sections: Sequence[Section],
    *,
    workers: int | None = None,
) -> tuple[VoicePhrase, ...]:
    """Return phrases of layers as they are heard, for which nothing matters but the stretches that they lie in.

    Phrases of which no frame was sketched are left out; otherwise as `voice_line`.
    """
    made = in_order(lambda each: _phrase(hearing, *each, sections), wanted, workers)
    return tuple(phrase for phrase in made if phrase is not None)


def in_time(phrases: Iterable[VoicePhrase]) -> tuple[VoicePhrase, ...]:
    """Return phrases in order of time."""
    return tuple(sorted(phrases, key=lambda phrase: (phrase.start_s, phrase.track)))


def followed(hearing: Hearing, lead: str, sections: Sequence[Section]) -> Iterator[Followed]:
    """Yield the phrases of a layer that is followed; of what does not sing, when it plays, in seconds."""
    heard = hearing.layers[lead]
    if heard.lyric is not None:
        yield from phrases_of(heard.lyric, lead, CELL_S)
    else:
        yield from played(heard, [edge for part in sections for edge in (part.start_s, part.end_s)])


def played(heard: Heard, edges_s: Sequence[float]) -> Iterator[tuple[float, float]]:
    """Yield when a layer that does not sing plays, in seconds: from pause to pause, cut at the edges."""
    alone = heard.total[ALONE]
    if not alone.any():
        return
    # What lies 30 dB down is an eighth as loud.
    least = float(np.percentile(alone[alone > 0.0], 95.0)) * 2.0 ** (-VOICED_DB / _DB_A_DOUBLING)
    at = np.flatnonzero(alone > least)
    cuts = {round(edge_s / CELL_S) for edge_s in edges_s}
    ends = [
        k + 1
        for k in range(len(at) - 1)
        if at[k + 1] - at[k] - 1 >= GAP_S / CELL_S or any(at[k] < cut <= at[k + 1] for cut in cuts)
    ]
    for first, end in itertools.pairwise([0, *ends, len(at)]):
        if at[end - 1] + 1 - at[first] >= LEAST_S / CELL_S:
            yield round(int(at[first]) * CELL_S, 3), round((int(at[end - 1]) + 1) * CELL_S, 3)


def _phrase(hearing: Hearing, lead: str, phrase: Followed, sections: Sequence[Section]) -> VoicePhrase | None:
    """Return a phrase as it is heard; None where no frame of it was sketched."""
    sung = phrase if isinstance(phrase, Phrase) else None
    start_s, end_s = phrase if isinstance(phrase, tuple) else (phrase.start_s, phrase.end_s)
    sketch = hearing.layers[lead].sketch.within(start_s, end_s).thinned(FRAMES)
    wanted = float(sketch.mean(loudness(sketch)[ALONE].astype(np.float64))) if len(sketch) else 0.0
    if wanted <= 0.0:
        return None
    fader = Fader(sketch)
    rise = [fader.equivalent_db(wanted, row) for row in (CUED, STRICT)]
    down = [fader.equivalent_db(0.5 * wanted, row) for row in (CUED, STRICT)]
    cued, strict = (None if one is None else max(one, 0.0) for one in rise)
    margin_cued, margin_strict = (None if one is None else -one for one in down)
    return VoicePhrase(
        track=lead,
        section=_section_of(start_s, end_s, sections),
        start_s=start_s,
        end_s=end_s,
        rise_db=Range(cued=cued, strict=strict),
        margin_db=Range(cued=margin_cued, strict=margin_strict),
        taken_by=taken_in(hearing, lead, start_s, end_s),
        glimpse_share=sung.glimpse_share if sung else None,
        band_audibility=sung.band_audibility if sung else None,
        flags=sung.flags if sung else (),
    )


def _section_of(start_s: float, end_s: float, sections: Sequence[Section]) -> str:
    shared = [(min(end_s, part.end_s) - max(start_s, part.start_s), part.name) for part in sections]
    most_s, name = max(shared, key=lambda one: one[0], default=(0.0, ""))
    return name if most_s > 0.0 else ""


def taken_in(hearing: Hearing, lead: str, start_s: float, end_s: float) -> tuple[TakenBy, ...]:
    """Return who takes what a layer loses between two times, most first."""
    ids = list(hearing.layers)
    heard = hearing.layers[lead]
    taken = np.zeros(len(ids))
    for stretch, part in zip(hearing.stretches, hearing.taken, strict=True):
        first, end = max(stretch.start_s, start_s), min(stretch.end_s, end_s)
        if end <= first:
            continue
        whole = slice(stretch.first // BAND_CELLS, -(-stretch.end // BAND_CELLS))
        now = slice(int(first / _BLOCK_S), max(math.ceil(end / _BLOCK_S), int(first / _BLOCK_S) + 1))
        by_band = bands_of_places(part.cued[ids.index(lead)])
        present = np.stack([_presence(hearing.layers[id_].bands[ALONE], now, whole) for id_ in ids])
        loss = np.maximum(heard.bands[ALONE, now] - heard.bands[CUED, now], 0.0).sum(axis=0)
        by_band = by_band * present
        taken += (by_band / np.maximum(by_band.sum(axis=0), _NOTHING)) @ loss
    return named_takers(ids, taken)


def _presence(alone: np.ndarray, now: slice, whole: slice) -> np.ndarray:
    """Return how much more or less power a layer has now than in the whole stretch, band by band, from its loudness."""
    # Loudness doubles with ten times the power.
    power = alone[whole].astype(np.float64) ** math.log2(10.0)
    there = alone[now].astype(np.float64) ** math.log2(10.0)
    return np.asarray(there.mean(axis=0) / np.maximum(power.mean(axis=0), _NOTHING))
