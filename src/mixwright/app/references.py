# SPDX-License-Identifier: Apache-2.0
"""The references of a song: each profiled once for what its file holds, and what they span."""

from __future__ import annotations

from collections.abc import Sequence

from mixwright.app.keys import MEASURED_BY
from mixwright.app.session import Session
from mixwright.errors import InputError, printable, where
from mixwright.io.kept import song_path
from mixwright.io.stems import DECODED_BY
from mixwright.jobs.cache import code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.audio import AudioInfo
from mixwright.model.profile import ATTRIBUTES, Profile, Weakness
from mixwright.model.song import Reference, Song, changed
from mixwright.reference.beside import Chosen
from mixwright.reference.corridor import Corridor, check_attributes, corridor
from mixwright.reference.matching import matched
from mixwright.reference.profile import profile
from mixwright.reference.weak import LONGEST_S

#: What a profile depends on, beside the audio and the sections.
PROFILED_BY = ("mixwright.reference", "mixwright.model.profile", "mixwright.core.novelty", *MEASURED_BY, *DECODED_BY)


def corridor_of(song: Song, profiles: Sequence[Profile]) -> Corridor:
    """Return what the references of a song span, by their profiles; what is wrong with one is left out."""
    return corridor(profiles, [reference.use_for for reference in song.references]) if profiles else Corridor()


def not_used(song: Song, profiles: Sequence[Profile]) -> tuple[str, ...]:
    """Return a sentence for each reference of a song that cannot be used at all, and why, by their profiles."""
    return tuple(
        f"The reference {reference.id} is not used: {weak.why}."
        for reference, found in zip(song.references, profiles, strict=True)
        for weak in found.weak
        if len(weak.attributes) == len(ATTRIBUTES)
    )


def profiles_of(session: Session, *, report: Report = silent, cancel: Cancel | None = None) -> tuple[Profile, ...]:
    """Return the profiles of all references of a song, two songs and more at a time.

    Raises
    ------
    InputError
        when a reference is missing, or cannot be read
    SettingError
        when it was chosen for an attribute that is not known
    """
    references = session.song.references
    if not references:
        return ()
    check_attributes([reference.use_for for reference in references])
    job = Job("reading references", max(1, len(references)), report, cancel)

    def one(reference: Reference) -> Profile:
        with where(printable(reference.file)):
            found = _with_voice(session, reference, cancel)
        job.step()
        return found

    return tuple(in_order(one, references))


def beside_mix(
    session: Session, mix: Profile, *, report: Report = silent, cancel: Cancel | None = None
) -> tuple[Chosen, ...]:
    """Return all references of a song as they stand beside a mix: what each was chosen for, section beside section."""
    profiles = profiles_of(session, report=report, cancel=cancel)
    return tuple(
        Chosen(found, reference.use_for, matched(mix, found, reference.beside))
        for reference, found in zip(session.song.references, profiles, strict=True)
    )


def is_no_song(info: AudioInfo) -> bool:
    """Tell whether a finished file is too long to be a single song."""
    return info.frames > LONGEST_S * info.sample_rate_hz


def finished_files(song: Song) -> tuple[str, ...]:
    """Return the files that are opened for it: the records, and the voices of those whose voice is there alone."""
    return tuple(file for one in song.references for file in (one.file, one.voice) if file)


def _with_voice(session: Session, reference: Reference, cancel: Cancel | None) -> Profile:
    found = _profile_of(session, reference, reference.file, cancel)
    if not reference.voice:
        return found
    with where(printable(reference.voice)):
        voice = _profile_of(session, reference, reference.voice, cancel)
    both = voice.integrated_lufs, found.integrated_lufs
    lead = None if both[0] is None or both[1] is None else both[0] - both[1]
    return changed(found, values=found.values | {"lead_re_mix_lu": (lead,)})


def _profile_of(session: Session, reference: Reference, file: str, cancel: Cancel | None) -> Profile:
    path = song_path(session.folder, file)
    if not path.is_file():
        raise InputError("this reference is missing", hint="put it back, or take it out of song.toml under references")
    info = session.store.probe(path)
    if is_no_song(info):
        minutes = info.frames / info.sample_rate_hz / 60.0
        why = f"{minutes:.0f} minutes long: no single song, of which alone these figures are; give the song by itself"
        return Profile(
            duration_s=60.0 * minutes,
            rate_hz=info.sample_rate_hz,
            integrated_lufs=None,
            true_peak_dbtp=None,
            values={},
            weak=(Weakness(why=why, attributes=ATTRIBUTES),),
        )
    stem = session.store.open(path)
    sections = reference.sections if file == reference.file else ()
    key = session.cache.key("profile", stem.sha256, sections, code_hash(*PROFILED_BY))
    return session.cache.record(key, Profile, lambda: profile(stem.audio, stem.rate_hz, sections, cancel=cancel))
