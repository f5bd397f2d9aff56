# SPDX-License-Identifier: Apache-2.0
"""What lies beside the prints: digests for `sha256sum -c`, and the same with levels and checks as JSON."""

from __future__ import annotations

import hashlib
from pathlib import Path

import msgspec

from mixwright.io.replace import write_text
from mixwright.model.record import Record
from mixwright.model.results import CheckLine, PrintedFile

MANIFEST_FILE = "manifest.json"
SUMS_FILE = "SHA256SUMS"


class Manifest(Record, frozen=True, kw_only=True):
    """A delivery; it carries no time of day, so that a reprint is the same to the byte.

    `gain_db` was applied to every file; `moves` are the accepted ones.
    """

    schema: int = 1
    title: str
    artist: str
    engine: str
    rate_hz: int
    frames: int
    gain_db: float
    moves: tuple[str, ...]
    files: tuple[PrintedFile, ...]
    checks: tuple[CheckLine, ...]


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """Write ``manifest.json`` and ``SHA256SUMS`` into the folder of the prints."""
    text = msgspec.json.format(msgspec.json.encode(manifest), indent=1).decode("utf-8") + "\n"
    write_text(folder / MANIFEST_FILE, text)
    digests = [(file.sha256, file.file) for file in manifest.files]
    digests.append((hashlib.sha256(text.encode("utf-8")).hexdigest(), MANIFEST_FILE))
    write_text(folder / SUMS_FILE, "".join(f"{digest}  {name}\n" for digest, name in digests))
