# SPDX-License-Identifier: Apache-2.0
"""What was measured, of some tracks and sections alone."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import TypeVar

from msgspec import UNSET

from mixwright.errors import SettingError, listed
from mixwright.model.arrangement import Arrangement
from mixwright.model.hearing import HeardLayer, HeardSection, HearingResult
from mixwright.model.results import MeasureResult, SectionLevel, TrackLevels
from mixwright.model.song import changed

R = TypeVar("R", SectionLevel, HeardSection)


def told(result: MeasureResult, tracks: Sequence[str] = (), sections: Sequence[str] = ()) -> MeasureResult:
    """Return what was measured of some tracks (by the id of track or source, or by name) and sections; all if none.

    Figures of the whole song stay, of the mix and of the layers. Every track has the bands and takers of the layer that
    it reads as.

    Raises
    ------
    SettingError
        where no track or section is called so
    """
    known = {name: track.source for track in result.tracks for name in (track.id, track.source, track.name)}
    layers = result.hearing.layers if result.hearing else ()
    known |= layer_ids(layers)
    names = [section.name for section in result.sections]
    check_known(tracks, known, "track")
    check_known(sections, names, "section")
    rows = {known[track] for track in tracks} or set(known.values())
    parts = set(sections) or {*names, ""}
    layer_of = {track: layer for layer in layers for track in layer.tracks}
    single = {track.id for track in result.tracks if track.id in tracks or track.name in tracks}
    return changed(
        result,
        tracks=tuple(
            changed(_with_bands(track, layer_of.get(track.id)), sections=_named(track.sections, parts))
            for track in result.tracks
            if track.source in rows and (not single or track.id in single or track.source in tracks)
        ),
        sections=tuple(section for section in result.sections if section.name in parts),
        hearing=None if result.hearing is None else _heard(result.hearing, result, rows, parts),
    )


def document_of(result: MeasureResult) -> MeasureResult:
    """Return the result as its document says it: the line that is followed and the findings first, and once."""
    if result.hearing is None:
        return result
    heard = result.hearing
    lines = {"voice_line": heard.voice_line, "findings": heard.findings, "grew": heard.grew}
    left_out = dict.fromkeys([*lines, "stretches", "heard_by", "other_layers"], UNSET)
    return changed(result, **lines, hearing=changed(heard, **left_out))


def _with_bands(track: TrackLevels, layer: HeardLayer | None) -> TrackLevels:
    return track if layer is None else changed(track, bands=layer.bands, taken_by=layer.taken_by)


def _heard(
    hearing: HearingResult, result: MeasureResult, rows: Collection[str], parts: Collection[str]
) -> HearingResult:
    spans = [(part.start_s, part.end_s) for part in result.sections if part.name in parts]

    def inside(middle_s: float) -> bool:
        return not spans or any(first <= middle_s < end for first, end in spans)

    every = len(spans) == len(result.sections)
    return changed(
        hearing,
        layers=tuple(
            changed(layer, sections=_named(layer.sections, parts)) for layer in hearing.layers if layer.id in rows
        ),
        other_layers={layer.id: layer.name for layer in hearing.layers if layer.id not in rows},
        phrases=tuple(
            one for one in hearing.phrases if one.layer in rows and (every or inside((one.start_s + one.end_s) / 2))
        ),
        voice_line=tuple(one for one in hearing.voice_line if one.track in rows and (every or one.section in parts)),
        # What is told over the whole song, without a section, is told of each.
        findings=tuple(one for one in hearing.findings if one.track in rows and (every or one.section in {*parts, ""})),
        grew=tuple(one for one in hearing.grew if one.track in rows and (every or one.section in parts)),
        arrangement=_arranged(hearing.arrangement, rows, parts, all(layer.id in rows for layer in hearing.layers)),
    )


def _arranged(found: Arrangement, rows: Collection[str], parts: Collection[str], all_rows: bool) -> Arrangement:
    """Return what is told of some rows in some sections; what all layers leave open is told of all of them alone."""

    def ours(layers: Sequence[str]) -> bool:
        return all_rows or any(layer in rows for layer in layers)

    return changed(
        found,
        sections=tuple(name for name in found.sections if name in parts),
        motion=tuple(one for one in found.motion if one.layer in rows and one.section in parts),
        shared=tuple(one for one in found.shared if ours(one.layers) and one.section in parts),
        holes=tuple(one for one in found.holes if all_rows and one.section in parts),
        missing=tuple(one for one in found.missing if ours(one.done_by) and one.section in parts),
        never_heard=tuple(one for one in found.never_heard if one.layer in rows),
        twins=tuple(one for one in found.twins if ours(one.layers)),
    )


def _named(records: Iterable[R], names: Collection[str]) -> tuple[R, ...]:
    return tuple(one for one in records if one.name in names)


def layer_ids(layers: Sequence[HeardLayer]) -> dict[str, str]:
    """Return the ids of layers by all that they may be called: ids and names, and ids of their tracks."""
    return {name: layer.id for layer in layers for name in (*layer.tracks, layer.name, layer.id)}


def check_known(wanted: Sequence[str], known: Collection[str], what: str, option: str = "") -> None:
    """Check names that were given with an option, by default the one called as they are.

    Raises
    ------
    SettingError
        for the first that is not known
    """
    for name in wanted:
        if name not in known:
            hint = f"known: {listed(sorted(set(known)), 12)}" if known else f"the song has no {what} yet"
            raise SettingError(f"no {what} is called {name!r}", where=f"--{option or what}", hint=hint)
