# SPDX-License-Identifier: Apache-2.0
"""Audio as a WAV file that is never written: head and samples where they lie, whole or by ranges."""

from __future__ import annotations

import re
from collections.abc import Iterator

from starlette.responses import Response, StreamingResponse

from mixwright.app.playable import Audio

_RANGE = re.compile(r"bytes=(\d*)-(\d*)", re.ASCII)
_PIECE_BYTES = 1 << 18


def wav_response(audio: Audio, range_header: str | None) -> Response:
    """Return audio as 32-bit float WAV, or the part that is asked for (RFC 9110 section 14).

    Parameters
    ----------
    audio : Audio
    range_header : str, optional
        ``bytes=FIRST-LAST``, ``bytes=FIRST-`` or ``bytes=-MANY``; of any other form it is ignored
    """
    head, body = audio.wav_head(), audio.samples.data.cast("B")
    size = len(head) + len(body)
    told = {"Accept-Ranges": "bytes"}
    found = _RANGE.fullmatch(range_header.strip()) if range_header else None
    if found is None or found.groups() == ("", ""):
        start, end, status = 0, size, 200
    else:
        first, last = found.groups()
        start = int(first) if first else max(size - int(last), 0)
        end, status = (min(int(last) + 1, size) if first and last else size), 206
        told["Content-Range"] = f"bytes {start}-{end - 1}/{size}"
    if start >= end:
        return Response(status_code=416, headers={**told, "Content-Range": f"bytes */{size}"})
    told["Content-Length"] = str(end - start)
    return StreamingResponse(_pieces(head, body, start, end), status, told, "audio/wav")


def _pieces(head: bytes, body: memoryview, start: int, end: int) -> Iterator[bytes]:
    if start < len(head):
        yield head[start:end]
    for first in range(max(start, len(head)), end, _PIECE_BYTES):
        yield bytes(body[first - len(head) : min(first + _PIECE_BYTES, end) - len(head)])
