# SPDX-License-Identifier: Apache-2.0
"""The parts of the page that tell how the song is heard, and their sentences at a glance."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.model.hearing import HearingResult
from mixwright.model.results import MeasureResult
from mixwright.model.song import Section
from mixwright.report.arranged_rows import arrangement_part
from mixwright.report.band_rows import bands_part
from mixwright.report.covered import covered_part
from mixwright.report.findings import findings_part, findings_sentence
from mixwright.report.grown import grown_part
from mixwright.report.heard import heard_sentence, layer_names
from mixwright.report.heard_rows import heard_part, share_by_section
from mixwright.report.markup import Markup, element, together
from mixwright.report.song_map import MAP_NOTE, song_map
from mixwright.report.timeline import time_scale
from mixwright.report.voice_line import line_sentence, lines_of, voice_part


def hearing_parts(measure: MeasureResult | None) -> dict[str, Markup]:
    """Return the parts by the names of their sections; what there is nothing to tell of is left out."""
    hearing = measure.hearing if measure is not None else None
    if measure is None or hearing is None:
        return {}
    sections, length_s = measure.sections, measure.mix.duration_s
    parts = {
        "voice": voice_part(hearing, sections, length_s),
        "findings": findings_part(hearing),
        "grew": grown_part(hearing),
        "map": _map_part(hearing, sections, length_s),
        "arrangement": arrangement_part(hearing, sections),
        "covered": covered_part(hearing),
        "bands": bands_part(hearing),
        "heard": heard_part(hearing) if hearing.layers else None,
    }
    return {name: part for name, part in parts.items() if part is not None}


def hearing_sentences(hearing: HearingResult | None) -> list[str]:
    """Return how the song is heard in a few sentences: the followed line, the lead, what lies outside tolerance."""
    if hearing is None or not hearing.layers:
        return []
    names = layer_names(hearing)
    lines = [*(line_sentence(line, names) for line in lines_of(hearing)), heard_sentence(hearing)]
    known = any(layer.share is not None for layer in hearing.layers)
    return [*lines, findings_sentence(hearing)] if known else lines


def _map_part(hearing: HearingResult, sections: Sequence[Section], length_s: float) -> Markup | None:
    if not any(layer.kept for layer in hearing.layers):
        return None
    scale = time_scale(max(length_s, *(part.end_s for part in sections), 0.0))
    note = element("p", MAP_NOTE, class_="note")
    return together(song_map(hearing, sections, scale), note, share_by_section(hearing))
