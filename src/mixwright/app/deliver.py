# SPDX-License-Identifier: Apache-2.0
"""Print the mix, its versions and its stems into a new numbered folder, and prove them."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.app.beside import beside
from mixwright.app.page import write_page
from mixwright.app.scene import sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.delivery.manifest import MANIFEST_FILE, Manifest, write_manifest
from mixwright.delivery.names import DEFAULT_TEMPLATE, NameFields, file_names
from mixwright.delivery.null_test import Proof, prove
from mixwright.delivery.print_set import Print, prints
from mixwright.delivery.tagging import song_tags, told_loudness
from mixwright.errors import StateError, count, listed, printable
from mixwright.io.kept import relative_to_song, write_kept
from mixwright.io.replace import numbered_folder
from mixwright.io.song_file import load_song
from mixwright.io.write import BITS, SampleFormat, WrittenFile, write_wav
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.levels import Levels
from mixwright.model.results import CheckLine, DeliverResult, PrintedFile
from mixwright.model.song import Song, sounding_tracks, used_tracks
from mixwright.units import ratio_from_db
from mixwright.version import __version__

_BLOCK_FRAMES = 65536
#: The highest peak of a set: dither may add a step and a half to it, which must not clip at 24 bit.
_HIGHEST = 1.0 - 3.0 * 2.0**-23
TRUE_PEAK_LIMIT_DBTP = 0.0
_GAIN_STEP_DB = 0.1


@dataclass(frozen=True)
class _File:
    """One file to be printed."""

    entry: Print
    name: str
    sample_format: SampleFormat
    audio: np.ndarray
    levels: Levels


def deliver(
    song: Path,
    *,
    template: str | None = None,
    undecided_ok: bool = False,
    mutes_ok: bool = False,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> DeliverResult:
    """Print main mix, instrumental, a cappella (24 bit) and a stem of every group (24 bit and float).

    The files start together, are equally long and go into a new folder ``prints/001``, ``002``, ... that appears when
    it is complete and proved. Where any print would pass full scale, in a sample or between two (a true peak above 0
    dBTP, which clips in the next converter), all of them are lowered by one amount, so that stems still add up. The
    same song gives the same bytes.

    Parameters
    ----------
    song : Path
        The song folder.
    template : str, optional
        How files are named; see `mixwright.delivery.names`.
    undecided_ok, mutes_ok : bool
        Print although proposed moves are undecided, or although tracks are muted.
    report, cancel
        Progress and stop switch.

    Raises
    ------
    StateError
        when moves are undecided or tracks muted
    SettingError
        when the template is not allowed
    InputError, SettingError
        as from `open_song`
    OutputError
        when the disk is full or cannot be written
    """
    song = Path(song)
    template = DEFAULT_TEMPLATE if template is None else template
    _check_state(load_song(song), undecided_ok, mutes_ok)
    _plan_names(load_song(song), template)
    with open_song(song, _making(load_song(song)), report=report, cancel=cancel) as session:
        _check_state(session.song, undecided_ok, mutes_ok)
        files = _rendered(session, template, report, cancel)
        gain_db, lowered = _common_gain(files)
        with numbered_folder(song / "prints") as folder:
            frames = session.graph.frames
            job = Job("printing", max(1, frames * len(files) * 2), report, cancel)
            printed, written = _write(folder.building, session.song, files, gain_db, job)
            gain = float(ratio_from_db(gain_db))
            proofs = [Proof(folder.building / f.name, f.entry.kind, f.sample_format, f.audio, gain) for f in files]
            proved = prove(proofs, lambda count: job.step(count * len(files)))
            checks = (*proved, _unclipped(written), _true_peak(printed), lowered)
            write_manifest(folder.building, _manifest(session, gain_db, printed, checks))
    result = DeliverResult(
        folder=relative_to_song(song, folder.path),
        manifest=relative_to_song(song, folder.path / MANIFEST_FILE),
        files=printed,
        checks=checks,
        sounding=sounding_hash(session.song, session.lanes),
    )
    with beside(f"{printable(result.folder)} is written and whole, but the song keeps nothing of it: "):
        write_kept(song, "deliver", result)
    write_page(song)
    return result


def _check_state(song: Song, undecided_ok: bool, mutes_ok: bool) -> None:
    undecided = [move.id for move in song.moves if move.state == "proposed"]
    if undecided and not undecided_ok:
        raise StateError(
            f"{count(len(undecided), 'proposed move')} not decided: {listed(undecided)}",
            hint="accept or refuse them, or deliver with --undecided-ok, which leaves them out",
        )
    sounding = {track.id for track in sounding_tracks(song)}
    muted = [track.id for track in used_tracks(song) if track.id not in sounding]
    if muted and not mutes_ok:
        raise StateError(
            f"{count(len(muted), 'muted track')}: {listed(muted)}",
            hint="set mute = false in song.toml, or deliver with --mutes-ok, which leaves them out",
        )
    if not sounding:
        raise StateError("every track is muted or out of use", hint="set mute = false for a track in song.toml")


def _plan_names(song: Song, template: str) -> list[tuple[Print, SampleFormat, str]]:
    """Return every file of the delivery: its print, format and name; stems in both formats."""
    entries = prints(song)
    kinds: list[tuple[Print, SampleFormat]] = [(entry, "pcm24") for entry in entries]
    kinds += [(entry, "float32") for entry in entries if entry.kind == "stem"]
    fields = [NameFields(entry.name, song.rate_hz, sample_format) for entry, sample_format in kinds]
    names = file_names(template, song, fields)
    return [(entry, form, name) for (entry, form), name in zip(kinds, names, strict=True)]


def _making(song: Song) -> Making:
    """Return every print once as it is rendered, and the bytes of a frame in all files."""
    planned = _plan_names(song, DEFAULT_TEMPLATE)
    rendered = {entry.name: entry.tracks for entry, _, _ in planned}
    size = sum(2 * BITS[sample_format] // 8 for _, sample_format, _ in planned)
    return Making(renders=tuple(rendered.values()), bytes_a_frame=size)


def _rendered(session: Session, template: str, report: Report, cancel: Cancel | None) -> list[_File]:
    """Render and measure every print, each once, whether or not it is printed in two formats; a few at a time."""
    planned = _plan_names(session.song, template)
    entries = {entry.name: entry for entry, _, _ in planned}
    job = Job("rendering", len(entries), report, cancel)
    session.curves(cancel=cancel)  # made once, before several threads ask for them

    def one(entry: Print) -> tuple[np.ndarray, Levels]:
        audio = session.rendered(entry.tracks, workers=1, cancel=cancel)
        levels = session.levels(entry.tracks, cancel=cancel)
        job.step()
        return audio, levels

    found = dict(zip(entries, in_order(one, entries.values()), strict=True))
    return [_File(entry, name, sample_format, *found[entry.name]) for entry, sample_format, name in planned]


def _common_gain(files: Sequence[_File]) -> tuple[float, CheckLine]:
    """Return the gain in dB, 0 or below in steps of 0.1, that keeps the true peak of every print under full scale."""
    loudest = max(files, key=lambda file: _peak(file.levels))
    peak = _peak(loudest.levels)
    if peak <= _HIGHEST:
        return 0.0, CheckLine(name="level", passed=True, detail="every file is as loud as in the mix")
    gain_db = -math.ceil(20.0 * math.log10(peak / _HIGHEST) / _GAIN_STEP_DB) * _GAIN_STEP_DB
    detail = (
        f"every file is lowered by {-gain_db:.1f} dB, so that stems add up and nothing clips: "
        f"{loudest.entry.name} peaks at {20.0 * math.log10(peak):+.1f} dBTP as mixed"
    )
    return round(gain_db, 1), CheckLine(name="level", passed=True, detail=detail)


def _peak(levels: Levels) -> float:
    peaks_db = [peak for peak in (levels.sample_peak_dbfs, levels.true_peak_dbtp) if peak is not None]
    return float(ratio_from_db(max(peaks_db))) if peaks_db else 0.0


def _write(
    folder: Path, song: Song, files: Sequence[_File], gain_db: float, job: Job
) -> tuple[tuple[PrintedFile, ...], list[tuple[str, WrittenFile]]]:
    def one(file: _File) -> WrittenFile:
        return write_wav(
            folder / file.name,
            _blocks(file.audio, float(ratio_from_db(gain_db)), job),
            rate_hz=song.rate_hz,
            channels=2,
            frames=len(file.audio),
            sample_format=file.sample_format,
            seed=_seed(song, file.entry.name),
            tags=song_tags(
                song,
                rate_hz=song.rate_hz,
                frames=len(file.audio),
                kind=file.entry.kind,
                part=file.entry.name if file.entry.kind == "stem" else "",
                loudness=told_loudness(file.levels, gain_db),
            ),
        )

    printed, written = [], []
    for file, done in zip(files, in_order(one, files), strict=True):
        written.append((file.name, done))
        printed.append(
            PrintedFile(
                file=file.name,
                kind=file.entry.kind,
                sha256=done.sha256,
                sample_format=file.sample_format,
                rate_hz=song.rate_hz,
                frames=done.frames,
                integrated_lufs=_shifted(file.levels.integrated_lufs, gain_db),
                true_peak_dbtp=_shifted(file.levels.true_peak_dbtp, gain_db),
            )
        )
    return tuple(printed), written


def _blocks(audio: np.ndarray, gain: float, job: Job) -> Iterator[np.ndarray]:
    for start in range(0, len(audio), _BLOCK_FRAMES):
        block = audio[start : start + _BLOCK_FRAMES].astype(np.float64) * gain
        yield block
        job.step(len(block))


def _shifted(level: float | None, gain_db: float) -> float | None:
    return None if level is None else level + gain_db


def _seed(song: Song, name: str) -> int:
    """Return the seed of a print's dither: each its own, so that the noises of stems do not add up in step."""
    digest = hashlib.sha256(f"dither\n{song.title}\n{song.artist}\n{name}".encode("utf-8", "surrogatepass"))
    return int.from_bytes(digest.digest()[:16], "big")


