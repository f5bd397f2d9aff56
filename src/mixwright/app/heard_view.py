# SPDX-License-Identifier: Apache-2.0
"""How the page shows a song as it was last heard: its line, its findings, and who covers whom in one of them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

from mixwright.app.scene import sounding_hash
from mixwright.errors import SettingError, StateError, printable
from mixwright.io.kept import read_kept, read_lanes
from mixwright.io.song_file import load_version
from mixwright.model.hearing import HeardBand, HeardLayer, HearingResult, TakenBy
from mixwright.model.known import names_of
from mixwright.model.ledger import Finding
from mixwright.model.ranges import Range
from mixwright.model.record import Record
from mixwright.model.results import MeasureResult, PlanResult, StartResult
from mixwright.model.song_view import CoveredRow, FindingView, Heard, ViewedFinding, ViewedLine, ViewedPhrase
from mixwright.report.findings import finding_place, finding_size, findings_sentence
from mixwright.report.heard import circumstances, layer_names
from mixwright.report.smallest_fix import answers, move_words, phrase_fix
from mixwright.report.voice_line import Line, level_sentence, line_sentence, lines_of, phrase_sentence, short_phrases

R = TypeVar("R", bound=Record)

#: The whole range, for a finding about a layer as a whole.
_EVERYTHING_HZ = (0.0, 1e6)


class Kept:
    """A song and what its commands kept, as far as it can be read; `problems` tells the rest."""

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        self.problems: list[str] = []
        self.song, self.version = load_version(self.folder)
        self.intake = self._read("intake", StartResult)
        self.measure = self._read("measure", MeasureResult)
        self.plan = self._read("plan", PlanResult)

    def _read(self, name: str, type_: type[R]) -> R | None:
        try:
            return read_kept(self.folder, name, type_)
        except StateError as error:
            self.problems.append(str(error))
            return None


def heard_view(kept: Kept, places: Sequence[tuple[str, str]]) -> Heard | None:
    """Return how a song was last heard, None where it was not yet; `places`: of its layers as it has them now."""
    measure, hearing = kept.measure, kept.measure.hearing if kept.measure else None
    if measure is None or hearing is None:
        return None
    names = layer_names(hearing)
    return Heard(
        outdated=_outdated(kept, measure, hearing, dict(places)),
        circumstances=circumstances(hearing),
        integrated_lufs=measure.mix.integrated_lufs,
        true_peak_dbtp=measure.mix.true_peak_dbtp,
        guessed=hearing.followed_by_guess,
        lines=tuple(_line(line, kept, hearing, names) for line in lines_of(hearing)),
        interval=hearing.voice_interval,
        findings=tuple(_viewed(finding, names) for finding in hearing.findings),
        told=findings_sentence(hearing),
    )


def finding_view(folder: Path, id_: str) -> FindingView:
    """Return who covers whom where a finding of the last measure lies.

    Raises
    ------
    SettingError
        where no finding has that id
    StateError
        where nothing was measured yet
    """
    kept = Kept(folder)
    hearing = kept.measure.hearing if kept.measure else None
    if hearing is None:
        raise StateError("nothing was measured yet", where=printable(folder), hint="run measure first")
    finding = next((one for one in hearing.findings if one.id == id_), None)
    if finding is None:
        raise SettingError(f"no finding has the id {printable(id_)!r}", hint="it may be mended: look at the song anew")
    names = layer_names(hearing)
    band_hz = finding.band_hz or _EVERYTHING_HZ
    rows = sorted(
        filter(None, (_covered(layer, finding.section, band_hz) for layer in hearing.layers)),
        key=lambda row: -row.alone_sone,
    )
    told = {**names_of(kept.song), **names}
    return FindingView(
        finding=_viewed(finding, names),
        band_hz=_told_band(hearing, band_hz),
        rows=tuple(rows),
        takes={one.track: one.fraction for one in finding.caused_by},
        fix=tuple(move_words(move, told) for move in answers(kept.plan, {finding.id})),
    )


def _outdated(kept: Kept, measure: MeasureResult, hearing: HearingResult, places: dict[str, str]) -> str:
    song = kept.song
    try:
        sounding = sounding_hash(song, read_lanes(kept.folder, song.automation))
    except StateError as error:
        return str(error)
    if measure.sounding and measure.sounding != sounding:
        return "What sounds was changed since: measure again."
    if any(places.get(layer.id, layer.place) != layer.place for layer in hearing.layers if layer.tracks):
        return "Places were changed since: what is outside tolerance may have moved. Measure again."
    if song.lead and hearing.followed_by_guess:
        return "Who is followed was confirmed since: measure again."
    return ""


def _line(line: Line, kept: Kept, hearing: HearingResult, names: dict[str, str]) -> ViewedLine:
    told = {**names_of(kept.song), **names}
    ranks = {(one.start_s, one.end_s): rank for rank, one in enumerate(short_phrases(line.phrases), 1)}
    interval = hearing.voice_interval
    return ViewedLine(
        layer=line.layer,
        name=names.get(line.layer, line.layer),
        told=line_sentence(line, names),
        beside="" if interval is None else level_sentence(line, interval, names),
        phrases=tuple(
            ViewedPhrase(
                start_s=one.start_s,
                end_s=one.end_s,
                section=one.section,
                margin_db=one.margin_db,
                rise_db=one.rise_db,
                re_mix_lu=one.re_mix_lu,
                taken_by=one.taken_by,
                told=phrase_sentence(one, names),
                fix=phrase_fix(one, hearing.findings, kept.plan, told),
                worst=ranks.get((one.start_s, one.end_s)),
            )
            for one in line.phrases
        ),
    )


def _viewed(finding: Finding, names: dict[str, str]) -> ViewedFinding:
    return ViewedFinding(
        id=finding.id,
        kind=finding.kind,
        track=finding.track,
        section=finding.section,
        start_s=finding.start_s,
        end_s=finding.end_s,
        band_hz=finding.band_hz,
        excess_db=finding.excess_db,
        caused_by=finding.caused_by,
        verdict=finding.verdict,
        where=finding_place(finding, names),
        told=finding_size(finding, names),
    )


def _covered(layer: HeardLayer, section: str, band_hz: tuple[float, float]) -> CoveredRow | None:
    """Return how loud a layer is in a section and band, None where it does not sound there."""
    part = next((one for one in layer.sections if one.name == section), None)
    bands = _within(layer.bands if not section else part.bands if part else (), band_hz)
    alone = sum(band.alone_sone for band in bands)
    if alone <= 0.0:
        return None
    lost: dict[str, float] = {}
    for band in bands:
        for one in band.taken_by:
            weight = max(band.alone_sone - (band.in_mix_sone.cued or 0.0), 0.0)
            lost[one.track] = lost.get(one.track, 0.0) + one.fraction * weight
    total = sum(lost.values())
    taken = sorted(lost.items(), key=lambda one: -one[1]) if total > 0.0 else []
    return CoveredRow(
        id=layer.id,
        name=layer.name,
        alone_sone=alone,
        in_mix_sone=Range(
            cued=sum(band.in_mix_sone.cued or 0.0 for band in bands),
            strict=sum(band.in_mix_sone.strict or 0.0 for band in bands),
        ),
        taken_by=tuple(TakenBy(track=track, fraction=part_ / total) for track, part_ in taken),
    )


def _within(bands: Sequence[HeardBand], band_hz: tuple[float, float]) -> list[HeardBand]:
    """Return the bands that lie in a band, at least by half of their width."""
    low, high = band_hz
    return [
        band for band in bands if 2.0 * (min(high, band.high_hz) - max(low, band.low_hz)) >= band.high_hz - band.low_hz
    ]


def _told_band(hearing: HearingResult, band_hz: tuple[float, float]) -> tuple[float, float]:
    """Return the edges of the bands that are told together."""
    bands = _within(next((layer.bands for layer in hearing.layers if layer.bands), ()), band_hz)
    return (bands[0].low_hz, bands[-1].high_hz) if bands else band_hz
