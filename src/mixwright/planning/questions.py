# SPDX-License-Identifier: Apache-2.0
"""What no move can decide: parts that may be missing, to be muted or one too many; asked, with what could be tried."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from mixwright.errors import with_and
from mixwright.hearing.place_loudness import place_hz
from mixwright.model.arrangement import Arrangement, Job, WallHole
from mixwright.model.ledger import Finding
from mixwright.planning.excited import Excited
from mixwright.planning.known import KnownRow, KnownSong
from mixwright.units import band_words

_JOBS: Mapping[Job, str] = {
    "held chord": "holds a chord",
    "pulse": "pulses",
    "high": "sounds in the highest octaves",
    "low": "sounds in the lowest octaves",
}
#: What thickens a layer without being heard as an effect: common practice, no source.
_DRIVE_DB, _PART = 6.0, 0.3


def questions_of(
    findings: Sequence[Finding], arrangement: Arrangement, song: KnownSong, sections: Sequence[Excited] = ()
) -> tuple[str, ...]:
    """Return what is to be decided by a person before moves can help, one paragraph each.

    Parameters
    ----------
    findings : sequence of Finding
        what was left as it is is not asked again
    arrangement : Arrangement
    song : KnownSong
    sections : sequence of Excited
        to name a layer that could fill a hole; without them none is named

    Returns
    -------
    tuple of str
        names of layers stand in them as they came: escape them in pages
    """
    return (
        *_covered(findings, arrangement, song),
        *_never_heard(arrangement, song),
        *_twins(arrangement, song),
        *_missing(arrangement, song),
        *(_hole(hole, song, sections) for hole in arrangement.holes),
    )


def _covered(findings: Sequence[Finding], arrangement: Arrangement, song: KnownSong) -> Iterator[str]:
    never = {one.layer for one in arrangement.never_heard}
    for one in findings:
        if one.kind == "only_covered" and one.verdict != "left as is" and one.track not in never:
            takers = [song.name(by.track) for by in one.caused_by[:2]]
            under = f" under {with_and(takers)}" if takers else ""
            yield (
                f"{song.name(one.track)} is covered wherever it sounds{under}. Is it to be heard, or only to thicken? "
                "If to thicken, make it a bed; if neither, mute it and listen whether the song misses it."
            )


def _never_heard(arrangement: Arrangement, song: KnownSong) -> Iterator[str]:
    for one in arrangement.never_heard:
        yield (
            f"Without {song.name(one.layer)} the mix changes by {one.loudness_lu:.1f} LU, and no third-octave by more "
            f"than {one.third_octave_db:.1f} dB. Mute it?"
        )


def _twins(arrangement: Arrangement, song: KnownSong) -> Iterator[str]:
    for one in arrangement.twins:
        first, second = (song.name(id_) for id_ in one.layers)
        yield (
            f"{first} and {second} do nearly the same wherever they sound. Are both needed? If so, they could read as "
            "one (one source in song.toml), or stand one on each side."
        )


def _missing(arrangement: Arrangement, song: KnownSong) -> Iterator[str]:
    for one in arrangement.missing:
        who = [song.name(id_) for id_ in one.done_by[:3]]
        does = f"; beside it {with_and(who)} {'does' if len(who) == 1 else 'do'}" if who else ""
        yield f"In {one.section} no layer {_JOBS[one.job]}{does}. Is a part missing?"


def _hole(hole: WallHole, song: KnownSong, sections: Sequence[Excited]) -> str:
    beside, band = with_and(hole.beside), band_words(hole.low_hz, hole.high_hz, " to ")
    told = (
        f"In {hole.section} there is {hole.depth_db:.0f} dB less from {band} than in {beside} beside it. "
        "If that is not meant: is a part missing?"
    )
    filler = _filler(hole, song, sections)
    if filler is None:
        return told
    return (
        f"{told} Or {filler.name} could fill it: raised there, doubled and placed wide, or coloured (saturation, drive "
        f"{_DRIVE_DB:.0f} dB, {100 * _PART:.0f} % of it mixed in)."
    )


def _filler(hole: WallHole, song: KnownSong, sections: Sequence[Excited]) -> KnownRow | None:
    """Return the loudest layer that sounds in a hole and carries nothing, most likely to fill it; None without one."""
    excited = next((one for one in sections if one.section.name == hole.section), None)
    if excited is None:
        return None
    inside = (place_hz() >= hole.low_hz) & (place_hz() <= hole.high_hz)
    loud = excited.own[..., inside].sum(axis=(1, 2, 3))
    free = [
        k
        for k, row in enumerate(song.rows)
        if not row.is_return and row.place_at(hole.section) != "lead" and excited.active_s[k] >= 1.0 and loud[k] > 0.0
    ]
    return song.rows[max(free, key=lambda k: float(loud[k]))] if free else None
