# SPDX-License-Identifier: Apache-2.0
"""Which files prints are written as: rates, depths, formats and names."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from mixwright.delivery.names import DEFAULT_TEMPLATE, NameFields, file_names
from mixwright.delivery.print_set import PARTS, Print
from mixwright.io.write import SampleFormat
from mixwright.model.agreement import Agreement
from mixwright.model.song import Song
from mixwright.model.words import Depth

FORMATS: Mapping[Depth, SampleFormat] = {"16": "pcm16", "24": "pcm24", "float": "float32"}


@dataclass(frozen=True)
class PrintFile:
    """One file of a set: its print, rate, format of samples, ending and name."""

    entry: Print
    rate_hz: int
    sample_format: SampleFormat
    ending: str = ".wav"
    name: str = ""


def planned_files(song: Song, agreement: Agreement, entries: Iterable[Print]) -> tuple[PrintFile, ...]:
    """Return the files of prints, named: the song's rate first, and of each rate the mixes before what adds up to them.

    Raises
    ------
    SettingError
        when the template is not allowed, or two files would have one name
    """
    chosen = list(entries)
    found = []
    for rate_hz in dict.fromkeys(agreement.rates_hz or (song.rate_hz,)):
        for depth in FORMATS:
            for entry in chosen:
                depths = (agreement.stem_depths if entry.kind in PARTS else ()) or agreement.depths
                if depth in depths:
                    found.append(PrintFile(entry, rate_hz, FORMATS[depth]))
    return named(song, agreement, found)


def as_float(files: Iterable[PrintFile], too_loud: Collection[Print]) -> list[PrintFile]:
    """Return files with those of prints that are too loud as 32-bit float, each of these once."""
    changed = (replace(f, sample_format="float32") if f.entry in too_loud else f for f in files)
    return list(dict.fromkeys(replace(file, ending=".wav", name="") for file in changed))


def named(song: Song, agreement: Agreement, files: Iterable[PrintFile]) -> tuple[PrintFile, ...]:
    """Return files with their endings and names."""
    flac = agreement.file_format == "flac"
    ending = [replace(f, ending=".flac" if flac and f.sample_format != "float32" else ".wav") for f in files]
    fields = [NameFields(f.entry.name, f.rate_hz, f.sample_format, f.ending) for f in ending]
    names = file_names(agreement.template or DEFAULT_TEMPLATE, song, fields)
    return tuple(replace(file, name=name) for file, name in zip(ending, names, strict=True))
