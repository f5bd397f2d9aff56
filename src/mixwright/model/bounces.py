# SPDX-License-Identifier: Apache-2.0
"""Bounces: tracks whose file was written anew, what of the open moves each holds, and what else it changed."""

from __future__ import annotations

from mixwright.model.record import Record


class DialledCost(Record, frozen=True, kw_only=True):
    """A layer that lost by it, by how many dB of its fader."""

    track: str
    name: str
    fader_db: float


class DialledMove(Record, frozen=True, kw_only=True):
    """A move that a bounce holds.

    `share`: how much of it was dialled, 1 as it is set, by least squares over levels in third-octave bands and seconds.
    `victim`: the name of the layer that it is for. `predicted_db`: what the plan expected for that layer, in dB of its
    fader; `got_db`: what is heard of it, both mixes at equal loudness; None where either is not known. `told`: all of
    it in a sentence.
    """

    id: str
    does: str
    share: float
    victim: str = ""
    predicted_db: float | None = None
    got_db: float | None = None
    costs: tuple[DialledCost, ...] = ()
    told: str = ""


class Bounce(Record, frozen=True, kw_only=True):
    """A track whose file was written anew, and taken.

    `sha256`: of the new file. `superseded`: what it held before, kept under this path in the song folder until it is
    released; "" where it was, or could not be kept. `why`: why it was not compared. `moves`: what it holds of the open
    moves, the surest first; `also`: what else is another, one phrase each; `told`: all of it in a few sentences.
    """

    track: str
    name: str
    file: str
    sha256: str
    superseded: str = ""
    why: str = ""
    moves: tuple[DialledMove, ...] = ()
    also: tuple[str, ...] = ()
    told: str = ""


class Bounces(Record, frozen=True, kw_only=True):
    """The bounces that were taken, the newest first."""

    bounces: tuple[Bounce, ...] = ()


class BouncesView(Record, frozen=True, kw_only=True):
    """The bounces that were taken, the newest first; `superseded_bytes`: how much is kept of what they superseded."""

    bounces: tuple[Bounce, ...]
    superseded_bytes: int
