# SPDX-License-Identifier: Apache-2.0
"""Stand the mix beside its references, attribute by attribute, at equal loudness."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.app.mix_profile import mix_profile
from mixwright.app.page import write_page
from mixwright.app.references import PROFILED_BY, beside_mix, finished_files, is_no_song
from mixwright.app.scene import sounding_hash
from mixwright.app.session import Session, open_song
from mixwright.app.space import Making
from mixwright.app.told import check_known
from mixwright.errors import InputError, StateError, printable, where, with_and
from mixwright.io.kept import song_path, write_kept
from mixwright.io.replace import make_folder
from mixwright.io.song_file import load_song
from mixwright.io.write import write_wav
from mixwright.jobs.cache import code_hash
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.comparison import ComparedReference, ComparedRow, CompareResult, Excerpt
from mixwright.model.profile import ATTRIBUTES, Profile, SectionProfile, Weakness
from mixwright.model.song import Reference, Section, changed
from mixwright.reference.beside import Chosen, rows_of
from mixwright.reference.listening import equally_loud, excerpt_span, in_bands
from mixwright.reference.profile import profile

#: A bounce may be this much longer or shorter than the song and still have its sections.
_SAME_LENGTH_S = 15.0


@dataclass(frozen=True, eq=False)
class _Mix:
    """The mix, or a bounce of it made elsewhere."""

    file: str
    audio: np.ndarray
    rate_hz: int
    profile: Profile


def compare(
    song: Path,
    *,
    only: Sequence[str] = (),
    sections: Sequence[str] = (),
    mix: Path | None = None,
    listen: Path | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> CompareResult:
    """Stand the mix of a song, or a bounce made elsewhere, beside its references.

    The result for all attributes and sections of the song's own mix is kept for the page.

    Parameters
    ----------
    song : Path
        The song folder.
    only : sequence of str
        Attributes to tell of; all if none.
    sections : sequence of str
        Sections to tell of; the whole and all sections if none.
    mix : Path, optional
        A finished file in place of the song's own mix.
    listen : Path, optional
        A folder for excerpts to listen to, made where it is missing; files of the same names are replaced.
    report, cancel
        Progress and the user's switch to stop.

    Raises
    ------
    InputError, SettingError, StateError
        when the song, a reference or the file cannot be used, or an attribute or section is not known
    """
    folder = Path(song)
    given = load_song(folder)
    check_known(only, ATTRIBUTES, "attribute", "only")
    check_known(sections, [section.name for section in given.sections], "section")
    if not given.references:
        raise StateError(
            "the song has no reference",
            where=printable(folder),
            hint="name a finished record: `mixwright reference SONG --add FILE`",
        )
    making = Making(renders=() if mix else (None,), finished=finished_files(given))
    with open_song(folder, making, report=report, cancel=cancel) as session:
        stood = _bounce(session, Path(mix), cancel) if mix else _own(session, report, cancel)
        if stood.profile.integrated_lufs is None:
            raise InputError("the mix is silent, or too short", where=printable(stood.file), hint="render it whole")
        chosen = beside_mix(session, stood.profile, report=report, cancel=cancel)
        rows = rows_of(stood.profile, chosen)
        unlimited = mix is None and session.song.master.limiter is None
        result = CompareResult(
            file=stood.file,
            integrated_lufs=stood.profile.integrated_lufs,
            references=tuple(
                _reference(reference, one, stood.profile)
                for reference, one in zip(session.song.references, chosen, strict=True)
            ),
            sections=tuple(section.name for section in stood.profile.sections),
            rows=rows,
            notes=(*_notes(stood.profile, given.sections, mix), *(_open(rows) if unlimited else ())),
            sounding="" if mix else sounding_hash(session.song, session.lanes),
        )
        if listen is not None:
            files = _excerpts(session, stood, chosen, sections, Path(listen), cancel)
            result = changed(result, excerpts=files)
    if mix is None:
        write_kept(folder, "compare", result)
        write_page(folder)
    return compared(result, only, sections)


def compared(result: CompareResult, only: Collection[str] = (), sections: Collection[str] = ()) -> CompareResult:
    """Return what was compared, of some attributes and sections alone; all if none."""
    rows = tuple(
        row for row in result.rows if (not only or row.attribute in only) and (not sections or row.section in sections)
    )
    kept = tuple(name for name in result.sections if not sections or name in sections)
    return changed(result, rows=rows, only=tuple(only), sections=kept)


def _own(session: Session, report: Report, cancel: Cancel | None) -> _Mix:
    found = mix_profile(session, report=report, cancel=cancel)
    audio = session.rendered(report=report, cancel=cancel)
    return _Mix("the mix as it stands", audio, session.song.rate_hz, found)


def _bounce(session: Session, path: Path, cancel: Cancel | None) -> _Mix:
    with where(printable(path)):
        if is_no_song(session.store.probe(path)):
            raise InputError("this is too long to be the mix of one song", hint="give the song by itself")
        stem = session.store.open(path)
        seconds = len(stem.audio) / stem.rate_hz
        last = max((section.end_s for section in session.song.sections), default=0.0)
        sections = session.song.sections if abs(last - seconds) <= _SAME_LENGTH_S else ()
        key = session.cache.key("profile", stem.sha256, sections, code_hash(*PROFILED_BY))
        found = session.cache.record(key, Profile, lambda: profile(stem.audio, stem.rate_hz, sections, cancel=cancel))
    return _Mix(str(path), stem.audio, stem.rate_hz, found)


def _reference(reference: Reference, chosen: Chosen, mix: Profile) -> ComparedReference:
    found = chosen.profile
    usable = not any(len(weak.attributes) == len(ATTRIBUTES) for weak in found.weak)
    both = mix.integrated_lufs, found.integrated_lufs if usable else None
    return ComparedReference(
        id=reference.id,
        file=reference.file,
        use_for=reference.use_for,
        integrated_lufs=found.integrated_lufs,
        gain_db=None if both[0] is None or both[1] is None else round(both[0] - both[1], 3),
        weak=tuple(_left_out(weak, "not used") for weak in found.weak),
        beside={name: (part.name, part.start_s, part.end_s) for name, part in chosen.sections.items()},
    )


def _notes(mix: Profile, sections: Sequence[Section], given: Path | None) -> tuple[str, ...]:
    notes = [f"The mix: {_left_out(weak, 'not compared')}." for weak in mix.weak]
    if given is not None and sections and [one.name for one in mix.sections] != [one.name for one in sections]:
        notes.append("The file is not as long as the song: its sections were found in it.")
    return tuple(notes)


def _left_out(weak: Weakness, left: str) -> str:
    """Return what is wrong with a song, and what it is `left` out of: all of it, some attributes, or nothing."""
    if not weak.attributes:
        return weak.why
    named = [one.replace("_", " ") for one in weak.attributes]
    return f"{weak.why}: {left}" + (f" for {with_and(named)}" if len(named) < len(ATTRIBUTES) else "")


def _open(rows: Sequence[ComparedRow]) -> tuple[str, ...]:
    """Return what is to be said of a mix without a limiter where it is more open than the records."""
    peaks = ("plr_db", "psr_db", "crest_octaves_db")
    if not any(row.figure in peaks and row.outside > 0.0 and not row.section for row in rows):
        return ()
    return ("No limiter is on the mix: that it is more open than finished records is to be expected.",)


def _excerpts(
    session: Session,
    mix: _Mix,
    beside: Sequence[Chosen],
    asked: Sequence[str],
    into: Path,
    cancel: Cancel | None,
) -> tuple[Excerpt, ...]:
    """Write the sections that were asked for, or the loudest and the softest, of the mix and the references."""
    known = [one for one in mix.profile.sections if one.energy_lu is not None]
    if asked:
        told = [one for one in known if one.name in asked]
    else:
        ordered = sorted(known, key=lambda one: -(one.energy_lu or 0.0))
        told = ordered if len(ordered) < 2 else [ordered[0], ordered[-1]]
    make_folder(into)
    written: list[Excerpt] = []
    for section in told:
        sources: list[tuple[str, np.ndarray, int, SectionProfile]] = [("mix", mix.audio, mix.rate_hz, section)]
        for reference, one in zip(session.song.references, beside, strict=True):
            if section.name in one.sections and one.profile.integrated_lufs is not None:
                stem = session.store.open(song_path(session.folder, reference.file))
                name = reference.id if reference.id != "mix" else "reference mix"
                sources.append((name, stem.audio, stem.rate_hz, one.sections[section.name]))
        spans = [excerpt_span(part.start_s, part.end_s) for *_, part in sources]
        cut = [
            in_bands(_stereo(audio[round(span[0] * rate) : round(span[1] * rate)]), rate)
            for (_, audio, rate, _), span in zip(sources, spans, strict=True)
        ]
        loud = equally_loud(cut, [rate for _, _, rate, _ in sources])
        for (name, _, rate, _), span, bands in zip(sources, spans, loud, strict=True):
            for band, audio in bands.items():
                if cancel is not None:
                    cancel.check()
                path = into / f"{_file_name(section.name)} {band} {name}.wav"
                write_wav(path, [audio], rate_hz=rate, channels=2, frames=len(audio), sample_format="pcm24")
                written.append(
                    Excerpt(file=str(path), of=name, section=section.name, band=band, start_s=span[0], end_s=span[1])
                )
    return tuple(written)


def _stereo(audio: np.ndarray) -> np.ndarray:
    return np.broadcast_to(audio, (len(audio), 2)) if audio.shape[1] == 1 else audio


def _file_name(section: str) -> str:
    from mixwright.intake.ids import slug

    return slug(section) or "section"
