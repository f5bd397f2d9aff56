# SPDX-License-Identifier: Apache-2.0
"""What every layer contributes to the mix, measured once; and what the references are like."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from mixwright.app.keys import MEASURED_BY
from mixwright.app.session import Session
from mixwright.errors import InputError, printable, where
from mixwright.io.kept import song_path
from mixwright.io.stems import DECODED_BY
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import default_workers, in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.meter.loudness import GATE_HOP_SUB_BLOCKS, Loudness
from mixwright.model.lane import Lane
from mixwright.model.levels import Levels
from mixwright.model.song import Reference, Song, changed, used_tracks
from mixwright.planning.elements import elements_of
from mixwright.planning.scene import Scene
from mixwright.planning.sound import Sound
from mixwright.reference.profile import Corridor, RecordProfile, band_power, corridor, profile

#: The mix itself, beside the sets of tracks in it.
WHOLE: frozenset[str] = frozenset()


@dataclass(frozen=True, eq=False)
class Contribution:
    """Some tracks as they stand in the mix: their levels, and their loudness at any time."""

    levels: Levels
    loudness: Loudness

    def sound(self) -> Sound:
        """Return it as a plan hears it."""
        return Sound(self.loudness.momentary_power[::GATE_HOP_SUB_BLOCKS], band_power(self.levels.third_octave_db))


def contributions(
    session: Session,
    wanted: Collection[frozenset[str]],
    *,
    name: str = "measuring layers",
    report: Report = silent,
    cancel: Cancel | None = None,
) -> dict[frozenset[str], Contribution]:
    """Render and measure sets of tracks as they stand in the mix, each once for the settings it depends on.

    Parameters
    ----------
    session : Session
        An opened song.
    wanted : collection of sets of track ids
        :data:`WHOLE`, the empty set, is the mix itself.
    name, report, cancel
        What the job is called, progress, and the switch to stop.
    """
    sets = sorted(set(wanted), key=sorted)
    session.curves(report=report, cancel=cancel)  # by all threads together, before each goes its own way
    job = Job(name, max(1, len(sets)), report, cancel)

    missing = sum(not session.is_measured(tracks or None) for tracks in sets)
    # Many sets go one to a thread; few would leave threads idle while the mix, by far the longest, is rendered.
    workers = 1 if missing > default_workers() else None

    def one(tracks: frozenset[str]) -> Contribution:
        found = Contribution(*session.measured(tracks or None, workers=workers, cancel=cancel))
        job.step()
        return found

    return dict(zip(sets, in_order(one, sets), strict=True))


def scene_of(session: Session, *, report: Report = silent, cancel: Cancel | None = None) -> Scene:
    """Measure the layers that a balance deals with, and the mix as it stands.

    Tracks that are moved together are heard together, so that what they have in common counts.
    """
    elements = elements_of(session.song)
    layers = {layer.id: frozenset(layer.tracks) for element in elements for layer in element.layers}
    found = contributions(session, {WHOLE, *layers.values()}, report=report, cancel=cancel)
    mix = found[WHOLE]
    hz = np.asarray(mix.levels.third_octave_hz, dtype=np.float64)
    return Scene(elements, {id_: found[tracks].sound() for id_, tracks in layers.items()}, mix.sound(), hz)


def corridor_of(session: Session, *, report: Report = silent, cancel: Cancel | None = None) -> Corridor:
    """Profile the references of a song, each once, and return what they span.

    Raises
    ------
    InputError
        when a reference is missing, silent, or cannot be used
    SettingError
        when it was chosen for an attribute that is not known
    """
    references = session.song.references
    if not references:
        return Corridor()
    job = Job("reading references", len(references), report, cancel)

    def one(reference: Reference) -> RecordProfile:
        with where(printable(reference.file)):
            found = _profile(session, reference, cancel)
        job.step()
        return found

    profiles = tuple(in_order(one, references))
    return corridor(profiles, [reference.use_for for reference in references])


def finished_files(song: Song) -> tuple[str, ...]:
    """Return the files that `corridor_of` opens: the records, and the voices of those whose voice is there alone."""
    return tuple(file for one in song.references for file in (one.file, one.voice) if file)


def sounding_hash(song: Song, lanes: Collection[Lane]) -> str:
    """Return a hash of everything in a song that can be heard: files, settings, accepted moves, automation.

    A result kept with another hash was measured before something changed.
    """
    tracks = [
        (t.id, t.sha256, t.start_frame, t.mute, t.group, t.strip, t.sends, t.pre_sends, t.source)
        for t in used_tracks(song)
    ]
    moves = [
        (m.kind, m.target, m.sections, m.settings, m.strength, m.key, m.send)
        for m in song.moves
        if m.state == "accepted"
    ]
    whole = (song.rate_hz, song.pan_law_db, song.groups, song.sends, song.master, song.sections, tuple(lanes))
    return Cache.key("sounding", tracks, moves, whole)


def _profile(session: Session, reference: Reference, cancel: Cancel | None) -> RecordProfile:
    found = _profile_of(session, reference.file, cancel)
    if not reference.voice:
        return found
    with where(printable(reference.voice)):
        voice = _profile_of(session, reference.voice, cancel)
    return changed(found, lead_re_mix_lu=_less(voice.integrated_lufs, found.integrated_lufs))


def _less(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one - other


def _profile_of(session: Session, file: str, cancel: Cancel | None) -> RecordProfile:
    path = song_path(session.folder, file)
    if not path.is_file():
        raise InputError("this reference is missing", hint="put it back, or take it out of song.toml under references")
    stem = session.store.open(path)
    key = session.cache.key("profile", stem.sha256, code_hash("mixwright.reference", *MEASURED_BY, *DECODED_BY))
    found = session.cache.record(key, RecordProfile, lambda: profile(stem.audio, stem.rate_hz, cancel=cancel))
    if found.integrated_lufs is None:
        raise InputError("this reference is silent, or too short to be measured", hint="give the whole record")
    return found
