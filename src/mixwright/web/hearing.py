# SPDX-License-Identifier: Apache-2.0
"""What a page needs to compare by ear: how loud a stretch is, and the filters that leave one band of it."""

from __future__ import annotations

from starlette.responses import Response

from mixwright.app.monitoring import band_chain
from mixwright.app.playable import Playable
from mixwright.web.answers import Asked, document_response
from mixwright.web.excerpts import Excerpts, number_of


def loudness(asked: Asked, playable: Playable, excerpts: Excerpts) -> Response:
    """Answer with the levels of a stretch: of an excerpt, as `/api/excerpt` has it, or with `of=ID` of a whole file."""
    name = asked.query.get("of")
    if name is None:
        levels = excerpts.asked(asked.query).levels()
    else:
        levels = playable.whole(name).levels(number_of(asked.query, "start_s"), number_of(asked.query, "end_s"))
    return document_response("loudness", asked.folder, levels)


def band(asked: Asked, playable: Playable) -> Response:
    """Answer with the list of operations that leaves what lies between `low_hz` and `high_hz`; 0: no edge."""
    low_hz, high_hz = (number_of(asked.query, name) for name in ("low_hz", "high_hz"))
    return document_response("band", asked.folder, band_chain(low_hz, high_hz, playable.session().song.rate_hz))
