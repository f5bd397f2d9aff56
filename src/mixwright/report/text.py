# SPDX-License-Identifier: Apache-2.0
"""Results in short sentences and aligned rows, each ending with the command that comes next."""

from __future__ import annotations

import shlex
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from mixwright.model.levels import Levels
from mixwright.model.results import (
    CleanResult,
    DecideResult,
    MeasureResult,
    MixResult,
    PlannedMove,
    PlanResult,
    RefreshResult,
    RelinkResult,
    StartResult,
    TourResult,
    TrackIntake,
)
from mixwright.model.settled import SettleResult
from mixwright.model.undone import RedoResult, UndoResult
from mixwright.report.arranged import arrangement_lines
from mixwright.report.figures import capital, clock, count, depth, number, rate, settings, size, with_unit
from mixwright.report.findings import finding_place
from mixwright.report.heard import heard_lines
from mixwright.report.ledger_lines import ledger_lines
from mixwright.report.move_sentences import total_cost
from mixwright.report.phrases import phrase_lines
from mixwright.report.rows import rows, wrapped
from mixwright.report.sentences import (
    before_after,
    dynamics_sentences,
    fault_sentence,
    good_to_know,
    intake_counts,
    left_aside,
    outside,
    print_fit_sentence,
    send_sentence,
    sorted_intake,
    spread_sentence,
)

#: What becomes of findings, in the order in which a plan tells it; so many of each are named.
_VERDICTS = (
    ("mended", "Brought inside their tolerance, the model expects"),
    ("outside", "Stays outside tolerance"),
    ("left as is", "Left as it is by you"),
)
_MOST_FOUND = 6


def start_text(result: StartResult) -> list[str]:
    """Return what intake understood."""
    lines = [
        f"{result.title}: {count(len(result.tracks), 'track')}, {clock(result.duration_s)}, {rate(result.rate_hz)}"
        + (f", {result.tempo_bpm:g} BPM" if result.tempo_bpm else "")
        + ".",
        intake_counts(result),
        *_sorted(result.tracks),
        *_listed("Beside the tracks", filter(None, (*result.notes, left_aside(result)))),
        *_track_rows(result.tracks),
    ]
    if result.sections:
        parts = ", ".join(f"{section.name} {clock(section.start_s)}" for section in result.sections)
        lines += ["", f"Sections: {parts}."]
    lines += _listed(
        "Read as one layer",
        (f"{source.name}: {', '.join(source.tracks)} ({'; '.join(source.reasons)})" for source in result.sources),
    )
    lines += _listed("Ask the artist", result.questions)
    lead = f"--lead auto   (takes {result.lead_guess})" if result.lead_guess else "--lead ID   (who carries the song?)"
    return lines + _next(f"mixwright plan {_quoted(result.folder)} {lead}")


def measure_text(result: MeasureResult) -> list[str]:
    """Return the voice line and what lies outside tolerance, then levels of the mix and its layers, loudest first."""
    lines = [
        *ledger_lines(result.hearing),
        "The mix as it stands:",
        *level_lines(result.mix),
        *dynamics_sentences(result.dynamics),
    ]
    if result.print_fit is not None:
        lines.append(print_fit_sentence(result.print_fit))
    lines += result.notes
    lines += _listed("Sends, return beside what feeds it", (send_sentence(send) for send in result.sends))
    lines += ["", "Layers, loudness beside the mix:"]
    ordered = sorted(result.tracks, key=lambda t: -1e9 if t.re_mix_lu is None else t.re_mix_lu, reverse=True)
    body = []
    for track in ordered:
        spread = track.spread
        where = f"{number(spread.low)} to {number(spread.high)}" if spread else "-"
        figures = (with_unit(track.re_mix_lu, "LU"), where, with_unit(track.integrated_lufs, "LUFS"))
        body.append((track.id, track.role, track.place, *figures, outside(track)))
    head = ("id", "role", "place", "re mix", "engineers hold", "alone", "")
    lines += rows(head, body, right="345") + heard_lines(result.hearing) + phrase_lines(result.hearing)
    return lines + arrangement_lines(result.hearing)


def plan_text(result: PlanResult, song: str) -> list[str]:
    """Return the proposed moves, with why and what fails without each."""
    lines = [f"Lead: {', '.join(result.lead)}."]
    lines += result.notes
    proposed = [move for move in result.moves if move.state == "proposed"]
    lines += ["", capital(f"{count(len(proposed), 'move')} proposed.")]
    for move in result.moves:
        lines += _move(move)
    for verdict, title in _VERDICTS:
        found = [finding_place(one, result.names) for one in result.findings if one.verdict == verdict]
        more = [f"and {len(found) - _MOST_FOUND} more"] if len(found) > _MOST_FOUND else []
        lines += _listed(title, [*found[:_MOST_FOUND], *more])
    lines += _listed("Left as is", result.left_as_is)
    if not proposed:
        return lines + _next(f"mixwright mix {_quoted(song)}")
    return lines + _next(
        f"mixwright accept {_quoted(song)} {proposed[0].id}", f"mixwright accept {_quoted(song)} --all"
    )


