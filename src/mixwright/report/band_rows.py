# SPDX-License-Identifier: Apache-2.0
"""One layer against its maskers by band: for leads and layers with findings, over the song and in sections."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from mixwright.model.hearing import HeardBand, HeardLayer, HearingResult
from mixwright.model.ledger import Finding
from mixwright.report.covered import LEGEND, band_strips
from mixwright.report.figures import number
from mixwright.report.findings import outside_tolerance
from mixwright.report.heard import layer_names, place_word, takers_words
from mixwright.report.markup import Markup, element, together
from mixwright.report.strips import axis, strip_row
from mixwright.units import band_words

#: So many layers are drawn.
_MOST = 10


def bands_part(hearing: HearingResult) -> Markup | None:
    """Return a picture for every lead and every layer with findings; the first one open."""
    layers = band_layers(hearing)
    if not layers:
        return None
    names = layer_names(hearing)
    found = outside_tolerance(hearing)
    blocks = [
        _layer(layer, [one for one in found if one.track == layer.id], names, first=i == 0)
        for i, layer in enumerate(layers)
    ]
    note = f"{LEGEND} Over the song that is where the worst is found, in a section all that is. "
    note += "Bands that hold less than 1 % of a layer's loudness are left out."
    return together(blocks, element("p", note, class_="note"))


def band_layers(hearing: HearingResult) -> list[HeardLayer]:
    """Return the layers that are drawn band by band: the leads, then those with findings, furthest first."""
    by_id = {layer.id: layer for layer in hearing.layers if layer.bands}
    leads = [layer.id for layer in hearing.layers if layer.id in by_id and place_word(layer) == "lead"]
    found = [finding.track for finding in outside_tolerance(hearing) if finding.track in by_id]
    return [by_id[id_] for id_ in dict.fromkeys((*leads, *found))][:_MOST]


def _layer(layer: HeardLayer, findings: Sequence[Finding], names: Mapping[str, str], *, first: bool) -> Markup:
    whole = _drawn(layer.bands, names, bands_hz(findings[:1]))
    sections = [part for part in layer.sections if part.bands]
    told = {finding.section for finding in findings}
    if place_word(layer) != "lead":
        sections = [part for part in sections if part.name in told]
    inside = [
        element(
            "details",
            element("summary", f"{layer.name} in {part.name}", " ", _marked(part.name in told)),
            _drawn(part.bands, names, bands_hz(one for one in findings if one.section == part.name)),
        )
        for part in sections
    ]
    summary = element("summary", f"{layer.name} by band, over the song", " ", _marked(bool(findings)))
    most = element("p", bands_sentence(layer.bands, names))
    return element("details", summary, most, whole, inside, class_="by-band", open=first)


def bands_sentence(bands: Sequence[HeardBand], names: Mapping[str, str]) -> str:
    """Return in which band most is lost, and who takes it."""

    def lost(band: HeardBand) -> float:
        return band.alone_sone - (band.in_mix_sone.cued or 0.0)

    most = max(bands, key=lost)
    if lost(most) <= 0.0:
        return "Nothing is lost in any band."
    share = 100 * lost(most) / sum(map(lost, bands))
    told = f"Most is lost at {band_words(most.low_hz, most.high_hz)}, {share:.0f} % of the loss"
    taken = takers_words(most.taken_by, dict(names))
    return f"{told}; there it is taken by {taken}." if taken else f"{told}."


def _marked(told: bool) -> Markup | None:
    return element("b", "outside its tolerance", class_="off-mark") if told else None


def _drawn(bands: Sequence[HeardBand], names: Mapping[str, str], off_hz: Sequence[tuple[float, float]]) -> Markup:
    strips, scale = band_strips(bands, names, off_hz)
    labels = [number(tick, 2 if scale.high < 1 else 1 if scale.high < 6 else 0) for tick in scale.ticks]
    foot = element("div", element("span", "sone", class_="unit"), axis(scale, labels), class_="row band axis")
    rows = element("ul", [strip_row(strip, "band") for strip in strips], class_="rows")
    return element("div", rows, foot, class_="chart")


def bands_hz(findings: Iterable[Finding]) -> list[tuple[float, float]]:
    """Return the bands of findings that have one."""
    return [finding.band_hz for finding in findings if finding.band_hz is not None]
