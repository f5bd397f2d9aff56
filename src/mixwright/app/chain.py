# SPDX-License-Identifier: Apache-2.0
"""The chain of a strip: told stage by stage, held in loudness, saved, and used on another."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path

from mixwright.app.page import write_page
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.app.stage_levels import HELD_LU, StageLevels, StripAudio, held, makes_room, strip_audio
from mixwright.engine.processors import operations_of
from mixwright.errors import SettingError, StateError, count, listed, printable, where
from mixwright.io.chain_file import check_new_chain, read_chain, write_chain
from mixwright.io.kept import read_lanes
from mixwright.io.song_file import edit_song, load_song
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.chain import ChainFile, ChainResult, ChainStage
from mixwright.model.checks import check_song
from mixwright.model.colour_inserts import Saturation
from mixwright.model.derived import insert_name, resolved
from mixwright.model.dynamics_inserts import Clipper
from mixwright.model.insert import KeyedInsert
from mixwright.model.inserts import AnyInsert
from mixwright.model.lane import Lane
from mixwright.model.song import MASTER, Song, changed, keyed_by, strips_of, with_strip
from mixwright.model.strip import Change, Master, Strip

#: Bend what is loud, wherever it comes from.
_BENDING = (Saturation, Clipper)
_FULL_DBTP = 0.0
#: A chain that was saved from something so much louder or softer still fits.
_NEAR_LU = 2.0


def chain(
    song: Path,
    target: str,
    *,
    use: Path | None = None,
    hold: bool = False,
    save: Path | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> ChainResult:
    """Measure a strip on the song's own audio before its inserts and after each.

    Parameters
    ----------
    song : Path
        the song folder
    target : str
        id of a track, else a group, else a send, or ``master``
    use : Path, optional
        a saved chain that takes the place of its inserts before
    hold : bool
        set the gain of each insert so that it comes out as loud as it went in; one step to undo
    save : Path, optional
        a new ``.toml`` file for the chain, as it is then
    report, cancel
        progress and stop switch

    Raises
    ------
    SettingError
        for a target that is not there, or a chain that does not fit the song
    InputError, StateError, OutputError
        as from `open_song`, `read_chain` and `write_chain`
    """
    song = Path(song)
    kind, id_ = _target(load_song(song), target)
    notes: list[str] = []
    saved: ChainFile | None = None
    if save is not None:
        check_new_chain(Path(save))
    if use is not None:
        saved = read_chain(Path(use))
        notes += _use(song, kind, id_, saved, Path(use).name)
    making = Making(bytes_kept_a_frame=8 * _taps(load_song(song), kind, id_))
    if save is not None and not _strip(resolved(load_song(song)), kind, id_).inserts:
        raise StateError(f"{id_} has no inserts to save")
    with open_song(song, making, report=report, cancel=cancel) as session:
        _check_used(session.song, kind, id_)
        audio = strip_audio(session, kind, id_, report=report, cancel=cancel)
        inserts = audio.bare.strip.inserts
        job = Job("stages", len(inserts) * hold + 1, report, cancel)
        moving = {int(lane.parameter[8:].partition("]")[0]) for lane in _gain_lanes(session.lanes, id_)}
        after = held(audio, inserts, moving, job, cancel) if hold else list(inserts)
        result = _measured(session, kind, id_, audio, after, cancel)
        job.step()
    notes += _unfit(result, saved, audio.bare.strip)
    if hold:
        notes += [f"{audio.bare.path}.inserts[{k}].gain_db is automated, and left as it is." for k in sorted(moving)]
        _hold(song, kind, id_, inserts, after)
    if save is not None:
        rounded = None if result.in_lufs is None else round(result.in_lufs, 1)
        write_chain(Path(save), ChainFile(name=result.name, in_lufs=rounded, inserts=tuple(after)))
    write_page(song)
    return changed(
        result,
        notes=tuple(notes),
        asked_to_hold=hold,
        used="" if use is None else str(use),
        saved="" if save is None else str(save),
    )


def _target(song: Song, target: str) -> tuple[str, str]:
    """Return kind and id of the strip that is meant."""
    known = {id_: kind for _, kind, id_, _ in reversed(list(strips_of(song)))}
    id_ = target.strip().lower()
    if id_ in known:
        return known[id_], id_
    near = difflib.get_close_matches(id_, known, n=1, cutoff=0.5)
    hint = f"did you mean {near[0]}?" if near else f"known: {listed(list(known))}"
    raise SettingError(f"no track, group or send is called {printable(target)!r}", hint=hint)


def _taps(song: Song, kind: str, id_: str) -> int:
    """Return how many strips are heard: this one, and all that its inserts listen to."""
    inserts = _strip(resolved(song), kind, id_).inserts
    keys = {key for insert in inserts if isinstance(insert, KeyedInsert) for key in insert.keys}
    return 1 + sum(len(keyed_by(song, key)) for key in keys)


def _check_used(song: Song, kind: str, id_: str) -> None:
    if kind == "track" and any(track.id == id_ and not track.use for track in song.tracks):
        raise StateError(f"track {id_} is left out", hint="set use = true for it in song.toml")


def _strip(song: Song, kind: str, id_: str) -> Strip:
    return next(strip for _, k, i, strip in strips_of(song) if (k, i) == (kind, id_))


def _unfit(result: ChainResult, saved: ChainFile | None, strip: Strip) -> list[str]:
    """Say by how much what goes in is not as loud as where a chain was saved."""
    if saved is None or saved.in_lufs is None or result.in_lufs is None:
        return []
    off_lu = saved.in_lufs - result.in_lufs
    if abs(off_lu) <= _NEAR_LU:
        return []
    needed = f"trim_db = {strip.trim_db + off_lu:.1f} in its strip brings it there"
    came = f"{result.target} comes in at {result.in_lufs:.1f}"
    return [f"Its thresholds are for what comes in at {saved.in_lufs:.1f} LUFS, and {came}: {needed}."]


def _use(folder: Path, kind: str, id_: str, saved: ChainFile, file: str) -> list[str]:
    """Put a saved chain in the place of a strip's inserts; what was there is told."""
    told: list[str] = []

    def edit(song: Song) -> Song:
        strip = _strip(song, kind, id_)
        if strip.as_:
            raise SettingError(
                f"the chain of {id_} is that of {strip.as_}",
                hint=f"use it on {strip.as_}, or take `as` out of the strip",
            )
        for k, insert in enumerate(saved.inserts):
            with where(f"{printable(file)} inserts[{k}]"):
                operations_of(insert, song.rate_hz)
        new = with_strip(song, kind, id_, changed(strip, inserts=saved.inserts))
        try:
            check_song(new)
        except SettingError as error:
            here = next(path for path, k, i, _ in strips_of(song) if (k, i) == (kind, id_))
            if error.where.startswith(f"{here}.inserts"):
                error.where = f"{printable(file)} {error.where.removeprefix(here + '.')}"
            raise
        if strip.inserts and strip.inserts != saved.inserts:
            told.append(f"It takes the place of {count(len(strip.inserts), 'insert')}; undo brings them back.")
        return new

    after = edit_song(folder, f"chain {id_} --use {printable(file)}", edit)
    lanes = read_lanes(folder, after.automation)
    if any(lane.target == id_ and lane.parameter.startswith("inserts") for lane in lanes):
        told.append(f"Kept automation moves inserts of {id_}: look whether it means these.")
    return told


