# SPDX-License-Identifier: Apache-2.0
"""A move that is tried out: all that a page needs to hear it change at once, while the exact mix is rendered.

What sounds is the mix without the move, and what the move makes of its layers less what they are.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mixwright.app.decide import changed_move, find_moves
from mixwright.app.playable import Audio, Playable, sounding_with, span_of
from mixwright.app.session import Session
from mixwright.engine.chain import Chain
from mixwright.engine.graph import bus
from mixwright.engine.operation import Gain, Operation
from mixwright.engine.processors import operations_of
from mixwright.engine.taps import placing, stays_placed, tapped_excerpt
from mixwright.errors import SettingError, StateError
from mixwright.model.move_inserts import insert_of, moved_strips
from mixwright.model.move_settings import said
from mixwright.model.record import Record
from mixwright.model.song import MASTER, Move, Song, changed, return_of
from mixwright.model.words import MoveKind
from mixwright.native.mathematics import ratio

#: What these do is the same before the fader and after it, so all that comes of a layer goes through it.
_ANYWHERE: frozenset[MoveKind] = frozenset({"level", "band_limit", "shape", "tilt"})
#: What these do depends on where it stands: it is done before the fader, and what the layer sends elsewhere stays.
_BEFORE_FADER: frozenset[MoveKind] = frozenset({"dip", "duck", "even_out", "colour", "width"})


class TriedPart(Record, frozen=True, kw_only=True):
    """A layer that goes through a move: `chain` as `Chain.listed` has it, `keys`: how many it listens to.

    `matrix`: from the left and right of the layer to those of the mix, as `engine.taps.placing`.
    """

    chain: dict[str, object]
    keys: int
    matrix: tuple[float, float, float, float]


class Tried(Record, frozen=True, kw_only=True):
    """A move as it can be tried out; `near`: why what sounds is not to the bit what is rendered, "" where it is."""

    move: str
    parts: tuple[TriedPart, ...]
    near: str = ""


@dataclass(frozen=True, eq=False)
class TriedAudio:
    """What a page is told of a move, and the audio of its parts, each with that of its keys."""

    tried: Tried
    parts: tuple[tuple[Audio, tuple[Audio, ...]], ...]


def tried_out(playable: Playable, move: str, start_s: float, end_s: float) -> TriedAudio:
    """Return what is needed to try a move out in a stretch of the song.

    Parameters
    ----------
    playable : Playable
    move : str
        its id
    start_s, end_s : float
        as for `Playable.excerpt`

    Raises
    ------
    StateError
        where the move is of a kind that is heard once it is rendered
    SettingError
        where it, or the stretch, is not known
    """
    session = playable.session()
    found = find_moves(session.song, move)[0]
    others = tuple(one.id for one in session.song.moves if one.state == "accepted" and one.id != found.id)
    without = dataclasses.replace(session, song=sounding_with(session.song, others))
    span = span_of(without, start_s, end_s)
    returns = {return_of(send) for send in session.song.sends}
    if found.kind not in _ANYWHERE | _BEFORE_FADER or (found.kind in _ANYWHERE and found.target in returns):
        raise StateError(f"{said(found.kind)} is heard once it is rendered", hint="play the mix with it")
    near = "The buses are not linear: they hear the move once it is rendered." if without.graph.dynamics else ""
    if found.kind in _ANYWHERE:
        tracks = () if found.target == MASTER else (found.target,)
        audio = playable.excerpt(start_s, end_s, tracks=tracks, moves=others)
        part = TriedPart(chain=_chain(session.song, found, 2).listed(), keys=0, matrix=(1.0, 0.0, 0.0, 1.0))
        return TriedAudio(Tried(move=found.id, parts=(part,), near=near), ((audio, ()),))
    return _before_faders(session, without, found, span, near)


def tried_chains(song: Song, move: str, words: Mapping[str, str], channels: tuple[int, ...]) -> list[dict[str, object]]:
    """Return what the parts of a move go through with other settings, as they are typed; nothing is changed.

    Parameters
    ----------
    song, move
    words : mapping
        as for `decide.change`
    channels : tuple of int
        of each part

    Raises
    ------
    SettingError
        where a setting does not fit
    """
    found = changed_move(song, find_moves(song, move)[0], words)
    if not all(count in (1, 2) for count in channels):
        raise SettingError("a part has one or two channels", where="channels")
    return [_chain(song, found, count).listed() for count in channels]


def _chain(song: Song, move: Move, channels: int) -> Chain:
    operations: tuple[Operation, ...]
    if move.kind == "level":
        operations = (Gain(float(ratio(move.settings["gain_db"] * move.strength))),)
    else:
        insert = insert_of(move, song.rate_hz)
        operations = () if insert is None else operations_of(changed(insert, sections=()), song.rate_hz)
    return Chain(operations or (Gain(1.0),), channels)


def _before_faders(session: Session, without: Session, move: Move, span: tuple[int, int], near: str) -> TriedAudio:
    names = [id_ if kind == "track" else bus(id_, kind) for kind, id_ in moved_strips(session.song, move)]
    used = {node.id for node in without.graph.tracks}
    names = [name for name in names if name in used or name not in session.audio]
    accepted = [one.id for one in session.song.moves if one.state == "accepted"]
    having = dataclasses.replace(session, song=sounding_with(session.song, {*accepted, move.id}))
    keys = {name: having.graph.nodes[name].keys.get(move.key, ()) for name in names}
    graph = without.graph
    wanted = dict.fromkeys([*names, *(one for key in keys.values() for one in key)])
    taps = tapped_excerpt(graph, tuple(wanted), session.audio, span, session.cache)
    rate_hz = session.song.rate_hz
    parts, audio = [], []
    for name in names:
        channels = taps[name].shape[1]
        chain = _chain(session.song, move, channels)
        key = sum((_both(taps[one]) for one in keys[name]), np.zeros((span[1] - span[0], 2), dtype=np.float32))
        matrix = placing(graph, name, span[0], channels)
        parts.append(TriedPart(chain=chain.listed(), keys=len(chain.keys), matrix=matrix))
        audio.append((Audio(taps[name], rate_hz), (Audio(key, rate_hz),) * len(chain.keys)))
    if not all(stays_placed(graph, name, span) for name in names):
        near = near or "Automation moves the layer here: the move follows it once it is rendered."
    sends = any(output.target.startswith("send ") for name in names for output in graph.nodes[name].outputs)
    near = near or ("What it sends elsewhere hears the move once it is rendered." if sends else "")
    return TriedAudio(Tried(move=move.id, parts=tuple(parts), near=near), tuple(audio))


def _both(audio: np.ndarray) -> np.ndarray:
    return np.repeat(audio, 2, axis=1) if audio.shape[1] == 1 else audio
