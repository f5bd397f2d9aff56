# SPDX-License-Identifier: Apache-2.0
"""Look at a set of prints again, later or where it was copied to: what is missing, changed, or was put beside it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import msgspec

from mixwright.delivery.manifest import LIST_FILE, MANIFEST_FILE, SUMS_FILE, Manifest, digests_of
from mixwright.errors import InputError, count, listed, printable
from mixwright.io.file_sets import FileSet, file_set
from mixwright.jobs.pool import in_order
from mixwright.jobs.progress import Cancel, Job, Report, silent
from mixwright.model.prints import VerifiedFile, VerifyResult
from mixwright.model.results import CheckLine

#: As large as what lies beside the prints may be.
_MOST_BYTES = 1 << 26


def verify(place: Path, *, report: Report = silent, cancel: Cancel | None = None) -> VerifyResult:
    """Hold the files of a folder or ZIP against the manifest that lies among them.

    Nothing is unpacked, and no more of a file is read than the manifest says that it holds.

    Parameters
    ----------
    place : Path
        A folder of prints, or a ZIP of one.
    report, cancel
        Progress and stop switch.

    Raises
    ------
    InputError
        when it cannot be read, or holds no manifest of ours
    """
    place = Path(place)
    with file_set(place) as files:
        manifest, text = _manifest(files, place)
        wanted = {file.file: (file.sha256, file.size_bytes) for file in manifest.files}
        wanted |= {copy.file: (copy.sha256, copy.size_bytes) for copy in manifest.beside}
        job = Job("looking at files", max(1, len(wanted)), report, cancel)

        def one(name: str) -> VerifiedFile:
            digest, size = wanted[name]
            there = name in files.names
            found = _held(name, same=there and files.digest(name, size, cancel) == digest)
            job.step()
            return found if there else VerifiedFile(file=name, state="missing")

        # A ZIP has one place from which it is read.
        seen = list(in_order(one, wanted, workers=None if place.is_dir() else 1))
        seen += _beside(files, text, {name: digest for name, (digest, _) in wanted.items()})
        known = {*wanted, *(file.file for file in seen)}
        extra = [name for name in files.names if name not in known and not _by_system(name)]
        seen += [VerifiedFile(file=name, state="extra") for name in extra]
    return VerifyResult(place=str(place), title=manifest.title, files=tuple(seen), checks=_checks(seen))


def _manifest(files: FileSet, place: Path) -> tuple[Manifest, bytes]:
    if MANIFEST_FILE not in files.names:
        raise InputError(f"holds no {MANIFEST_FILE}", where=printable(place), hint="name the folder of the prints")
    text = files.read(MANIFEST_FILE, _MOST_BYTES)
    try:
        return msgspec.json.decode(text, type=Manifest), text
    except (msgspec.MsgspecError, ValueError, RecursionError) as error:
        raise InputError(
            f"{MANIFEST_FILE} cannot be read: it is damaged, or of another version than this program's",
            where=printable(place),
            hint="`sha256sum -c SHA256SUMS` checks the files without it",
        ) from error


def _beside(files: FileSet, manifest: bytes, wanted: Mapping[str, str]) -> list[VerifiedFile]:
    """Return what became of manifest and list, by the digests beside them, and of these, by the manifest."""
    if SUMS_FILE not in files.names:
        return [VerifiedFile(file=SUMS_FILE, state="missing")]
    sums = digests_of(files.read(SUMS_FILE, _MOST_BYTES))
    found = []
    for name, limit in ((MANIFEST_FILE, len(manifest)), (LIST_FILE, _MOST_BYTES)):
        if name not in files.names:
            found.append(VerifiedFile(file=name, state="missing"))
        else:
            found.append(_held(name, same=files.digest(name, limit) == sums.get(name)))
    both = {name: digest for name, digest in sums.items() if name not in (MANIFEST_FILE, LIST_FILE)}
    return [*found, _held(SUMS_FILE, same=both == wanted)]


def _held(name: str, *, same: bool) -> VerifiedFile:
    return VerifiedFile(file=name, state="as printed" if same else "changed")


def _by_system(name: str) -> bool:
    """Tell whether an operating system put a file there, not a person: hidden ones, and two that one of them writes."""
    last = name.rpartition("/")[2]
    return last.startswith(".") or last.casefold() in ("thumbs.db", "desktop.ini")


def _checks(files: list[VerifiedFile]) -> tuple[CheckLine, ...]:
    lines = []
    for state, name in (("missing", "nothing missing"), ("changed", "nothing changed"), ("extra", "nothing added")):
        found = [file.file for file in files if file.state == state]
        detail = f"{count(len(found), 'file')}: {listed(found)}" if found else "not one file"
        lines.append(CheckLine(name=name, passed=not found, detail=detail))
    return tuple(lines)