def _gain_lanes(lanes: Sequence[Lane], id_: str) -> list[Lane]:
    return [lane for lane in lanes if lane.target == id_ and lane.parameter.endswith("].gain_db") and lane.points]


def _hold(folder: Path, kind: str, id_: str, before: Sequence[AnyInsert], after: Sequence[AnyInsert]) -> None:
    """Write the gains of held inserts, as changes where an insert is another strip's."""

    def edit(song: Song) -> Song:
        strip, whole = _strip(song, kind, id_), _strip(resolved(song), kind, id_)
        if whole.inserts != tuple(before):
            raise StateError(f"the inserts of {id_} were changed meanwhile", hint="run it again")
        taken = len(whole.inserts) - len(strip.inserts)
        changes = {change.at: change for change in strip.changes}
        for k in range(taken):
            if after[k].gain_db != before[k].gain_db:
                at = f"{insert_name(changed(whole, inserts=whole.inserts[:taken]), k)}.gain_db"
                changes.pop(at, None)
                changes[at] = Change(at=at, set=after[k].gain_db)
        own = tuple(changed(insert, gain_db=after[taken + k].gain_db) for k, insert in enumerate(strip.inserts))
        return with_strip(song, kind, id_, changed(strip, inserts=own, changes=tuple(changes.values())))

    edit_song(folder, f"chain {id_} --hold", edit)


def _measured(
    session: Session, kind: str, id_: str, audio: StripAudio, inserts: Sequence[AnyInsert], cancel: Cancel | None
) -> ChainResult:
    levels = audio.levels(inserts, range(-1, len(inserts)), cancel=cancel)
    stages = [_stage(k, insert, levels[k]) for k, insert in enumerate(inserts)]
    overloads = _overloads(kind, audio.bare.strip, inserts, levels)
    stages = [changed(stage, overloads=overloads.get(k, "")) for k, stage in enumerate(stages)]
    records = () if kind == MASTER else getattr(session.song, f"{kind}s")
    name = next((record.name for record in records if record.id == id_), id_)
    return ChainResult(
        target=id_,
        kind=kind,  # type: ignore[arg-type]
        name=name,
        in_lufs=levels[-1].in_lufs,
        true_peak_in_dbtp=levels[-1].true_peak_dbtp,
        stages=tuple(stages),
        overloads=overloads.get(-1, ""),
    )


def _stage(k: int, insert: AnyInsert, levels: StageLevels) -> ChainStage:
    loud = levels.in_lufs, levels.out_lufs
    return ChainStage(
        at=f"inserts[{k}]",
        insert=insert,
        in_lufs=levels.in_lufs,
        out_lufs=levels.out_lufs,
        gain_db=insert.gain_db,
        held=makes_room(insert) or loud[0] is None or (loud[1] is not None and abs(loud[0] - loud[1]) <= HELD_LU),
        true_peak_dbtp=levels.true_peak_dbtp,
        reduction_mean_db=levels.reduction_mean_db,
        reduction_max_db=levels.reduction_max_db,
    )


def _overloads(kind: str, strip: Strip, inserts: Sequence[AnyInsert], levels: dict[int, StageLevels]) -> dict[int, str]:
    """Return which stages bring peaks above full scale to what bends or prints them, -1: what goes in; and to what."""
    found: dict[int, str] = {}

    def culprit(k: int) -> int:
        while k >= 0 and _over(levels[k - 1]):
            k -= 1
        return k

    for k, insert in enumerate(inserts):
        if insert.on and isinstance(insert, _BENDING) and _over(levels[k - 1]):
            found.setdefault(culprit(k - 1), str(insert.__struct_config__.tag))
    last = len(inserts) - 1
    limited = isinstance(strip, Master) and strip.limiter is not None
    if kind == MASTER and not limited and _over(levels[last], strip.fader_db) and last >= 0:
        found.setdefault(culprit(last), "print")
    return found


def _over(levels: StageLevels, more_db: float = 0.0) -> bool:
    return levels.true_peak_dbtp is not None and levels.true_peak_dbtp + more_db > _FULL_DBTP
