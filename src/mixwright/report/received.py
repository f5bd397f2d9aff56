# SPDX-License-Identifier: Apache-2.0
"""The received tracks on the page."""

from __future__ import annotations

from mixwright.model.results import StartResult, TrackIntake
from mixwright.report.figures import clock, count
from mixwright.report.markup import Markup, element, together
from mixwright.report.sentences import fault_sentence, intake_counts, left_aside, sorted_intake

_WEIGHT = {"note": "good to know", "look": "needs a look", "unusable": "cannot be used"}


def received(intake: StartResult | None) -> Markup | None:
    """Return what intake found: faults first, what to ask the artist, and every track folded away."""
    if intake is None:
        return None
    found = sorted_intake(intake.tracks)
    lists = []
    look = "Needs a look" if len(found.look) == 1 else "Need a look"
    for title, tracks in (("Cannot be used", found.unusable), (look, found.look)):
        if tracks:
            lists += [element("h3", title), element("ul", [_faulty(track) for track in tracks])]
    left = [element("li", element("b", track.file), f": {track.why}.") for track in found.left_out]
    lists += [element("h3", "Left out"), element("ul", left)] if left else []
    questions = [element("li", question) for question in intake.questions]
    asked = [element("h3", "Ask the artist"), element("ul", questions)] if questions else []
    head = element(
        "tr",
        [element("th", text, scope="col") for text in ("Track", "File", "Role", "Place", "Starts", "Length", "Faults")],
    )
    body = element("tbody", [_track_row(track) for track in intake.tracks])
    table = element("table", element("thead", head), body)
    scroll = element("div", table, class_="scroll", tabindex="0", role="region", aria_label="All tracks")
    all_tracks = element("details", element("summary", f"All {count(len(intake.tracks), 'track')}"), scroll)
    files = {track.id: track.file for track in intake.tracks}
    read = [
        element("li", element("b", source.name), ": ", ", ".join(files.get(t, t) for t in source.tracks), f" ({why}).")
        for source in intake.sources
        if (why := "; ".join(source.reasons) or "by name")
    ]
    layers = [element("h3", "Read as one layer"), element("ul", read)] if read else []
    beside = [element("li", note) for note in (*intake.notes, left_aside(intake)) if note]
    lists += [element("h3", "Beside the tracks"), element("ul", beside)] if beside else []
    return together(element("p", intake_counts(intake)), lists, asked, layers, all_tracks)


def _faulty(track: TrackIntake) -> Markup:
    faults = [fault for fault in track.faults if fault.severity != "note"]
    return element("li", element("b", track.file), ": ", "; ".join(fault_sentence(fault) for fault in faults), ".")


def _track_row(track: TrackIntake) -> Markup:
    faults = "; ".join(f"{fault_sentence(fault)}, {_WEIGHT[fault.severity]}" for fault in track.faults) or "none"
    length = "-" if track.duration_s is None else clock(track.duration_s)
    sure = f"{track.role} ({100 * track.role_confidence:.0f} % sure)"
    place = track.place if track.use else f"left out{': ' if track.why else ''}{track.why}"
    cells = (track.file, sure, place, clock(track.start_s, tenths=True), length, faults)
    return element("tr", element("th", track.id, scope="row"), [element("td", cell) for cell in cells])
