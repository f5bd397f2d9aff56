# SPDX-License-Identifier: Apache-2.0
"""Blind tests that a page has done, kept with the song."""

from __future__ import annotations

import msgspec
from starlette.responses import Response

from mixwright.app.blind import keep_blind, kept_blind
from mixwright.errors import SettingError
from mixwright.model.blind import BlindTest
from mixwright.web.answers import Asked, document_response


def blind_tests(asked: Asked) -> Response:
    """Answer with the tests of the song."""
    return document_response("blind", asked.folder, kept_blind(asked.folder))


def blind_done(asked: Asked) -> Response:
    """Keep a test that is done, and answer with what it tells."""
    try:
        test = msgspec.json.decode(asked.body, type=BlindTest)
    except msgspec.MsgspecError as error:
        raise SettingError(f"this is no blind test: {error}") from error
    return document_response("blind", asked.folder, keep_blind(asked.folder, test))
