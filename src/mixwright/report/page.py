# SPDX-License-Identifier: Apache-2.0
"""The page of a song: one file, no scripts, nothing loaded from anywhere."""

from __future__ import annotations

import base64
import hashlib
import shlex
from collections.abc import Sequence
from typing import NamedTuple

from mixwright.model.comparison import CompareResult
from mixwright.model.known import names_of
from mixwright.model.preview import PreviewResult
from mixwright.model.prints import DeliverResult
from mixwright.model.receipts import ProveResult
from mixwright.model.results import (
    MeasureResult,
    MixResult,
    PlanResult,
    StartResult,
)
from mixwright.model.song import Song, used_tracks
from mixwright.report.compared_rows import beside_references
from mixwright.report.figures import clock, count, rate, with_unit
from mixwright.report.finished import mixed, printed
from mixwright.report.hearing_parts import hearing_parts, hearing_sentences
from mixwright.report.level_rows import level_rows, levels_sentence
from mixwright.report.markup import Markup, element, marked, together
from mixwright.report.move_cards import move_cards
from mixwright.report.preview import loud_caution, preview_card
from mixwright.report.receipts import proved_sentence
from mixwright.report.received import received
from mixwright.report.sentences import intake_counts, print_fit_sentence, send_sentence
from mixwright.report.spectrum import bands_of, spectrum_picture, spectrum_sentence, spectrum_table
from mixwright.report.style import STYLE
from mixwright.report.tables import scrolled
from mixwright.report.warnings import failed_checks, warnings_of
from mixwright.version import __version__


def song_page(
    song: Song,
    intake: StartResult | None = None,
    measure: MeasureResult | None = None,
    plan: PlanResult | None = None,
    mix: MixResult | None = None,
    deliver: DeliverResult | None = None,
    *,
    preview: PreviewResult | None = None,
    receipts: ProveResult | None = None,
    compared: CompareResult | None = None,
    folder: str = "SONG",
    unread: Sequence[str] = (),
    sounding: str = "",
) -> str:
    """Return the page of a song as one self-contained HTML document.

    Parameters
    ----------
    song : Song
        The song as it stands.
    intake, measure, plan, mix, deliver : results, optional
        What the commands found; a part without a result is left out and the page says which command makes it.
    preview : PreviewResult, optional
        The last preview, and what it cost.
    receipts : ProveResult, optional
        What accepted moves were found to do.
    compared : CompareResult, optional
        Where the mix stands beside its references.
    folder : str
        The song folder as it is typed after a command.
    unread : sequence of str
        Kept results that could not be read, one sentence each.
    sounding : str
        Hash of what the song sounds like now; a result with another one is told to be out of date.

    Notes
    -----
    The policy in the head forbids scripts and every request; the style is allowed by its hash. All text of the song
    is escaped. Equal data give equal bytes.
    """
    changed = Changed(song, sounding)
    heard = {name: together(_before(measure, changed), part) for name, part in hearing_parts(measure).items()}
    sections = [
        _section("voice", "The voice, phrase by phrase", heard.get("voice")),
        _section("findings", "Outside tolerance", heard.get("findings")),
        _section("grew", "Since the last measure", heard.get("grew")),
        _section("map", "Song map", heard.get("map")),
        _section("moves", "Moves", _moves(song, plan, measure, receipts, changed)),
        _section("arrangement", "Arrangement", heard.get("arrangement")),
        _section("covered", "Who covers whom", heard.get("covered")),
        _section("bands", "Band by band", heard.get("bands")),
        _section("levels", "Levels of the layers", _levels(measure, changed)),
        _section("heard", "Layers as heard", heard.get("heard")),
        _section("spectrum", "Spectrum of the mix", _spectrum(measure, changed)),
        _section("beside", "Beside the references", _beside(compared, changed)),
        _section("tracks", "Received tracks", received(intake)),
        _section("mix", "Mix", mixed(mix)),
        _section("preview", "Preview", _preview(preview, changed)),
        _section("prints", "Prints", printed(deliver)),
    ]
    present = [part for part in sections if part is not None]
    links = element("ul", [element("li", element("a", title, href=f"#{name}")) for name, title, _ in present])
    body = element(
        "body",
        element("a", "Skip to the content", href="#glance", class_="skip"),
        element(
            "header",
            element("h1", song.title),
            _lede(song, measure, intake),
            _next_step(song, measure, plan, mix, deliver, folder, changed),
        ),
        element("nav", links, aria_label="On this page"),
        element(
            "main",
            _glance(song, intake, measure, mix, preview, deliver, unread, changed),
            [content for _, _, content in present],
        ),
        _footer(),
    )
    return f'<!doctype html>\n<html lang="en">\n{_head(song.title)}\n{body}\n</html>\n'


