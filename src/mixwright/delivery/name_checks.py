# SPDX-License-Identifier: Apache-2.0
"""Whether the name of a finished file is portable, says what the file is, and agrees with its tags."""

from __future__ import annotations

import re
import string
import unicodedata
from collections.abc import Sequence

from mixwright.delivery.names import DEVICES, MAX_CHARACTERS, rate_tag, words
from mixwright.errors import printable
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.expected import Expected
from mixwright.model.tags import Tags
from mixwright.model.words import FaultKind

_SAFE = re.compile(r"[A-Za-z0-9_-]+\.[A-Za-z0-9]+")
_FORM = re.compile(r"(?<![A-Za-z0-9])(\d{2,3})k(16|24|32f?)(?![A-Za-z0-9])")
#: Endings that stand for each container.
_ENDINGS = {
    "WAV": ("wav", "wave", "bwf"),
    "RF64": ("wav", "rf64"),
    "BW64": ("wav",),
    "FLAC": ("flac",),
    "MP3": ("mp3",),
}
#: Fields of a template that every name has.
_ALWAYS = frozenset({"title", "print", "rate", "depth"})
#: What names call a kind of print; the longest first.
_KINDS = {
    "instrumental": ("instrumental", "inst", "instr"),
    "a_cappella": ("acappella", "acapella", "vocalsonly"),
    "vocal_up": ("vocalup", "voxup"),
    "vocal_down": ("vocaldown", "voxdown"),
    "tv": ("tv", "tvmix", "tvtrack"),
    "clean": ("clean",),
    "performance": ("performance",),
    "for_mastering": ("formastering",),
    "preview": ("preview",),
    "main": ("main", "mainmix"),
}


def _fault(kind: FaultKind, detail: str) -> Fault:
    return Fault(kind=kind, severity="look", detail=detail)


def name_faults(name: str, info: AudioInfo | None, expected: Expected) -> tuple[Fault, ...]:
    """Return what is wrong with a file name, seen alone and beside what the file holds.

    Portable are letters A-Z a-z, digits, _ and -, one dot, fewer than 64 characters, and no name of a device (naming
    part of the Recording Academy's delivery recommendations).
    """
    faults = []
    stem = name.rpartition(".")[0]
    if not _SAFE.fullmatch(name) or len(name) > MAX_CHARACTERS or stem.casefold() in DEVICES:
        faults.append(
            _fault("name_unsafe", f"{printable(name)!r} is not safe on every system; call it {_safe(name)!r}")
        )
    if info is not None:
        faults += _says_otherwise(name, info)
    if expected.template and not _pattern(expected.template, expected, info).fullmatch(stem):
        detail = f"{printable(name)!r} does not follow the template {printable(expected.template)}"
        faults.append(_fault("name_differs", detail))
    return tuple(faults)


def _safe(name: str) -> str:
    stem, _, ending = name.rpartition(".")
    plain = unicodedata.normalize("NFKD", stem or name).encode("ascii", "ignore").decode("ascii")
    plain = re.sub("_{2,}", "_", re.sub(r"[^A-Za-z0-9_-]+", "_", plain)).strip("_-") or "Song"
    plain = f"{plain}_1" if plain.casefold() in DEVICES else plain
    ending = re.sub("[^A-Za-z0-9]", "", ending)[:5] or "wav"
    return f"{plain[: MAX_CHARACTERS - len(ending) - 1]}.{ending}"


def _says_otherwise(name: str, info: AudioInfo) -> list[Fault]:
    faults = []
    ending = name.rpartition(".")[2].lower()
    endings = _ENDINGS.get(info.container)
    if endings and ending not in endings:
        faults.append(_fault("name_differs", f"it ends in .{printable(ending)}, but is {info.container}; rename it"))
    told = _FORM.search(name)
    if told:
        depth = {16: "16", 24: "24"}.get(info.bits or 0, "32f")
        held = f"{rate_tag(info.sample_rate_hz)}{depth}"
        said = f"{told[1]}k{told[2]}"
        if said not in (held, held.removesuffix("f")):
            faults.append(_fault("name_differs", f"its name says {said}, the file holds {held}; rename it"))
    return faults


def _pattern(template: str, expected: Expected, info: AudioInfo | None) -> re.Pattern[str]:
    """Return what names of a template look like; a field that is known stands as it is."""
    known = {"title": words(expected.title), "artist": words(expected.artist)}
    if info is not None:
        known["rate"] = rate_tag(info.sample_rate_hz)
    parts, left_out = [], False
    try:
        for text, field, _, _ in string.Formatter().parse(template):
            # A field of which the song knows nothing is left out, with the underscore beside it.
            parts.append("_?" if left_out and text == "_" else re.escape(text))
            value = known.get(field or "", "")
            left_out = field is not None and field not in _ALWAYS and not value
            parts.append(
                "" if field is None else re.escape(value) or ("[A-Za-z0-9-]*" if left_out else "[A-Za-z0-9-]+")
            )
    except ValueError:
        return re.compile(re.escape(template))
    return re.compile("".join(parts))


def taken_names(names: Sequence[str]) -> dict[str, str]:
    """Return names that differ from an earlier one by nothing or by case alone, and that earlier one."""
    first: dict[str, str] = {}
    taken = {}
    for name in names:
        key = unicodedata.normalize("NFC", name).casefold()
        if key in first:
            taken[name] = first[key]
        first.setdefault(key, name)
    return taken


def kind_of_name(name: str) -> str:
    """Return the kind of print that a name says, "" where it does not."""
    for part in reversed(re.split(r"[_.\s]+", name)):  # the title comes first, and may hold any word
        said = re.sub("[^a-z]", "", part.lower())
        if kind := next((kind for kind, called in _KINDS.items() if said in called), ""):
            return kind
    return ""


def tag_faults(tags: Tags | None, name: str, expected: Expected, *, others_tagged: bool = False) -> tuple[Fault, ...]:
    """Return what is wrong with the tags of a file.

    Parameters
    ----------
    tags : Tags or None
        None for containers whose tags are not read: nothing is said of them.
    others_tagged : bool
        Whether other files of the same set have tags; then, and where a title is agreed, they must be there.
    """
    if tags is None:
        return ()
    if not tags.title:
        needed = others_tagged or bool(expected.title or expected.artist or expected.kind)
        return (_fault("tags_missing", "it has no title; write its tags"),) if needed else ()
    faults = []
    for what, said, agreed in (("title", tags.title, expected.title), ("artist", tags.artist, expected.artist)):
        if agreed and said != agreed:
            detail = f"its {what} tag says {printable(said)[:60]!r}, agreed is {printable(agreed)[:60]!r}"
            faults.append(_fault("tag_differs", detail))
    kind = expected.kind or kind_of_name(name)
    if kind and tags.kind and tags.kind != kind:
        whose = "agreed is" if expected.kind else "its name says"
        faults.append(_fault("tag_differs", f"its tags say {printable(tags.kind)}, {whose} {kind}; mend the wrong one"))
    return tuple(faults)
