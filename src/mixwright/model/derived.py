# SPDX-License-Identifier: Apache-2.0
"""Derived chains: a strip that is as another one, but for some changes.

Where a strip says ``as``, it takes over the filters and inserts of that strip, as they stand there at any time; then
its `changes` are made to them. A high-pass or low-pass of its own takes the place of the other's, bands and inserts of
its own come after the other's. Trim, delay, position and fader are its own.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import NamedTuple

from mixwright.errors import SettingError, where
from mixwright.model.setting_path import steps_of, value_at, with_value
from mixwright.model.song import MASTER, Song, changed, strips_of
from mixwright.model.strip import Change, Strip

#: What is taken over.
TAKEN = ("high_pass", "low_pass", "eq", "inserts")
_MOST = 16


class _Owned(NamedTuple):
    """A strip with its path in the song and the id of its owner."""

    path: str
    id: str
    strip: Strip


def resolved(song: Song) -> Song:
    """Return the song with every derived strip written out.

    Raises
    ------
    SettingError
        where nothing is called what a strip is to be as, where strips are as each other in a circle, or where a
        change does not fit; `where` is the path of the key, like ``tracks[3].strip.as``
    """
    owned = [_Owned(path, id_, strip) for path, _, id_, strip in strips_of(song)]
    if not any(one.strip.as_ or one.strip.changes for one in owned):
        return song
    first: dict[str, int] = {}
    for k, one in enumerate(owned):
        first.setdefault(one.id, k)
    done: dict[int, Strip] = {}
    strips = [_resolved(k, owned, first, done, []) for k in range(len(owned))]
    found = iter(strips)
    return changed(
        song,
        tracks=tuple(changed(track, strip=next(found)) for track in song.tracks),
        groups=tuple(changed(group, strip=next(found)) for group in song.groups),
        sends=tuple(changed(send, strip=next(found)) for send in song.sends),
        master=next(found),
    )


def taken_inserts(song: Song, kind: str, id_: str) -> int:
    """Return how many of the inserts of a strip, written out, are another's; a group or the like by kind and id."""
    said = {(k, i): strip for _, k, i, strip in strips_of(song)}[kind, id_]
    whole = {(k, i): strip for _, k, i, strip in strips_of(resolved(song))}[kind, id_]
    return len(whole.inserts) - len(said.inserts)


def insert_name(strip: Strip, index: int) -> str:
    """Return what changes call an insert: its processor, counted from 0 where there are several."""
    names = [str(insert.__struct_config__.tag) for insert in strip.inserts]
    name = names[index]
    return f"{name}[{names[:index].count(name)}]" if names.count(name) > 1 else name


def _resolved(k: int, owned: list[_Owned], first: Mapping[str, int], done: dict[int, Strip], way: list[int]) -> Strip:
    if k in done:
        return done[k]
    path, id_, strip = owned[k]
    if not strip.as_:
        if strip.changes:
            raise SettingError(
                "changes are of a chain that is taken over", where=f"{path}.changes", hint='say whose: as = "lead-vox"'
            )
        done[k] = strip
        return strip
    if strip.as_ not in first:
        near = difflib.get_close_matches(strip.as_, first, n=1, cutoff=0.5)
        hint = f"{f'did you mean {near[0]}? ' if near else ''}known: {', '.join(sorted({*first} - {MASTER}))}"
        raise SettingError(f"no track, group or send is called {strip.as_!r}", where=f"{path}.as", hint=hint)
    if k in way or first[strip.as_] == k:
        circle = [owned[one].id for one in way[way.index(k) :]] if k in way else [id_]
        raise SettingError(
            f"these are as each other in a circle: {' > '.join([*circle, id_])}",
            where=f"{path}.as",
            hint="one of them needs inserts of its own",
        )
    if len(way) >= _MOST:
        raise SettingError(f"strips as each other more than {_MOST} deep", where=f"{path}.as")
    base = _resolved(first[strip.as_], owned, first, done, [*way, k])
    taken = Strip(**{name: getattr(base, name) for name in TAKEN})
    for i, change in enumerate(strip.changes):
        with where(f"{path}.changes[{i}]"):
            taken = _changed(taken, change, strip.as_)
    for name in ("eq", "inserts"):
        if len(getattr(taken, name)) + len(getattr(strip, name)) > _MOST:
            raise SettingError(f"with those of {strip.as_} more than {_MOST} {name}", where=f"{path}.{name}")
    done[k] = changed(
        strip,
        as_="",
        changes=(),
        high_pass=strip.high_pass or taken.high_pass,
        low_pass=strip.low_pass or taken.low_pass,
        eq=(*taken.eq, *strip.eq),
        inserts=(*taken.inserts, *strip.inserts),
    )
    return done[k]


def _changed(strip: Strip, change: Change, owner: str) -> Strip:
    """Return what is taken over from an owner with one setting changed."""
    says = [name for name in ("times", "add", "set") if getattr(change, name) is not None]
    if len(says) != 1:
        raise SettingError("a change says one of times, add and set", hint=f"it says {' and '.join(says) or 'none'}")
    path = _path(strip, change.at, owner)
    if change.set is not None:
        return with_value(strip, path, change.set)
    old = value_at(strip, path)
    if not isinstance(old, float):
        raise SettingError(f"{change.at} is no number of {owner}", hint="change it with set")
    return with_value(strip, path, old + change.add if change.add is not None else old * (change.times or 0.0))


def _path(strip: Strip, at: str, owner: str) -> str:
    """Return the path in a strip of what a change calls by the name of a processor or of a filter."""
    name, *rest = steps_of(at)
    if name in TAKEN:
        if name != "inserts" and getattr(strip, str(name)) is None:
            raise SettingError(f"{owner} has no {name}", hint="write one of its own into this strip")
        return at
    names = [str(insert.__struct_config__.tag) for insert in strip.inserts]
    found = [k for k, tag in enumerate(names) if tag == name]
    number = rest[0] if rest and isinstance(rest[0], int) else None
    if not found or (number is not None and number >= len(found)):
        known = [*(tag for tag in TAKEN[:3] if getattr(strip, tag)), *dict.fromkeys(names)]
        near = difflib.get_close_matches(str(name), known, n=1, cutoff=0.5)
        hint = f"did you mean {near[0]}?" if near and not found else f"it has {', '.join(known) or 'nothing'}"
        raise SettingError(f"{owner} has no {name}" + (f"[{number}]" if found else ""), hint=hint)
    if number is None and len(found) > 1:
        raise SettingError(f"{owner} has {len(found)} inserts {name}", hint=f"say which: {name}[0] is the first")
    tail = at.removeprefix(str(name)).removeprefix(f"[{number}]")
    return f"inserts[{found[number or 0]}]{tail}"