class Changed(NamedTuple):
    """Tells which results are of an earlier state of the song."""

    song: Song
    sounding: str

    def since(self, sounding: str, moves: Sequence[str] | None = None) -> bool:
        """Tell whether the song sounds otherwise than a result knew it: by its hash, else by the accepted moves."""
        if sounding and self.sounding:
            return sounding != self.sounding
        return moves is not None and {m.id for m in self.song.moves if m.state == "accepted"} != set(moves)


_Part = tuple[str, str, Markup]


def _head(title: str) -> Markup:
    digest = base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    policy = f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    return element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", http_equiv="Content-Security-Policy", content=policy),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="referrer", content="no-referrer"),
        element("title", f"{title} - Mixwright"),
        element("style", Markup(STYLE)),
    )


def _section(name: str, title: str, content: Markup | None) -> _Part | None:
    if content is None:
        return None
    return name, title, element("section", element("h2", title), content, id=name)


def _lede(song: Song, measure: MeasureResult | None, intake: StartResult | None) -> Markup:
    length = measure.mix.duration_s if measure else intake.duration_s if intake else None
    names = names_of(song)
    used = used_tracks(song)
    groups = {track.group for track in used if track.group}
    facts = [f"By {song.artist}."] if song.artist else []
    long = f"{clock(length)} at " if length is not None else ""
    tempo = f", {song.tempo_bpm:g} BPM" if song.tempo_bpm else ""
    facts.append(f"{long}{rate(song.rate_hz)}{tempo}; {count(len(used), 'track')} in {count(len(groups), 'group')}.")
    if song.tracks_are == "as mixed":
        facts.append("The tracks are layers mixed elsewhere; faders stay at 0.")
    if song.lead:
        lead = ", ".join(names.get(lead, lead) for lead in song.lead)
        facts.append(f"{lead} {'carries' if len(song.lead) == 1 else 'carry'} it.")
    else:
        facts.append("Who carries it is not confirmed yet.")
    return element("p", " ".join(facts))


def _next_step(
    song: Song,
    measure: MeasureResult | None,
    plan: PlanResult | None,
    mix: MixResult | None,
    deliver: DeliverResult | None,
    folder: str,
    changed: Changed,
) -> Markup:
    """Return what to do now, as a sentence with the command."""
    told: tuple[str, str | None]
    here = shlex.quote(folder)
    proposed = sum(move.state == "proposed" for move in song.moves)
    if not song.lead or plan is None:
        confirm, lead = ("", "") if song.lead else ("confirm who carries the song and ", " --lead auto")
        told = (f"Next: {confirm}ask for a plan.", f"mixwright plan {here}{lead}")
    elif proposed:
        told = (f"Next: decide on {count(proposed, 'proposed move')}.", f"mixwright accept {here} --all")
    elif mix is None or changed.since(mix.sounding, mix.moves):
        told = ("Next: render the mix as decided.", f"mixwright mix {here}")
    elif measure is None or changed.since(measure.sounding, measure.moves):
        told = ("Next: measure the layers as they stand now.", f"mixwright measure {here}")
    elif deliver is None or changed.since(deliver.sounding):
        told = ("Next: print and check the deliverables.", f"mixwright deliver {here}")
    else:
        told = ("Everything is rendered and printed as decided.", None)
    sentence, command = told
    return element("p", sentence, together(" ", element("code", command)) if command else None, class_="next")


