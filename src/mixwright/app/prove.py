# SPDX-License-Identifier: Apache-2.0
"""Prove accepted moves: what each does when rendered, against what was predicted, what it costs, what fails without."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

from mixwright.app.decide import find_moves
from mixwright.app.keys import MEASURED_BY, RENDERED_BY
from mixwright.app.ledger import ledger_rows
from mixwright.app.listening import calibrated, followed, pinned
from mixwright.app.page import write_page
from mixwright.app.receipt import made, receipt_of
from mixwright.app.receipt_audio import Variant, without_move
from mixwright.app.receipt_hearing import Setting, SpanHeard
from mixwright.app.receipt_spans import LEAST_SPANS, MOST_SPANS, Purpose, Span, Worst, purpose_of
from mixwright.app.scene import sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.errors import SettingError, StateError, count, printable
from mixwright.hearing.places import WORKING_DB_SPL
from mixwright.io.kept import read_kept, read_lanes, write_kept
from mixwright.io.song_file import load_song
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.hearing import Listening
from mixwright.model.known import names_of
from mixwright.model.receipts import ProveResult, Receipt, ReceiptSpan, SpanLeftOut
from mixwright.model.record import Record
from mixwright.model.results import MeasureResult, PlanResult
from mixwright.model.song import MASTER, Move, Song, changed
from mixwright.planning.headroom import CEILING_DBTP

R = TypeVar("R", bound=Record)
_PROVED_BY = ("mixwright.hearing", "mixwright.ledger", "mixwright.app", *RENDERED_BY, *MEASURED_BY)


class _Measured(Record, frozen=True, kw_only=True):
    """What was heard of a move in a stretch, None where nothing sounds."""

    span: ReceiptSpan | None


def prove(
    song: Path, moves: Sequence[str] = (), *, report: Report = silent, cancel: Cancel | None = None
) -> ProveResult:
    """Hear the mix with all accepted moves and without each, at equal loudness, and return a receipt of each move.

    In every section that a move concerns the worst 20 s are rendered and heard: where the layer that it is made for
    loses most, else where what it moves sounds most. The receipts are kept in the song folder.

    Parameters
    ----------
    song : Path
        The song folder.
    moves : sequence of str
        Accepted moves, named as in `mixwright.accept`; all accepted moves if none is named.
    report, cancel
        Progress and the user's switch to stop; what is done by then is not done again.

    Raises
    ------
    SettingError
        when a move is not known, or not accepted
    InputError
        when a file cannot be used
    """
    folder = Path(song)
    now = load_song(folder)
    asked, sounding = _asked(now, moves), sounding_hash(now, read_lanes(folder, now.automation))
    if not asked:
        result = ProveResult(
            moves=(),
            listening_level_db_spl=WORKING_DB_SPL,
            notes=("No move is accepted, so there is nothing to prove: accept one, or add one of your own.",),
        )
    else:
        with open_song(folder, Making(mixes=len(asked) + 1), report=report, cancel=cancel) as session:
            result = changed(_prove(session, asked, sounding, report, cancel), sounding=sounding)
    earlier = kept_or_none(folder, "receipts", ProveResult)
    accepted = [move.id for move in load_song(folder).moves if move.state == "accepted"]
    new = {receipt.id: receipt for receipt in result.moves}
    old = {receipt.id: receipt for receipt in earlier.moves} if earlier is not None else {}
    known = {**old, **new}
    names = {**(earlier.names if earlier is not None else {}), **result.names}
    kept = changed(result, moves=tuple(known[id_] for id_ in accepted if id_ in known), names=names)
    write_kept(folder, "receipts", kept)
    write_page(folder)
    return result


def _asked(song: Song, names: Sequence[str]) -> list[Move]:
    """Return the accepted moves that are named, in the order of the song; all of them where none is."""
    accepted = [move for move in song.moves if move.state == "accepted"]
    if not names:
        return accepted
    chosen = set()
    for name in names:
        found = find_moves(song, name, "accepted")
        ids = {move.id for move in found if move.state == "accepted"}
        if not ids:
            states = {move.state for move in found}
            raise SettingError(
                f"{printable(found[0].id)} is {' and '.join(sorted(states))}, not accepted",
                hint=f"accept it first: mixwright accept SONG {printable(found[0].id)}",
            )
        chosen |= ids
    return [move for move in accepted if move.id in chosen]


def kept_or_none(folder: Path, name: str, type_: type[R]) -> R | None:
    """Return what a command kept, None where it kept nothing that can be read: receipts do not stand on it."""
    try:
        return read_kept(folder, name, type_)
    except StateError:
        return None


def _prove(
    session: Session, asked: Sequence[Move], sounding: str, report: Report, cancel: Cancel | None
) -> ProveResult:
    plan = kept_or_none(session.folder, "plan", PlanResult)
    measured = kept_or_none(session.folder, "measure", MeasureResult)
    song, whole = session.song, Variant(session)
    rows, follows = tuple(whole.rows.values()), followed(session)
    names = names_of(song) | {row.id: row.name for row in rows}
    level_db_spl, listening = heard_at(measured)
    lufs = calibrated_lufs(session, level_db_spl, report, cancel)
    planned = {one.id: one for one in plan.moves} if plan is not None else {}
    receipts: dict[str, Receipt] = {}
    work = _Work(session, whole, Worst(session, rows, measured), report, cancel)
    for move in asked:
        purpose = purpose_of(song, move, rows, follows, plan, measured)
        nothing = _nothing(session, whole, move, purpose, lufs)
        if nothing is not None:
            receipts[move.id] = changed(nothing, sounding=sounding)
        elif move.target == MASTER and song.master.limiter is None and not move.sections:
            receipts[move.id] = changed(_level_of_all(session, move, report, cancel), sounding=sounding)
        else:
            work.add(move, purpose, max(LEAST_SPANS, MOST_SPANS // len(asked)))
    if work.purposes and lufs is not None:
        setting = Setting(lufs, level_db_spl, listening, ledger_rows(song, rows, follows))
        for id_, (spans, left_out) in work.done(setting).items():
            move = next(one for one in asked if one.id == id_)
            receipts[id_] = receipt_of(move, planned.get(id_), work.purposes[id_], spans, left_out, names, sounding)
    return ProveResult(
        moves=tuple(receipts[move.id] for move in asked if move.id in receipts),
        listening_level_db_spl=level_db_spl,
        names={id_: names[id_] for id_ in sorted(_mentioned(receipts.values()) & names.keys())},
        notes=_notes(asked, work),
    )


def heard_at(measured: MeasureResult | None) -> tuple[float, Listening]:
    """Return at which level, and how, the song was measured last; else the level of work on headphones."""
    if measured is None or measured.hearing is None:
        return WORKING_DB_SPL, "headphones"
    return measured.hearing.listening_level_db_spl, measured.hearing.listening


def calibrated_lufs(session: Session, level_db_spl: float, report: Report, cancel: Cancel | None) -> float | None:
    """Return which loudness plays at the level: as calibrated last, else that of the mix; None of a silent one."""
    pin = pinned(session, level_db_spl)
    if pin is not None:
        return pin
    job = Job("measuring the mix", 1.0, report, cancel)
    found = session.measured(cancel=cancel)[0].integrated_lufs
    job.step()
    return None if found is None else calibrated(session, found, level_db_spl)


def _nothing(session: Session, whole: Variant, move: Move, purpose: Purpose, lufs: float | None) -> Receipt | None:
    """Return the receipt of a move that changes nothing, None of any other."""
    if lufs is None:
        return made(move, needed=None, why="The mix is silent or shorter than 0.4 s: nothing is heard of it.")
    if move.target != MASTER and not purpose.moved:
        return made(move, needed=False, why=f"Not needed: {move.target} no longer sounds, so it changes nothing.")
    if without_move(session, move.id).graph.identity() == whole.session.graph.identity():
        return made(move, needed=False, why="Not needed: as it is set it changes nothing.")
    return None


def _level_of_all(session: Session, move: Move, report: Report, cancel: Cancel | None) -> Receipt:
    """Return the receipt of a level of the whole mix, of which nothing but the peak is left at equal loudness."""
    job = Job("measuring the mix", 1.0, report, cancel)
    peak = session.measured(cancel=cancel)[0].true_peak_dbtp
    job.step()
    before = None if peak is None else round(peak - move.strength * move.settings.get("gain_db", 0.0), 2)
    needed = before is not None and before > CEILING_DBTP
    told = "" if before is None else f"without it the mix peaks at {before:+.1f} dBTP"
    same = "at equal loudness a level of the whole mix changes nothing else"
    why = f"{told[:1].upper()}{told[1:]}; {same}." if needed else f"Not needed: {told}; {same}."
    return made(
        move,
        measured={"true_peak_dbtp_before": before, "true_peak_dbtp_after": None if peak is None else round(peak, 2)},
        needed=needed,
        why=why,
        why_not_predicted="loudness is compared at equal loudness of the mix",
    )


class _Work:
    """The stretches to hear, each with the moves that concern it; what was heard is kept in the cache."""

    def __init__(self, session: Session, whole: Variant, worst: Worst, report: Report, cancel: Cancel | None) -> None:
        self._session, self._whole, self._worst = session, whole, worst
        self._report, self._cancel = report, cancel
        self.purposes: dict[str, Purpose] = {}
        self.left_out: dict[str, list[SpanLeftOut]] = {}
        self._spans: dict[Span, list[str]] = {}
        self._variants: dict[str, Variant] = {}

    def add(self, move: Move, purpose: Purpose, most: int) -> None:
        """Take a move on, to be heard in so many sections at most."""
        spans, left_out = self._worst.spans(move, purpose, most)
        self.purposes[move.id], self.left_out[move.id] = purpose, left_out
        for span in spans:
            self._spans.setdefault(span, []).append(move.id)

    def done(self, setting: Setting) -> dict[str, tuple[list[ReceiptSpan], list[SpanLeftOut]]]:
        """Hear all of it, stretch by stretch; what was heard before is not heard again."""
        job = Job("proving moves", sum(1 + len(ids) for ids in self._spans.values()) or 1, self._report, self._cancel)
        found: dict[str, list[ReceiptSpan]] = {id_: [] for id_ in self.purposes}
        for span in sorted(self._spans, key=lambda one: (one.stretch.first, one.stretch.end)):
            ids = self._spans[span]
            for id_, heard in self._stretch(span, ids, setting, job).items():
                if heard is None:
                    self.left_out[id_].append(SpanLeftOut(section=span.section, why="the mix is silent there"))
                else:
                    found[id_].append(heard)
        return {id_: (found[id_], self.left_out[id_]) for id_ in self.purposes}

    def _stretch(self, span: Span, ids: Sequence[str], setting: Setting, job: Job) -> Mapping[str, ReceiptSpan | None]:
        cache, code = self._session.cache, code_hash(*_PROVED_BY)
        for id_ in ids:
            self._variants.setdefault(id_, Variant(without_move(self._session, id_), self._session))
        variants = {id_: self._variants[id_] for id_ in ids}
        # What is heard of the mix with all moves is shared: a receipt depends on who shares it.
        together = [variant.session.graph.identity() for variant in variants.values()]
        facts = [(row.id, row.place, sorted(row.place_in.items()), row.is_return) for row in setting.ledger]
        stretch = span.section, span.stretch.first, span.stretch.end
        how = setting.offset_db, setting.listening, facts, *stretch, code
        keys = {}
        for id_ in ids:
            purpose = self.purposes[id_]
            about = purpose.moved, purpose.victim, purpose.findings
            keys[id_] = Cache.key("receipt", self._whole.session.graph.identity(), together, id_, *about, *how)
        known = {id_: cache.known(key, _Measured) for id_, key in keys.items()}
        if all(one is not None for one in known.values()):
            job.step(1 + len(ids))
            return {id_: one.span for id_, one in known.items() if one is not None}
        heard = SpanHeard(span, self._whole, setting, self._cancel)
        taken = {id_: heard.take(id_, variants[id_], self.purposes[id_]) for id_ in ids}
        job.step()
        found = {}
        for id_ in ids:
            make = functools.partial(self._receipt, heard, id_, sounds=taken[id_])
            one = cache.record(keys[id_], _Measured, make)
            found[id_] = one.span
            job.step()
        return found

    def _receipt(self, heard: SpanHeard, id_: str, *, sounds: bool) -> _Measured:
        return _Measured(span=heard.receipt(id_) if sounds else None)


def _mentioned(receipts: Iterable[Receipt]) -> set[str]:
    found: set[str] = set()
    for receipt in receipts:
        found |= {
            receipt.target,
            receipt.key,
            receipt.send,
            receipt.victim or "",
            *(cost.track for cost in receipt.costs),
        }
        for span in receipt.spans:
            found |= {layer.id for layer in span.layers} | {finding.track for finding in span.back}
    return found


def _notes(asked: Sequence[Move], work: _Work) -> tuple[str, ...]:
    cut = [id_ for id_, left in work.left_out.items() if any(one.for_time for one in left)]
    if not cut:
        return ()
    most = max(LEAST_SPANS, MOST_SPANS // len(asked))
    return (f"{count(len(cut), 'move')} of {len(asked)} heard in the worst {most} sections alone, to keep the time.",)
