# SPDX-License-Identifier: Apache-2.0
"""The mix of a song as a finished one: its profile, with its sections and the level of its lead."""

from __future__ import annotations

from mixwright.app.keys import rendered_key
from mixwright.app.references import PROFILED_BY
from mixwright.app.session import Session
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel, Report, silent
from mixwright.model.profile import Profile
from mixwright.model.song import changed, targets_of
from mixwright.model.words import VOICE_ROLES
from mixwright.reference.profile import profile


def mix_profile(session: Session, *, report: Report = silent, cancel: Cancel | None = None) -> Profile:
    """Return the profile of the mix as it stands, rendered and profiled once for its settings."""
    audio = session.rendered(report=report, cancel=cancel)
    sections = session.song.sections
    key = Cache.key(rendered_key("mix profile", session.graph, None, *PROFILED_BY), sections)
    found = session.cache.record(key, Profile, lambda: profile(audio, session.song.rate_hz, sections, cancel=cancel))
    lead = _lead_lu(session, found, cancel)
    return changed(found, values=found.values | {"lead_re_mix_lu": (lead,)})


def _lead_lu(session: Session, mix: Profile, cancel: Cancel | None) -> float | None:
    """Return the loudness of the song's lead voice minus that of the mix; None where no voice leads."""
    tracks = frozenset(track.id for lead in session.song.lead for track in targets_of(session.song, lead))
    roles = {track.role for track in session.song.tracks if track.id in tracks}
    if not roles & VOICE_ROLES or mix.integrated_lufs is None:
        return None
    loudness = session.measured(tracks, cancel=cancel)[0].integrated_lufs
    return None if loudness is None else loudness - mix.integrated_lufs