def accept_text(result: DecideResult, song: str) -> list[str]:
    """Return the accepted moves with their total cost."""
    lines = [line for move in result.moves for line in _move(move)]
    if len(result.moves) > 1:
        lines += ["", *total_cost(result.moves)]
    return [*lines, *_decided(result, song)]


def decide_text(result: DecideResult, song: str) -> list[str]:
    """Return the moves that changed, with their new state."""
    return [*(line for move in result.moves for line in _move(move)), *_decided(result, song)]


def settle_text(result: SettleResult, song: str) -> list[str]:
    """Return the moves that are in the strips now, and those that stay, with the reason."""
    lines = [capital(f"{count(len(result.settled), 'move')} written into the strips; the mix stays as it is.")]
    lines += _listed("Settled", (move.id for move in result.settled))
    lines += _listed("Stay moves", (f"{one.id}: {one.why}" for one in result.stays))
    return lines + _counted(result.song_moves, result.notes, song)


def undo_text(result: UndoResult) -> list[str]:
    """Return what was taken back."""
    left = f"{count(result.remaining, 'step')} before it can be taken back, too."
    return [f"Taken back: {result.undone}.", capital(left)]


def redo_text(result: RedoResult) -> list[str]:
    """Return what was made again."""
    left = f"{count(result.remaining, 'step')} after it can be made again, too."
    return [f"Made again: {result.redone}.", capital(left)]


def mix_text(result: MixResult, song: str, file: str) -> list[str]:
    """Return where the mix is, as seen from here, and what it measures."""
    moves = count(len(result.moves), "accepted move")
    lines = [
        f"{file}:",
        f"{clock(result.frames / result.rate_hz)}, {rate(result.rate_hz)}, {depth(result.sample_format)}, {moves}.",
        *([f"Only {', '.join(result.solo)}, as in the mix."] if result.solo else ()),
        *([f"Without {', '.join(result.mute)}, all else as in the mix."] if result.mute else ()),
        *level_lines(result.levels),
        *dynamics_sentences(result.dynamics),
        *result.notes,
    ]
    return lines + _next(f"mixwright deliver {_quoted(song)}")


def clean_text(result: CleanResult) -> list[str]:
    """Return what the cache was freed of, and what remains."""
    in_use = f", {size(result.in_use_bytes)} of it in use by a running command" if result.in_use_bytes else ""
    lines = [
        f"{size(result.freed_bytes)} freed from {result.folder}.",
        f"{size(result.remaining_bytes)} remain{in_use}; up to {size(result.budget_bytes)} may.",
    ]
    if result.released_bytes:
        lines.append(f"{size(result.released_bytes)} of what bounces superseded are released.")
    if result.left_alone:
        lines.append(f"{count(result.left_alone, 'file')} there not as written by mixwright, and left alone.")
    return lines


def relink_text(result: RelinkResult, song: str) -> list[str]:
    """Return what was found, and what is still missing."""
    if not result.found and not result.missing:
        return ["Every file is where the song says."]
    counts = f"{count(len(result.found), 'file')} found, {len(result.missing) or 'none'} still missing"
    lines = [f"Looked in {result.folder}: {counts}."]
    lines += _listed("Found", (f"{moved.id}: {moved.was} is now {moved.file}" for moved in result.found))
    lines += _listed("Still missing", (f"{lost.id}: {lost.file}: {lost.why}" for lost in result.missing))
    return lines + (_next(f"mixwright relink {_quoted(song)} FOLDER   (another one)") if result.missing else [])


def refresh_text(result: RefreshResult, song: str) -> list[str]:
    """Return the new tracks, and what else is not as it was."""
    lines = [capital(f"{count(len(result.added), 'new track')}.")]
    lines += [*_sorted(result.added), *_track_rows(result.added)]
    lines += _listed("Bounces", (bounce.told for bounce in result.taken))
    lines += _listed(
        f"Changed since received, and not taken (mixwright refresh {_quoted(song)} --take takes it)",
        (f"{track.id}: {track.file}" for track in result.changed),
    )
    lines += _listed("Holds what a track holds, and not added", (f"{c.file}: {c.id}" for c in result.copies))
    lines += _listed("Missing", (f"{track.id}: {track.file}" for track in result.missing))
    lines += _listed("To decide", result.notes)
    lines += _listed("Ask the artist", result.questions)
    if result.missing:
        return lines + _next(f"mixwright relink {_quoted(song)} FOLDER")
    if result.taken and not result.added:
        return lines + _next(f"mixwright measure {_quoted(song)}")
    return lines + (_next(f"mixwright plan {_quoted(song)}") if result.added else [])


