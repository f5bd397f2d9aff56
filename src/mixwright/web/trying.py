# SPDX-License-Identifier: Apache-2.0
"""Moves that a page tries out: what their layers go through, and their audio, the last ones kept at hand."""

from __future__ import annotations

import threading

import msgspec
from starlette.datastructures import QueryParams
from starlette.responses import Response

from mixwright.app.playable import Audio, Playable
from mixwright.app.trying import TriedAudio, tried_chains, tried_out
from mixwright.errors import SettingError
from mixwright.io.song_file import load_song
from mixwright.model.record import Record
from mixwright.web.answers import Asked, document_response
from mixwright.web.excerpts import number_of
from mixwright.web.wav import wav_response


class Turned(Record, frozen=True, kw_only=True):
    """Settings of a move as they are turned: `settings` as typed, `channels` of each part."""

    move: str
    settings: dict[str, str]
    channels: tuple[int, ...]


class Trying:
    """Tries moves of one song out."""

    def __init__(self, playable: Playable) -> None:
        self._playable = playable
        self._guard = threading.Lock()
        self._kept: tuple[object, TriedAudio] | None = None

    def told(self, asked: Asked) -> Response:
        """Answer with what the parts of `move` go through from `start_s` to `end_s`."""
        return document_response("try", asked.folder, self._tried(asked.query).tried)

    def audio(self, asked: Asked) -> Response:
        """Answer with the audio of `part`, or of its `listens`, both counted from 0."""
        tried = self._tried(asked.query)
        return wav_response(_chosen(tried, asked.query), asked.range)

    def turned(self, asked: Asked) -> Response:
        """Answer with what the parts go through with other settings; the song stays as it is."""
        try:
            wanted = msgspec.json.decode(asked.body, type=Turned)
        except msgspec.MsgspecError as error:
            raise SettingError(f"this cannot be tried: {error}") from error
        song = load_song(asked.folder)  # nothing of its audio is asked for, so nobody waits for what is rendered
        return document_response("try", asked.folder, tried_chains(song, wanted.move, wanted.settings, wanted.channels))

    def _tried(self, query: QueryParams) -> TriedAudio:
        asked = query.get("move", ""), number_of(query, "start_s"), number_of(query, "end_s")
        with self._guard:
            session = self._playable.session()
            if self._kept is None or self._kept[0] != (asked, session):
                self._kept = (asked, session), tried_out(self._playable, *asked)
            return self._kept[1]


def _chosen(tried: TriedAudio, query: QueryParams) -> Audio:
    try:
        audio, keys = tried.parts[int(query.get("part", ""))]
        return keys[int(query["listens"])] if "listens" in query else audio
    except (ValueError, IndexError) as error:
        raise SettingError("there is no such part", hint="ask for those that are told of") from error
