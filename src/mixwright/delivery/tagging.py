# SPDX-License-Identifier: Apache-2.0
"""What a finished file of a song says of itself."""

from __future__ import annotations

from mixwright.model.levels import Levels
from mixwright.model.song import Song
from mixwright.model.tags import Marker, TagLoudness, Tags, checked_isrc, clean_tags, short_key
from mixwright.version import __version__

#: Kinds of prints that are not said as they are written, with spaces and a capital.
_SPOKEN = {"main": "", "tv": "TV", "for_mastering": "For mastering"}


def song_tags(
    song: Song,
    *,
    rate_hz: int,
    frames: int,
    kind: str = "",
    part: str = "",
    loudness: TagLoudness | None = None,
    comment: str = "",
) -> Tags:
    """Return the tags of a file of a song that begins where the song does.

    Parameters
    ----------
    song : Song
    rate_hz, frames : int
        Of the file; where a section begins behind its end there is no mark.
    kind : str
        Of the print, "" for what is none. It chooses the ISRC: another kind is another recording.
    part : str
        The group or layer that it holds, or what it is where it has no kind: it is said before the kind.
    loudness : TagLoudness, optional
    comment : str
    """
    starts = ((section.name, round(section.start_s * rate_hz)) for section in song.sections)
    code = song.isrc.get(kind, "")
    return clean_tags(
        Tags(
            title=song.title,
            print=print_words(kind, part),
            artist=song.artist,
            album=song.album,
            kind=kind,
            isrc=checked_isrc(code, f"isrc.{kind}") if code else "",
            date=song.date,
            bpm=song.tempo_bpm,
            key=short_key(song.key),
            comment=comment,
            software=f"Mixwright {__version__}",
            credits=song.credits,
            loudness=loudness or TagLoudness(),
            markers=tuple(Marker(name=name, frame=frame) for name, frame in starts if frame < frames),
        )
    )


def print_words(kind: str, part: str = "") -> str:
    """Return which print this is, in words: nothing for the main mix, ``Instrumental``, ``Drums stem``."""
    said = _SPOKEN.get(kind, kind.replace("_", " "))
    words = f"{part} {said}".strip()
    return words[:1].upper() + words[1:]


def told_loudness(levels: Levels, gain_db: float = 0.0) -> TagLoudness:
    """Return the levels that a broadcast extension tells, of audio that is written with a gain."""

    def shifted(level: float | None) -> float | None:
        return None if level is None else level + gain_db

    return TagLoudness(
        integrated_lufs=shifted(levels.integrated_lufs),
        range_lu=levels.loudness_range_lu,
        true_peak_dbtp=shifted(levels.true_peak_dbtp),
        momentary_max_lufs=shifted(levels.momentary_max_lufs),
        short_term_max_lufs=shifted(levels.short_term_max_lufs),
    )
