# SPDX-License-Identifier: Apache-2.0
"""Print the mix, its versions and its stems into a new numbered folder, and prove them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path

from mixwright.app.beside import beside
from mixwright.app.page import write_page
from mixwright.app.print_audio import PrintAudio, array_keys, at_rate, own_arrays, print_audio, with_quiet_ends
from mixwright.app.print_checks import print_checks
from mixwright.app.print_files import Audio, Leveled, level_checks, leveled, measured, written
from mixwright.app.ready import Confirmed, check_ready
from mixwright.app.scene import sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.delivery.copies import approved_preview, copied
from mixwright.delivery.file_plan import planned_files
from mixwright.delivery.manifest import MANIFEST_FILE, manifest_of, write_manifest
from mixwright.delivery.null_test import Block, Proof, prove
from mixwright.delivery.owed import owed_tags
from mixwright.delivery.print_set import Print, prints
from mixwright.delivery.quiet_ends import FADE_S
from mixwright.errors import SettingError, StateError, printable, with_and
from mixwright.io.kept import relative_to_song, write_kept
from mixwright.io.replace import numbered_folder
from mixwright.io.song_file import load_song
from mixwright.io.write import BITS
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.agreement import USUAL, Agreement
from mixwright.model.prints import DeliverResult
from mixwright.model.results import CheckLine
from mixwright.model.song import Song, changed, sounding_tracks
from mixwright.units import ratio_from_db

_MAIN = Print("main", "Main")


def deliver(
    song: Path,
    *,
    agreed: Agreement | None = None,
    template: str | None = None,
    undecided_ok: Collection[str] = (),
    mutes_ok: Collection[str] = (),
    faults_ok: Collection[str] = (),
    report: Report = silent,
    cancel: Cancel | None = None,
) -> DeliverResult:
    """Print what was agreed, check it, and list what is missing.

    The files start together, are equally long at each rate, and go into a new folder ``prints/001``, ``002``, ... that
    appears when it is complete and proved. Where a print of whole numbers would pass full scale, in a sample or between
    two (a true peak above 0 dBTP, which clips in the next converter), all that add up are lowered by one amount, or
    written as float. The same song gives the same bytes.

    Parameters
    ----------
    song : Path
        The song folder.
    agreed : Agreement, optional
        What is printed, in place of the song's own `agreement`. Without one: main mix, instrumental, a cappella (24
        bit) and a stem of every group (24 bit and float).
    template : str, optional
        How files are named, in place of the agreement's; see `mixwright.delivery.names`.
    undecided_ok, mutes_ok, faults_ok : collection of str
        Proposed moves that are undecided, and tracks, groups and sends that are muted: left out. Damaged tracks: used
        as they are.
    report, cancel
        Progress and stop switch.

    Raises
    ------
    StateError
        when moves are undecided, something is muted or damaged and that is not confirmed by name, or nothing sounds
    SettingError
        when the template is not allowed, or something is confirmed that is not so
    InputError, SettingError
        as from `open_song`
    OutputError
        when the disk is full or cannot be written
    """
    song = Path(song)
    confirmed = Confirmed(undecided_ok, mutes_ok, faults_ok)
    before = load_song(song)
    _check_state(song, before, confirmed)
    agreement = _agreement(before, agreed, template)
    with open_song(song, _making(before, agreement), report=report, cancel=cancel) as session:
        _check_state(song, session.song, confirmed)
        entries, gone = prints(session.song, agreement)
        files = planned_files(session.song, agreement, entries)
        audio = _audio(session, agreement, entries, report, cancel)
        levels = measured({(f.entry, f.rate_hz): audio[f.entry, f.rate_hz] for f in files}, report, cancel)
        level = leveled(session.song, agreement, files, levels)
        missing = tuple(f"{kind}: {why}" for kind, why in gone.items())
        with numbered_folder(song / "prints") as folder:
            # Each is written and read back.
            frames = 2 * sum(audio[file.entry, file.rate_hz].frames for file in level.files)
            job = Job("printing", max(1, frames), report, cancel)
            printed, done = written(folder.building, session.song, level, audio, levels, job)
            wanted, lost = approved_preview(song, agreement)
            copies = copied(folder.building, song, wanted, taken={file.file for file in printed})
            missing += (*lost, *owed_tags(session.song, agreement))
            proofs = _proofs(folder.building, agreement, level, audio)
            proved, sums = prove(proofs, _mixes(level, audio), job.step)
            told = _owed(missing) if session.song.agreement is not None or agreed is not None else ()
            own = print_checks(folder.building, session.song, level.files, levels)
            checks = (*proved, *level_checks(printed, done), *level.checks, _ends(audio), *own, *told)
            result = DeliverResult(
                folder="",
                manifest="",
                files=printed,
                beside=copies,
                checks=checks,
                sums=sums,
                missing=missing if told else (),
                sounding=sounding_hash(session.song, session.lanes),
            )
            write_manifest(
                folder.building,
                manifest_of(
                    session.song,
                    session.lanes,
                    agreement,
                    frames=session.graph.frames,
                    gain_db=level.gain_db(_MAIN),
                    files=result.files,
                    beside=result.beside,
                    sums=result.sums,
                    checks=result.checks,
                    missing=result.missing,
                ),
            )
    manifest = relative_to_song(song, folder.path / MANIFEST_FILE)
    result = changed(result, folder=relative_to_song(song, folder.path), manifest=manifest)
    with beside(f"{printable(result.folder)} is written and whole, but the song keeps nothing of it: "):
        write_kept(song, "deliver", result)
    write_page(song)
    return result


def agreement_with(song: Path, settings: Mapping[str, object]) -> Agreement:
    """Return what was agreed for a song, or what is usual, with other settings."""
    return changed(load_song(song).agreement or USUAL, **settings)


def _check_state(folder: Path, song: Song, confirmed: Confirmed) -> None:
    check_ready(folder, song, confirmed)
    if not sounding_tracks(song):
        raise StateError("every track is muted or out of use", hint="set mute = false for a track in song.toml")


def _agreement(song: Song, agreed: Agreement | None, template: str | None) -> Agreement:
    agreement = agreed or song.agreement or USUAL
    if template is not None:
        agreement = changed(agreement, template=template)
    entries, gone = prints(song, agreement)
    if not entries:
        why = "; ".join(f"{kind}: {reason}" for kind, reason in gone.items())
        raise SettingError(f"nothing of what is asked for can be printed: {why}", hint="ask for other prints")
    planned_files(song, agreement, entries)  # refused before the work is done
    return agreement


def _making(song: Song, agreement: Agreement) -> Making:
    """Return what stays of a delivery: what prints are put together from, and the bytes of a frame in all files."""
    entries, _ = prints(song, agreement)
    files = planned_files(song, agreement, entries)
    size = sum(2 * BITS[f.sample_format] // 8 * f.rate_hz / song.rate_hz for f in files)
    own, anew = own_arrays(song, entries)
    converted = [rate_hz for rate_hz in agreement.rates_hz if rate_hz != song.rate_hz]
    kept = 8 * (own + anew) + sum(8 * rate_hz / song.rate_hz for rate_hz in converted) * len(_with_main(entries))
    return Making(
        made=lambda graph: array_keys(song, graph, _with_main(entries)),
        bytes_a_frame=round(size + 0.5),
        mixes=1 + own,
        bytes_kept_a_frame=round(kept + 0.5),
    )


def _with_main(entries: Sequence[Print]) -> tuple[Print, ...]:
    """Return prints and the main mix, which parts are held against, whether or not it is printed."""
    return tuple(dict.fromkeys((_MAIN, *entries)))


def _audio(
    session: Session, agreement: Agreement, entries: Sequence[Print], report: Report, cancel: Cancel | None
) -> Audio:
    """Return the audio of every print, and of the main mix, at every rate."""
    at_song = print_audio(session, _with_main(entries), report, cancel)
    rates = agreement.rates_hz or (session.song.rate_hz,)
    wanted = [(entry, rate_hz) for rate_hz in rates for entry in at_song]
    job = Job("converting", max(1, len(wanted)), report, cancel)

    def one(key: tuple[Print, int]) -> PrintAudio:
        found = at_rate(session, at_song[key[0]], key[1], cancel)
        job.step()
        return found

    found = dict(zip(wanted, in_order(one, wanted), strict=True))
    # At each rate by itself: what is converted rings before a sudden start, and behind an end.
    quiet = {rate_hz: with_quiet_ends({entry: found[entry, rate_hz] for entry in at_song}) for rate_hz in rates}
    return {(entry, rate_hz): quiet[rate_hz][entry] for entry, rate_hz in wanted}


def _block(audio: PrintAudio, gain_db: float) -> Block:
    gain = float(ratio_from_db(gain_db))
    return lambda start, end: audio.block(start, min(end, audio.frames)) * gain


def _proofs(folder: Path, agreement: Agreement, level: Leveled, audio: Audio) -> list[Proof]:
    alone = {"dry", "wet"} if not {"dry", "wet"} <= set(agreement.prints) else set()
    proofs = []
    for file in level.files:
        found = audio[file.entry, file.rate_hz]
        proofs.append(
            Proof(
                path=folder / file.name,
                kind=file.entry.kind,
                sample_format=file.sample_format,
                rate_hz=file.rate_hz,
                frames=found.frames,
                block=_block(found, level.gain_db(file.entry)),
                adds_up=file.entry.keys == "held" and file.entry.kind not in alone,
            )
        )
    return proofs


def _mixes(level: Leveled, audio: Audio) -> dict[int, Block]:
    """Return the main mix at every rate, as loud as what adds up to it."""
    return {rate: _block(found, level.gain_db(entry)) for (entry, rate), found in audio.items() if entry == _MAIN}


def _ends(audio: Audio) -> CheckLine:
    """Return how the files begin and end: at each rate every print alike."""
    steps = {"begins": any(one.fade_in for one in audio.values()), "ends": any(one.fade_out for one in audio.values())}
    found = with_and([name for name, is_one in steps.items() if is_one])
    detail = f"a print {found} with a step: {1000.0 * FADE_S:g} ms of every file is faded there" if found else "they do"
    return CheckLine(name="files start and end in quiet", passed=True, detail=detail)


def _owed(missing: Sequence[str]) -> tuple[CheckLine, ...]:
    detail = "; ".join(missing) or "all that was agreed is here"
    return (CheckLine(name="as agreed", passed=not missing, detail=detail),)
