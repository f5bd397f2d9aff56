# SPDX-License-Identifier: Apache-2.0
"""What lies beside the prints: a list to read, digests for `sha256sum -c`, and all of it as JSON."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import msgspec

from mixwright.errors import printable
from mixwright.io.part_versions import part_versions
from mixwright.io.replace import write_text
from mixwright.io.song_text import new_text
from mixwright.model.agreement import Agreement
from mixwright.model.lane import Lane
from mixwright.model.prints import CopiedFile, PrintedFile, SumOfParts
from mixwright.model.record import Record
from mixwright.model.results import CheckLine
from mixwright.model.song import Song, changed

MANIFEST_FILE = "manifest.json"
SUMS_FILE = "SHA256SUMS"
LIST_FILE = "prints.txt"
_SCHEMA = 2


class Manifest(Record, frozen=True, kw_only=True):
    """A delivery, with all that it takes to make it again; no time of day, so that a reprint is the same to the byte.

    `parts`: versions of what made it. `moves`: the accepted ones. `song`: the text of a `song.toml` that sounds the
    same, without notes and references; `lanes`: its kept automation. `agreement`: what was printed.
    """

    schema: Annotated[int, msgspec.Meta(ge=_SCHEMA, le=_SCHEMA)] = _SCHEMA
    title: str
    artist: str
    parts: Mapping[str, str]
    rate_hz: int
    frames: int
    gain_db: float
    moves: tuple[str, ...]
    files: tuple[PrintedFile, ...]
    beside: tuple[CopiedFile, ...] = ()
    sums: tuple[SumOfParts, ...] = ()
    checks: tuple[CheckLine, ...] = ()
    missing: tuple[str, ...] = ()
    agreement: Agreement = Agreement()
    song: str = ""
    lanes: tuple[Lane, ...] = ()


def manifest_of(
    song: Song,
    lanes: tuple[Lane, ...],
    agreement: Agreement,
    *,
    frames: int,
    gain_db: float,
    files: tuple[PrintedFile, ...],
    beside: tuple[CopiedFile, ...],
    sums: tuple[SumOfParts, ...],
    checks: tuple[CheckLine, ...],
    missing: tuple[str, ...],
) -> Manifest:
    """Return the manifest of a set of prints of a song."""
    accepted = tuple(changed(move, reason="") for move in song.moves if move.state == "accepted")
    heard = changed(
        song,
        moves=accepted,
        agreement=agreement,
        notes=(),
        left_as_is=(),
        locks=(),
        asks=(),
        references=(),
        rough="",
        rough_sha256="",
        mix_print="",
        mix_print_sha256="",
        automation="",
    )
    return Manifest(
        title=song.title,
        artist=song.artist,
        parts=part_versions(),
        rate_hz=song.rate_hz,
        frames=frames,
        gain_db=gain_db,
        moves=tuple(move.id for move in accepted),
        files=files,
        beside=beside,
        sums=sums,
        checks=checks,
        missing=missing,
        agreement=agreement,
        song=new_text(heard),
        lanes=lanes,
    )


def write_manifest(folder: Path, manifest: Manifest) -> None:
    """Write ``manifest.json``, ``prints.txt`` and ``SHA256SUMS`` into the folder of the prints."""
    text = msgspec.json.format(msgspec.json.encode(manifest), indent=1).decode("utf-8") + "\n"
    told = readable_list(manifest)
    write_text(folder / MANIFEST_FILE, text)
    write_text(folder / LIST_FILE, told)
    digests = [(file.sha256, file.file) for file in manifest.files]
    digests += [(copy.sha256, copy.file) for copy in manifest.beside]
    digests += [(_digest(text), MANIFEST_FILE), (_digest(told), LIST_FILE)]
    write_text(folder / SUMS_FILE, "".join(f"{digest}  {name}\n" for digest, name in digests))


def digests_of(text: bytes) -> dict[str, str]:
    """Return the digests of a ``SHA256SUMS`` by file; lines that are none are left out."""
    lines = (line.split("  ", 1) for line in text.decode("utf-8", "replace").splitlines())
    return {parts[1]: parts[0] for parts in lines if len(parts) == 2}


def readable_list(manifest: Manifest) -> str:
    """Return what the prints are, for a person: what each is, its level, its digests, and what was checked."""
    lines = [printable(f"{manifest.title}, {manifest.artist}" if manifest.artist else manifest.title), ""]
    for file in manifest.files:
        loudness = "silent" if file.integrated_lufs is None else f"{file.integrated_lufs:.1f} LUFS"
        peak = "" if file.true_peak_dbtp is None else f", {file.true_peak_dbtp:.1f} dBTP"
        lowered = f", {file.gain_db:+.1f} dB beside the mix" if file.gain_db else ""
        seconds = file.frames / file.rate_hz
        lines += [
            file.file,
            f"  {file.kind.replace('_', ' ')}, {file.rate_hz} Hz, {file.sample_format}, {seconds:.3f} s",
            f"  {loudness}{peak}{lowered}",
            f"  SHA-256 {file.sha256}",
            f"  audio   {file.audio_sha256}",
        ]
    for copy in manifest.beside:
        lines += [printable(copy.file), f"  {copy.kind}, as it is in {printable(copy.copy_of)}"]
        lines += [f"  SHA-256 {copy.sha256}"]
    lines += ["", "Checked:"]
    lines += [f"  {'holds' if one.passed else 'FAILS'}  {one.name}: {printable(one.detail)}" for one in manifest.checks]
    if manifest.missing:
        lines += ["", "Missing of what was agreed:", *(f"  {printable(one)}" for one in manifest.missing)]
    lines += ["", "Made with " + ", ".join(f"{name} {version}" for name, version in manifest.parts.items())]
    return "\n".join(lines) + "\n"


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()
