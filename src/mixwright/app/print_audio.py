# SPDX-License-Identifier: Apache-2.0
"""The audio of prints: what they have in common is rendered once, and each is put together from it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from mixwright.app.dynamics import trim_db
from mixwright.app.keys import RENDERED_BY, rendered_key
from mixwright.app.session import Session
from mixwright.core.resample import Resampler, resampled_frames
from mixwright.delivery.print_set import Print, Sound
from mixwright.delivery.quiet_ends import fade_frames, faded
from mixwright.engine.curves import Listening
from mixwright.engine.graph import MixGraph, bus
from mixwright.engine.parts import before_limiter, before_master, limiter_gains, limiter_trim, returned, within
from mixwright.engine.returns import return_alone, without_sends
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, until_stopped
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.derived import resolved
from mixwright.model.dynamics_inserts import Clipper
from mixwright.model.song import Song, changed, sounding_tracks
from mixwright.native.mathematics import ratio
from mixwright.units import frames_from_s

BLOCK_FRAMES = 65536
#: Words are muted and come back within this, outside of the time that is given for them. Common practice, no source.
WORD_FADE_S = 0.010


@dataclass(frozen=True, eq=False)
class PrintAudio:
    """A print as a sum of arrays ``(frames, 2)``, each times a factor, times `gains` ``(frames, 1)`` and `gain`.

    Its first `fade_in` and last `fade_out` frames are faded. `key` names all that it depends on.
    """

    rate_hz: int
    frames: int
    key: str
    parts: tuple[tuple[np.ndarray, float], ...]
    gains: np.ndarray | None = None
    gain: float = 1.0
    fade_in: int = 0
    fade_out: int = 0

    def block(self, start: int, end: int) -> np.ndarray:
        """Return float64 ``(end - start, 2)``."""
        (array, factor), *others = self.parts
        total: np.ndarray = np.multiply(array[start:end], factor, dtype=np.float64)
        for array, factor in others:
            if factor == 1.0:
                total += array[start:end]
            else:
                total += np.multiply(array[start:end], factor, dtype=np.float64)
        if self.gains is not None:
            total *= self.gains[start:end]
        if self.gain != 1.0:
            total *= self.gain
        return faded(total, start, self.frames, fade_in=self.fade_in, fade_out=self.fade_out)

    def blocks(self, cancel: Cancel | None = None) -> Iterator[np.ndarray]:
        """Yield it block by block."""
        for start in until_stopped(range(0, self.frames, BLOCK_FRAMES), cancel):
            yield self.block(start, min(start + BLOCK_FRAMES, self.frames))


@dataclass(frozen=True)
class _View:
    """From where in the mix audio is taken, and what of it: all, dry, wet, muted words, or one return."""

    stage: Literal["mix", "before limiter", "before master"]
    sound: Sound | Literal["words"] = "whole"
    send: str = ""


@dataclass(frozen=True)
class _Piece:
    """Some tracks in a view (None: all), times a factor."""

    view: _View
    tracks: frozenset[str] | None
    factor: float = 1.0


def print_audio(
    session: Session, entries: Collection[Print], report: Report, cancel: Cancel | None
) -> dict[Print, PrintAudio]:
    """Render what prints have in common, and return each as it is put together from it."""
    session.curves(report=report, cancel=cancel)  # made once, before several threads ask for them
    own = {entry: song for entry in entries if (song := _own_song(session.song, entry)) is not None}
    shared = [entry for entry in entries if entry not in own]
    pieces = {entry: _pieces(session.song, entry) for entry in shared}
    cells = _cells(session.song, [piece for each in pieces.values() for piece in each])
    views = {view: _graph(session, view) for view in dict.fromkeys(view for view, _ in cells)}
    limited = shared if session.graph.limiter is not None else []
    job = Job("rendering", max(1, len(cells) + len(own) + sum(map(_is_limited_anew, limited))), report, cancel)

    def one(cell: tuple[_View, frozenset[str] | None]) -> np.ndarray:
        view, tracks = cell
        found = session.rendered(tracks, graph=views[view], workers=1 if len(cells) > 1 else None, cancel=cancel)
        job.step()
        return found

    arrays = dict(zip(cells, in_order(one, cells), strict=True))
    keys = {(view, tracks): rendered_key("mix", views[view], tracks) for view, tracks in cells}
    found = {entry: _put_together(session, pieces[entry], arrays, keys) for entry in shared}
    for entry in limited:
        if entry.master == "whole" and pieces[entry][0].view.stage == "before limiter":
            found[entry] = _limited(session, found[entry])
        elif _is_limited_anew(entry):
            found[entry] = _limited_anew(session, found[entry], cancel)
            job.step()
    for entry, song in own.items():
        found[entry] = _whole(session.changed(song), report, cancel)
        job.step()
    return {entry: found[entry] for entry in entries}


def with_quiet_ends(found: Mapping[Print, PrintAudio]) -> dict[Print, PrintAudio]:
    """Return prints of one rate, all of them faded where one begins or ends with a step: so they still add up."""

    def steps(frame_of: Callable[[PrintAudio], int]) -> int:
        edges = (one.block(frame_of(one), frame_of(one) + 1) for one in found.values() if one.frames)
        highest = max((float(np.abs(edge).max()) for edge in edges), default=0.0)
        return fade_frames(highest, next(iter(found.values())).rate_hz)

    first, last = steps(lambda _: 0), steps(lambda one: one.frames - 1)
    if not first and not last:
        return dict(found)
    return {
        entry: replace(one, key=Cache.key("faded", one.key, first, last), fade_in=first, fade_out=last)
        for entry, one in found.items()
    }


def array_keys(song: Song, graph: MixGraph, entries: Iterable[Print]) -> list[str]:
    """Return the keys of the arrays that prints are put together from, but for those with a mix of their own."""
    shared = [entry for entry in entries if _own_song(song, entry) is None]
    cells = _cells(song, [piece for entry in shared for piece in _pieces(song, entry)])
    views = {view: _view_of(song, graph, view) for view in dict.fromkeys(view for view, _ in cells)}
    return [rendered_key("mix", views[view], tracks) for view, tracks in cells]


def own_arrays(song: Song, entries: Iterable[Print]) -> tuple[int, int]:
    """Return how many prints have a mix of their own, and how many the limiter hears anew."""
    chosen = list(entries)
    own = sum(_own_song(song, entry) is not None for entry in chosen)
    anew = sum(_is_limited_anew(entry) for entry in chosen) if song.master.limiter is not None else 0
    return own, anew


def at_rate(session: Session, audio: PrintAudio, rate_hz: int, cancel: Cancel | None) -> PrintAudio:
    """Return a print at another rate, converted once and kept; one that has that rate as it is."""
    if rate_hz == audio.rate_hz:
        return audio
    key = Cache.key("print at rate", audio.key, rate_hz, code_hash("mixwright.core.resample"))

    def make(path: Path) -> None:
        resampler = Resampler(audio.rate_hz, rate_hz, 2, np.float64)
        with ArrayWriter(path, 2) as writer:
            for block in audio.blocks(cancel):
                writer.push(resampler.push(block))
            writer.push(resampler.finish())

    frames = resampled_frames(audio.frames, audio.rate_hz, rate_hz)
    return PrintAudio(rate_hz, frames, key, ((session.cache.array(key, make), 1.0),))


def _is_limited_anew(entry: Print) -> bool:
    return entry.master == "limited anew" and entry.keys == "held"


def _own_song(song: Song, entry: Print) -> Song | None:
    """Return the song whose whole mix a print is, where its gains are made anew; None where it is a part of the mix."""
    if entry.master == "unlimited":
        whole = resolved(song)
        inserts = tuple(changed(i, on=False) if isinstance(i, Clipper) else i for i in whole.master.inserts)
        bent = inserts != whole.master.inserts
        return changed(whole, master=changed(whole.master, limiter=None, inserts=inserts)) if bent else None
    if entry.keys == "held" or (entry.tracks is None and not entry.raised):
        return None
    tracks = []
    for track in song.tracks:
        mute = track.mute or (entry.tracks is not None and track.id not in entry.tracks)
        if track.id in entry.raised:
            feeds = {send: db + entry.raised_db for send, db in track.pre_sends.items()}
            strip = changed(track.strip, fader_db=track.strip.fader_db + entry.raised_db)
            tracks.append(changed(track, strip=strip, pre_sends=feeds))
        else:
            tracks.append(changed(track, mute=mute))
    return changed(song, tracks=tuple(tracks))


def _pieces(song: Song, entry: Print) -> tuple[_Piece, ...]:
    """Return what a print is the sum of, before the limiter if it passes one."""
    if entry.master == "none":
        return (_Piece(_View("before master", entry.sound, entry.send), entry.tracks),)
    limited = song.master.limiter is not None
    plain = entry.tracks is None and not entry.raised and not entry.without_words and entry.master == "whole"
    if plain or not limited:
        view = _View("mix", entry.sound, entry.send)
    else:
        view = _View("before limiter", entry.sound, entry.send)
    found = [_Piece(view, entry.tracks)]
    if entry.raised:
        found.append(_Piece(_View(view.stage), entry.raised, float(ratio(entry.raised_db)) - 1.0))
    if entry.without_words:
        found.append(_Piece(_View(view.stage, "words"), entry.without_words, -1.0))
    return tuple(found)


def _cells(song: Song, pieces: Sequence[_Piece]) -> tuple[tuple[_View, frozenset[str] | None], ...]:
    """Return what is rendered: in each view, the tracks that are always heard together; None is the whole of it."""
    found: dict[tuple[_View, frozenset[str] | None], None] = {}
    for view in dict.fromkeys(piece.view for piece in pieces):
        asked = dict.fromkeys(_sets(song, piece) for piece in pieces if piece.view == view)
        sets = [one for one in asked if one is not None]
        if len(sets) < len(asked):
            found[view, None] = None
        together: dict[tuple[bool, ...], set[str]] = {}
        for track in (track.id for track in sounding_tracks(song)):
            where = tuple(track in one for one in sets)
            if any(where):
                together.setdefault(where, set()).add(track)
        found |= dict.fromkeys((view, frozenset(cell)) for cell in together.values())
    return tuple(found)


def _sets(song: Song, piece: _Piece) -> frozenset[str] | None:
    """Return the tracks of a piece; None where the whole of its view is one array."""
    if piece.tracks is None and piece.view == _View("before limiter"):
        return frozenset(track.id for track in sounding_tracks(song))
    return piece.tracks


def _graph(session: Session, view: _View) -> MixGraph:
    return _view_of(session.song, session.graph, view)


def _view_of(song: Song, graph: MixGraph, view: _View) -> MixGraph:
    """Return the graph of a view."""
    if view.send:
        graph = return_alone(graph, bus(view.send, "send"))
    if view.sound == "dry":
        graph = without_sends(graph, frozenset(bus(send.id, "send") for send in song.sends))
    elif view.sound == "wet":
        graph = returned(graph)
    elif view.sound == "words":
        spans = [
            (frames_from_s(words.start_s, song.rate_hz), frames_from_s(words.end_s, song.rate_hz))
            for words in song.muted_words
        ]
        graph = within(graph, spans, frames_from_s(WORD_FADE_S, song.rate_hz))
    if view.stage == "before limiter":
        return before_limiter(graph)
    return before_master(graph) if view.stage == "before master" else graph


def _put_together(
    session: Session,
    pieces: Sequence[_Piece],
    arrays: Mapping[tuple[_View, frozenset[str] | None], np.ndarray],
    keys: Mapping[tuple[_View, frozenset[str] | None], str],
) -> PrintAudio:
    factors: dict[tuple[_View, frozenset[str] | None], float] = {}
    for piece in pieces:
        tracks = _sets(session.song, piece)
        for view, cell in arrays:
            inside = cell is None if tracks is None else cell is not None and cell <= tracks
            if view == piece.view and inside:
                factors[view, cell] = factors.get((view, cell), 0.0) + piece.factor
    parts = tuple((arrays[cell], factor) for cell, factor in factors.items())
    key = Cache.key("print", [[keys[cell], factor] for cell, factor in factors.items()])
    return PrintAudio(session.song.rate_hz, session.graph.frames, key, parts)


def _limited(session: Session, audio: PrintAudio) -> PrintAudio:
    """Return a part of the mix with the gains that the limiter makes of all of it."""
    curves = session.curves()
    if curves is None:
        return audio
    key = Cache.key("limited", audio.key, rendered_key("mix", session.graph, None))
    return replace(audio, key=key, gains=limiter_gains(session.graph, curves), gain=limiter_trim(curves))


def _limited_anew(session: Session, audio: PrintAudio, cancel: Cancel | None) -> PrintAudio:
    """Return a print as the limiter makes it that hears it, under the same ceiling."""
    graph = session.graph
    key = Cache.key("limited anew", audio.key, graph.limiter, code_hash(*RENDERED_BY))

    def make(path: Path) -> None:
        with ArrayWriter(path, 2) as writer:
            for block in Listening(graph).limit(audio.blocks(cancel), 0):
                writer.push(block)

    made = PrintAudio(audio.rate_hz, audio.frames, key, ((session.cache.array(key, make), 1.0),))
    trim = trim_db(graph, true_peak_16x(made.blocks(cancel)))
    return replace(made, gain=float(ratio(trim or 0.0)))


def _whole(session: Session, report: Report, cancel: Cancel | None) -> PrintAudio:
    """Return the whole mix of a song as a print."""
    audio = session.rendered(report=report, cancel=cancel)
    key = Cache.key("whole", rendered_key("mix", session.graph, None))
    return PrintAudio(session.song.rate_hz, session.graph.frames, key, ((audio, 1.0),))