def _unclipped(written: Sequence[tuple[str, WrittenFile]]) -> CheckLine:
    clipped = [f"{name}: {count(done.clipped_samples, 'sample')}" for name, done in written if done.clipped_samples]
    return CheckLine(
        name="nothing clipped", passed=not clipped, detail="; ".join(clipped) or "not one sample in any file"
    )


def _true_peak(printed: Sequence[PrintedFile]) -> CheckLine:
    """Return whether any file would clip between its samples, in a converter or a change of rate."""
    name = f"true peak at most {TRUE_PEAK_LIMIT_DBTP:.0f} dBTP"
    peaks = {file.file: file.true_peak_dbtp for file in printed if file.true_peak_dbtp is not None}
    over = [f"{file}: {peak:+.2f} dBTP" for file, peak in peaks.items() if peak > TRUE_PEAK_LIMIT_DBTP]
    highest = max(peaks, key=lambda file: peaks[file], default="")
    told = f"the highest is {peaks[highest]:.2f} dBTP, in {highest}" if highest else "silence"
    return CheckLine(name=name, passed=not over, detail="; ".join(over) or told)


def _manifest(
    session: Session, gain_db: float, printed: tuple[PrintedFile, ...], checks: tuple[CheckLine, ...]
) -> Manifest:
    return Manifest(
        title=session.song.title,
        artist=session.song.artist,
        engine=__version__,
        rate_hz=session.song.rate_hz,
        frames=session.graph.frames,
        gain_db=gain_db,
        moves=tuple(move.id for move in session.song.moves if move.state == "accepted"),
        files=printed,
        checks=checks,
    )