def _glance(
    song: Song,
    intake: StartResult | None,
    measure: MeasureResult | None,
    mix: MixResult | None,
    preview: PreviewResult | None,
    deliver: DeliverResult | None,
    unread: Sequence[str],
    changed: Changed,
) -> Markup:
    """Return the state of the song in a handful of sentences: first what asks for a look."""
    lines: list[Markup | str] = [marked(line) for line in unread]
    # Figures of an earlier state would be read as those of now: they stay out of the glance.
    stale = measure is not None and changed.since(measure.sounding, measure.moves)
    rendered = None if mix is None or changed.since(mix.sounding, mix.moves) else mix
    known = rendered if stale or measure is None else measure
    lines += [marked(warning) for warning in warnings_of(known)] if known else []
    if stale:
        lines.append(marked("The song was changed after its levels were measured: measure again."))
    if mix and not rendered:
        lines.append(marked("The song was changed after the last mix was rendered."))
    if preview and not changed.since(preview.sounding) and loud_caution(preview):
        lines.append(marked(f"The preview: {loud_caution(preview)}"))
    if deliver:
        failed, checks = len(failed_checks(deliver)), count(len(deliver.checks), "check")
        printed_files = f"{count(len(deliver.files), 'file')} printed; "
        lines += [marked(f"{printed_files}{failed} of {checks} failed.")] if failed else []
        lines += [marked("The song was changed after it was printed.")] if changed.since(deliver.sounding) else []
    lines += [f"Tracks: {intake_counts(intake)}"] if intake else []
    if measure and not stale:
        bands = bands_of(measure)
        lines.append(levels_sentence(measure))
        lines += hearing_sentences(measure.hearing)
        lines += [spectrum_sentence(measure, bands)] if measure.reference_spectrum and bands else []
    if known:
        levels = known.mix if isinstance(known, MeasureResult) else known.levels
        peak = with_unit(levels.true_peak_dbtp, "dBTP")
        lines.append(f"The mix as it stands: {with_unit(levels.integrated_lufs, 'LUFS')}, true peak {peak}.")
    states = [move.state for move in song.moves]
    if states:
        counted = [f"{states.count(state)} {state}" for state in ("proposed", "accepted", "refused")]
        lines.append(f"Moves: {', '.join(counted)}.")
    if deliver and not failed:
        lines.append(f"{printed_files}all {checks} hold.")
    items = [element("li", line) for line in lines]
    return element("ul", items, class_="glance", id="glance", aria_label="At a glance", tabindex="-1")


def _moves(
    song: Song,
    plan: PlanResult | None,
    measure: MeasureResult | None,
    receipts: ProveResult | None,
    changed: Changed,
) -> Markup | None:
    if not song.moves and plan is None:
        return None
    left = [element("li", line) for line in plan.left_as_is] if plan else []
    kept = None
    if left:
        title = f"Left as {'it is' if len(left) == 1 else 'they are'} ({len(left)})"
        kept = element("details", element("summary", title), element("ul", left))
    found = [element("p", line) for line in plan.notes] if plan else []
    told = proved_sentence(receipts, changed.sounding) if receipts is not None else ""
    found += [element("p", told)] if told else []
    none = element("p", "No moves: inside what is known, nothing asks for a change.") if not song.moves else None
    return together(found, none, move_cards(song, plan, measure, receipts, changed.sounding), kept)


def _preview(preview: PreviewResult | None, changed: Changed) -> Markup | None:
    if preview is None:
        return None
    stale = marked("The song was changed after this preview was made.") if changed.since(preview.sounding) else None
    return together(element("p", stale) if stale else None, preview_card(preview))


def _before(measure: MeasureResult | None, changed: Changed) -> Markup | None:
    """Return the warning above figures that are of an earlier state of the song."""
    if measure is None or not changed.since(measure.sounding, measure.moves):
        return None
    return element("p", marked("As it stood when it was measured, before the last change."))


def _levels(measure: MeasureResult | None, changed: Changed) -> Markup | None:
    if measure is None or not measure.tracks:
        return None
    note = "Loudness of each layer as it stands in the mix, minus the loudness of the mix. The bar is where engineers "
    note += "hold such a layer; a diamond stands outside it. Outside is a difference, not a fault."
    told = element("p", print_fit_sentence(measure.print_fit)) if measure.print_fit is not None else None
    return together(
        _before(measure, changed),
        element("p", levels_sentence(measure)),
        told,
        *(element("p", note) for note in measure.notes),
        level_rows(measure),
        element("p", note, class_="note"),
        *(element("p", send_sentence(send)) for send in measure.sends),
    )


def _spectrum(measure: MeasureResult | None, changed: Changed) -> Markup | None:
    bands = bands_of(measure) if measure else []
    if measure is None or not bands:
        return None
    note = "Thirds of an octave, level minus integrated loudness. A bar is what the references span in that band; "
    note += "a dot is the mix, a diamond where it lies outside. A difference may be meant."
    return together(
        _before(measure, changed),
        element("p", spectrum_sentence(measure, bands)),
        spectrum_picture(bands),
        element("p", note, class_="note"),
        element("details", element("summary", "The same in figures"), scrolled(spectrum_table(bands), "Bands")),
    )


def _beside(compared: CompareResult | None, changed: Changed) -> Markup | None:
    if compared is None:
        return None
    stale = changed.since(compared.sounding)
    before = element("p", marked("As it stood when it was compared, before the last change.")) if stale else None
    return together(before, beside_references(compared))


def _footer() -> Markup:
    told = f"Written by mixwright {__version__} from the results kept in this folder. Figures are measurements, not a "
    return element("footer", element("p", told + "score. Start listening at a low level."))
