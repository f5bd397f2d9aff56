# SPDX-License-Identifier: Apache-2.0
"""Sections from which layers sound when: boundaries of layered songs fall where layers enter and leave."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from mixwright.core.novelty import boundaries, kinds_of, letters
from mixwright.intake.grid import Grid
from mixwright.intake.ids import Ids, slug
from mixwright.intake.likeness import Trace
from mixwright.intake.listening import TRACE_HZ
from mixwright.model.audio import AudioInfo
from mixwright.model.song import Section

Floats = npt.NDArray[np.float64]

#: A section is at least this long, whichever is longer.
SHORTEST_BARS = 4
SHORTEST_S = 6.0
#: A boundary takes at least a change of this many whole layers, and of this share of all.
_LEAST_LAYERS = 0.7
_LEAST_SHARE = 0.1
#: How the parts of a song are called by people who mark them; other marks are of the session, not of the song.
_PART = re.compile(
    r"(intro|verse|strophe|couplet|pre|chorus|refrain|hook|bridge|middle|break|solo|interlude|instrumental|drop|build"
    r"|outro|coda|part|section)s?(?![a-z])",
    re.IGNORECASE,
)
#: A first mark this near to the start is the start.
_AT_START_S = 1.0
#: The lead sings in a section from this share on.
_SUNG = 0.35


def find_sections(sources: Sequence[Sequence[Trace]], grid: Grid, duration_s: float, lead: int | None) -> list[Section]:
    """Divide a song into sections.

    Parameters
    ----------
    sources : sequence of sequence of Trace
        The members of each source; what reads as one counts once.
    grid : Grid
        Bars or seconds; every boundary but the two ends lies on it.
    duration_s : float
        Length of the song.
    lead : int or None
        Index of the source that sings, if one does.

    Returns
    -------
    list of Section
        From 0 to the end without gaps. Names are guesses from which parts are alike.
    """
    if duration_s <= 0.0:
        return []
    edges = np.unique(np.concatenate([[0.0], grid.times(duration_s), [duration_s]]))
    activity = _activity(sources, edges)
    shortest = max(1, SHORTEST_BARS if grid.tempo_bpm else 0, int(np.ceil(SHORTEST_S / grid.step_s)))
    least = max(_LEAST_LAYERS, _LEAST_SHARE * len(sources))
    bounds = [0, *boundaries(activity, edges, shortest, grid.step_s, least), len(edges) - 1]
    means = np.array([activity[a:b].mean(axis=0) for a, b in pairwise(bounds)])
    names = _names(means, lead)
    return [
        Section(name=name, start_s=round(float(edges[a]), 6), end_s=round(float(edges[b]), 6))
        for name, (a, b) in zip(names, pairwise(bounds), strict=True)
    ]


def marked_sections(info: AudioInfo, duration_s: float) -> list[Section]:
    """Return the sections that marks in a file name; none where fewer than two are called like parts of a song.

    Of several at one place the first counts. `duration_s` is the length of the song, where the last section ends.
    """
    labels = {mark.frame / info.sample_rate_hz: mark.label for mark in reversed(info.marks) if _PART.match(mark.label)}
    parts = sorted((at_s, label) for at_s, label in labels.items() if at_s < duration_s)
    if len(parts) < 2:
        return []
    if parts[0][0] <= _AT_START_S:
        parts[0] = (0.0, parts[0][1])
    else:
        parts.insert(0, (0.0, "start"))
    ids = Ids(set())
    ends = [*(at_s for at_s, _ in parts[1:]), duration_s]
    return [
        Section(name=ids.new(slug(label)), start_s=round(at_s, 6), end_s=round(end_s, 6))
        for (at_s, label), end_s in zip(parts, ends, strict=True)
    ]


def _activity(sources: Sequence[Sequence[Trace]], edges: Floats) -> Floats:
    """Return how much each source sounds in each step, 0 to 1: (steps, sources).

    The mean of the level within 40 dB of its loudest, so a layer that grows counts as a change too;
    1 is what the source reaches in its fuller steps.
    """
    last = round(float(edges[-1]) * TRACE_HZ) + 1
    ticks = np.minimum(np.round(edges * TRACE_HZ).astype(int), last - 1)
    result = np.zeros((len(edges) - 1, len(sources)))
    for column, members in enumerate(sources):
        total = np.zeros(last)
        for member in members:
            n = min(last, len(member.level_db))
            part = np.clip((member.level_db[:n] - member.loud_db + 40.0) / 40.0, 0.0, 1.0) * member.sounds[:n]
            total[:n] = np.maximum(total[:n], part)
        sums = np.concatenate([[0.0], np.cumsum(total)])
        means = (sums[ticks[1:]] - sums[ticks[:-1]]) / np.maximum(1, ticks[1:] - ticks[:-1])
        full = float(np.percentile(means[means > 0.05], 75)) if (means > 0.05).any() else 1.0
        result[:, column] = np.minimum(1.0, means / full)
    return result


def _names(means: Floats, lead: int | None) -> list[str]:
    """Name the sections by which are alike.

    With a singing lead, the fullest kind of sung section is a chorus, the other sung ones are verses and
    the rest breaks; without, parts are lettered. Thin sections at either end are intro and outro.
    """
    kinds = kinds_of(means)
    density = means.mean(axis=1)
    sung = means[:, lead] > _SUNG if lead is not None else np.zeros(len(means), dtype=bool)
    sung_kinds = {kind for kind, sings in zip(kinds, sung, strict=True) if sings}
    fullness = {kind: float(np.mean([d for d, k in zip(density, kinds, strict=True) if k == kind])) for kind in kinds}
    told_apart = len(sung_kinds) > 1
    chorus = max(sung_kinds, key=lambda kind: fullness[kind]) if told_apart else None
    thin = 0.75 * float(np.median(density))
    words, lettered = [], []
    for i, kind in enumerate(kinds):
        if len(kinds) > 2 and i in (0, len(kinds) - 1) and density[i] < thin and not sung[i]:
            words.append("outro" if i else "intro")
        elif told_apart:
            words.append(("chorus" if kind == chorus else "verse") if sung[i] else "break")
        else:
            lettered += [kind] if kind not in lettered else []
            words.append("part-" + letters(lettered.index(kind)))
    counts: Counter[str] = Counter()
    names = []
    for word in words:
        counts[word] += 1
        names.append(word if word in ("intro", "outro") else f"{word}-{counts[word]}")
    return names