def tour_text(result: TourResult) -> list[str]:
    """Return where the tour left its results, and what to try first."""
    song, tried = _quoted(result.song), []
    if result.proposed:
        waiting = count(len(result.proposed), "move waits to be decided", "moves wait to be decided")
        tried = [
            f"mixwright accept {song} {result.proposed[0]}   ({waiting})",
            f"mixwright prove {song} {result.proposed[0]}   (what it does, and costs)",
        ]
    return [
        f"The demo song is invented; all of it was made here in {result.seconds:.0f} s.",
        *rows(
            ("", ""),
            [
                ("page", result.page),
                ("mix", result.mix),
                *(("preview", file) for file in result.previews),
                ("prints", result.prints),
                ("song", result.song),
            ],
        ),
        *_next(f"open {_quoted(result.page)} in a browser", f"mixwright measure {song}", *tried),
        "Start listening at a low level.",
    ]


def _sorted(tracks: Sequence[TrackIntake]) -> list[str]:
    """Return what is to be known of the tracks: first those that cannot be used, then those that need a look."""
    found = sorted_intake(tracks)
    lines: list[str] = []
    for title, faulty, weight in (
        ("Cannot be used", found.unusable, "unusable"),
        ("Needs a look" if len(found.look) == 1 else "Need a look", found.look, "look"),
    ):
        told = (f"{t.file}: {fault_sentence(fault)}" for t in faulty for fault in t.faults if fault.severity == weight)
        lines += _listed(title, told)
    lines += _listed("Left out", (f"{track.file}: {track.why}" for track in found.left_out))
    return lines + _listed("Good to know", good_to_know(tracks))


def _track_rows(tracks: Sequence[TrackIntake]) -> list[str]:
    head = ("id", "role", "sure", "place", "group", "starts", "length", "file")
    return ["", *rows(head, [_track_row(track) for track in tracks], right="256")] if tracks else []


def _track_row(track: TrackIntake) -> tuple[str, ...]:
    length = "-" if track.duration_s is None else clock(track.duration_s)
    sure = f"{100 * track.role_confidence:.0f} %"
    place = track.place if track.use else "left out"
    starts = clock(track.start_s, tenths=True)
    return (track.id, track.role, sure, place, track.group or "-", starts, length, track.file)


def level_lines(levels: Levels) -> list[str]:
    """Return the levels of a piece of audio in aligned rows."""
    peak = levels.true_peak_dbtp
    body = [
        ("loudness", with_unit(levels.integrated_lufs, "LUFS"), "integrated"),
        ("", with_unit(levels.short_term_max_lufs, "LUFS"), "largest short-term"),
        ("range", with_unit(levels.loudness_range_lu, "LU"), ""),
        ("true peak", with_unit(peak, "dBTP"), "above full scale" if peak is not None and peak > 0 else ""),
        ("peak to loudness", with_unit(levels.plr_db, "dB"), ""),
    ]
    if levels.correlation is not None:
        body.append(("correlation", number(levels.correlation, 2), "left and right"))
    return rows(("", "", ""), body, right="1")


def _move(move: PlannedMove) -> list[str]:
    parts = f" in {', '.join(move.sections)}" if move.sections else ""
    strength = "" if move.strength >= 1 else f", strength {move.strength:g}"
    told = [move.reason, *(f"{capital(figure)}." for figure in before_after(move))]
    told += [f"{spread_sentence(move.spread)} Source: {move.spread.source}."] if move.spread else []
    told += [move.without_it, *(f"Costs: {cost}" for cost in move.costs)]
    other = f" under {move.key}" if move.key else f" to {move.send}" if move.send else ""
    does = f"    {move.target}{other}{parts}: {settings(move.settings)}."
    head = ["", f"  {move.id}   {move.state}{strength}", does]
    return [*head, *(line for sentence in told if sentence for line in wrapped(sentence, "    ", "      "))]


def _decided(result: DecideResult, song: str) -> list[str]:
    return _counted(result.song_moves, result.notes, song)


def _counted(song_moves: Mapping[str, int], notes: Iterable[str], song: str) -> list[str]:
    states = Counter(song_moves)
    counted = ", ".join(f"{states[state]} {state}" for state in ("proposed", "accepted", "refused"))
    prove = [f"mixwright prove {_quoted(song)}   (what each accepted move does)"] if states["accepted"] else []
    return ["", *notes, f"Moves of the song: {counted}.", *_next(*prove, f"mixwright mix {_quoted(song)}")]


def _listed(title: str, items: Iterable[str]) -> list[str]:
    told = [f"  {item}" for item in items]
    return ["", f"{title}:", *told] if told else []


def _next(*commands: str) -> list[str]:
    return ["", "Next:", *(f"  {command}" for command in commands)]


def _within(song: str, path: str) -> str:
    """Return a path in the song folder as seen from here; an absolute path stays."""
    return str(Path(song) / path)


def _quoted(path: str) -> str:
    return shlex.quote(path)
