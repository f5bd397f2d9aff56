# SPDX-License-Identifier: Apache-2.0
"""What every layer contributes to the mix, measured once."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from mixwright.app.session import Session
from mixwright.jobs.cache import Cache
from mixwright.jobs.pool import default_workers, in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.meter.loudness import GATE_HOP_SUB_BLOCKS, Loudness
from mixwright.model.lane import Lane
from mixwright.model.levels import Levels
from mixwright.model.song import Song, used_tracks
from mixwright.planning.elements import elements_of
from mixwright.planning.scene import Scene
from mixwright.planning.sound import Sound
from mixwright.reference.spectrum import band_power

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
