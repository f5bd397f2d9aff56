# SPDX-License-Identifier: Apache-2.0
"""Take bounces: files of tracks that were written anew. What they held before is kept until it is released."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.app.bounce_heard import Dialled, dialled
from mixwright.app.bounce_match import Matched, matched
from mixwright.app.playable import sounding_with
from mixwright.app.session import Session, open_song
from mixwright.engine.render import render
from mixwright.errors import Cancelled, InputError, MixwrightError, SettingError
from mixwright.io.kept import read_kept, song_path, write_kept
from mixwright.io.replace import make_folder
from mixwright.io.song_file import edit_song, load_song
from mixwright.io.stems import Stem, StemStore
from mixwright.io.write import write_wav
from mixwright.jobs.cache import Cache
from mixwright.jobs.progress import Cancel, Job, Report, blocks, silent
from mixwright.model.bounces import Bounce, Bounces, BouncesView, DialledMove
from mixwright.model.move_inserts import moved_strips
from mixwright.model.song import Song, Track, changed
from mixwright.model.strip import Master, Strip
from mixwright.report.bounces import bounce_told, dialled_told

#: Where what bounces superseded is kept, in the song folder.
SUPERSEDED = "kept/superseded"
#: So many bounces are told of, and all that superseded what is kept.
_MOST_KEPT = 50
_BLOCK_FRAMES = 65536


@dataclass(frozen=True)
class _Taken:
    """A track as it was, the hash of its new file, and where what it held lies now, "" and why where it does not."""

    track: Track
    sha256: str
    superseded: str = ""
    why: str = ""


def kept_bounces(folder: Path) -> Bounces:
    """Return the bounces that were taken, the newest first.

    Raises
    ------
    StateError
        where what was kept of them is damaged
    """
    return read_kept(folder, "bounces", Bounces) or Bounces()


def bounces_view(folder: Path) -> BouncesView:
    """Return the bounces that were taken, and how much is kept of what they superseded.

    Raises
    ------
    StateError
        where what was kept of them is damaged
    """
    return BouncesView(bounces=kept_bounces(folder).bounces, superseded_bytes=sum(_superseded(folder).values()))


def take_bounces(
    folder: Path, tracks: Sequence[Track], *, report: Report = silent, cancel: Cancel | None = None
) -> tuple[tuple[Bounce, ...], tuple[str, ...]]:
    """Take what the files of tracks hold now, and say what it changed; in one step, which `undo` takes back.

    What they held is kept first. Each is compared with the open moves that concern it, and those that it holds are
    heard: the mix with the bounces beside the mix without them, without these moves, at equal loudness.

    Parameters
    ----------
    folder : Path
        The song folder.
    tracks : sequence of Track
        whose file holds something else than was received
    report, cancel
        Progress and the user's switch to stop; before anything was compared nothing is changed then.

    Returns
    -------
    tuple of Bounce, tuple of str
        and what cannot be taken, one sentence each

    Raises
    ------
    OutputError
        when the disk cannot hold what is kept
    """
    notes: list[str] = []
    taken: list[_Taken] = []
    rate_hz = load_song(folder).rate_hz
    job = Job("keeping what is superseded", max(1, len(tracks)), report, cancel)
    with Cache(folder / "cache", cancel) as cache, StemStore(cache, cancel=cancel) as store:
        for track in tracks:
            try:
                stem = store.open(song_path(folder, track.file), rate_hz)
                if stem.audio.shape[1] not in (1, 2):
                    raise InputError(f"it has {stem.audio.shape[1]} channels, and a track has 1 or 2")
                if (stem.info.header_frames or 0) > stem.info.frames:
                    raise InputError("it is not complete: its header promises more than there is")
            except (InputError, SettingError) as error:
                notes.append(f"What {track.file} holds now cannot be taken: {error.message}.")
                continue
            taken.append(_kept_aside(folder, store, track, stem.sha256))
            job.step()
    if not taken:
        return (), tuple(notes)
    new = {one.track.id: one.sha256 for one in taken}

    def edit(before: Song) -> Song:
        return changed(before, tracks=tuple(changed(t, sha256=new[t.id]) if t.id in new else t for t in before.tracks))

    edit_song(folder, f"bounce {', '.join(new)}", edit)
    try:
        found = _told(folder, taken, report, cancel)
    except Cancelled:
        _keep(folder, _uncompared(taken, "that was stopped"))
        raise
    except MixwrightError as error:
        found = _uncompared(taken, str(error))
    _keep(folder, found)
    return found, tuple(notes)


def release(folder: Path) -> int:
    """Remove what bounces superseded; returns how many bytes that frees.

    Raises
    ------
    StateError
        where what was kept of the bounces is damaged
    """
    found = _superseded(folder)
    for path in found:
        path.unlink(missing_ok=True)
    known = kept_bounces(folder)
    if any(one.superseded for one in known.bounces):
        left = (changed(one, superseded="") for one in known.bounces)
        write_kept(folder, "bounces", Bounces(bounces=tuple(left)))
    return sum(found.values())


def _superseded(folder: Path) -> dict[Path, int]:
    """Return the files that are kept of what bounces superseded, with their sizes in bytes."""
    found = {}
    for path in sorted((folder / SUPERSEDED).glob("*.wav")):
        with suppress(FileNotFoundError):  # released meanwhile
            found[path] = path.stat().st_size
    return found


def _keep(folder: Path, found: Sequence[Bounce]) -> None:
    all_ = (*found, *kept_bounces(folder).bounces)
    told = tuple(one for k, one in enumerate(all_) if k < _MOST_KEPT or one.superseded)
    write_kept(folder, "bounces", Bounces(bounces=told))


def _uncompared(taken: Sequence[_Taken], why: str) -> tuple[Bounce, ...]:
    whys = (dataclasses.replace(one, why=one.why or why) for one in taken)
    return tuple(_bounce(one, Matched({}, ()), {}, ()) for one in whys)


def _kept_aside(folder: Path, store: StemStore, track: Track, sha256: str) -> _Taken:
    """Keep what a track held, as 32-bit float WAV at its own rate."""
    held = store.held(track.sha256)
    if held is None:
        return _Taken(track, sha256, why="the cache no longer had what it held before")
    audio, rate_hz = held
    why = "" if track.use else "it is left out of the mix"
    name = f"{SUPERSEDED}/{track.id}-{track.sha256[:12]}.wav"
    path = folder / name
    if not path.is_file():
        make_folder(path.parent)
        parts = blocks(audio, _BLOCK_FRAMES, None)
        frames, channels = audio.shape
        write_wav(path, parts, rate_hz=rate_hz, channels=channels, frames=frames, sample_format="float32")
    return _Taken(track, sha256, name, why)


def _told(folder: Path, taken: Sequence[_Taken], report: Report, cancel: Cancel | None) -> tuple[Bounce, ...]:
    """Compare the bounces with what they superseded."""
    with open_song(folder, report=report, cancel=cancel) as opened:
        session, old = _side_by_side(opened, folder, taken)
        job = Job("comparing bounces", max(1, len(taken)), report, cancel)
        found: dict[str, Matched] = {}
        for one in taken:
            if one.superseded:
                found[one.track.id] = _compared(session, old, one.track.id, cancel)
            job.step()
        shares = {id_: share for one in found.values() for id_, share in one.shares.items()}
        moves = [move for move in session.song.moves if move.id in shares]
        heard = dialled(session, old, moves, report=report, cancel=cancel) if moves else {}
        told = {
            move.id: dialled_told(session.song, move, shares[move.id], heard.get(move.id, Dialled())) for move in moves
        }
    accepted = {move.id for move in moves if move.state == "accepted"}
    none = Matched({}, ())
    return tuple(_bounce(one, found.get(one.track.id, none), told, accepted) for one in taken)


def _bounce(one: _Taken, match: Matched, told: Mapping[str, DialledMove], accepted: Collection[str]) -> Bounce:
    ids = sorted(match.shares, key=lambda id_: abs(1.0 - match.shares[id_]))
    bounce = Bounce(
        track=one.track.id,
        name=one.track.name,
        file=one.track.file,
        sha256=one.sha256,
        superseded=one.superseded,
        why=one.why,
        moves=tuple(told[id_] for id_ in ids if id_ in told),
        also=match.also,
    )
    return changed(bounce, told=bounce_told(bounce, accepted, together=len(told) > 1))


def _side_by_side(session: Session, folder: Path, taken: Sequence[_Taken]) -> tuple[Session, Session]:
    """Return the song as it is, and with what the bounces superseded; both of one length."""
    now, then = dict(session.stems), dict(session.stems)
    for one in taken:
        id_ = one.track.id
        if one.superseded and id_ in now:
            old = session.store.open(folder / one.superseded, session.song.rate_hz)
            frames = max(len(now[id_].audio), len(old.audio))
            now[id_], then[id_] = _lengthened(now[id_], frames), _lengthened(old, frames)
    tracks = tuple(changed(t, sha256=then[t.id].sha256) if t.id in then else t for t in session.song.tracks)
    old_song = changed(session.song, tracks=tracks)
    return dataclasses.replace(session, stems=now), dataclasses.replace(session, song=old_song, stems=then)


def _lengthened(stem: Stem, frames: int) -> Stem:
    missing = frames - len(stem.audio)
    return dataclasses.replace(stem, audio=np.pad(stem.audio, ((0, missing), (0, 0)))) if missing else stem


def _compared(session: Session, old: Session, track: str, cancel: Cancel | None) -> Matched:
    """Compare one layer, as it stands in the mix without buses, with what each open move makes of it."""
    if track not in session.stems:
        return Matched({}, ())
    before = _layer(old, track, (), cancel)
    moved = {}
    for move in session.song.moves:
        if move.state == "refused" or move.kind == "send" or ("track", track) not in moved_strips(session.song, move):
            continue
        try:
            moved[move.id] = _layer(old, track, (move.id,), cancel)
        except MixwrightError:  # a move that no longer fits the song is none that was dialled
            continue
    after = _layer(session, track, (), cancel)
    return matched(before, after, moved, session.song.rate_hz, session.song.sections)


def _layer(session: Session, track: str, moves: Collection[str], cancel: Cancel | None) -> np.ndarray:
    """Return one layer as its strip and these moves make it, float32 ``(frames, 2)``; buses leave it as it is."""
    song = sounding_with(session.song, moves)
    tracks = tuple(changed(t, sends={}, pre_sends={}) if t.id == track else t for t in song.tracks)
    groups = tuple(changed(group, strip=Strip(), mute=False) for group in song.groups)
    sends = tuple(changed(send, strip=Strip()) for send in song.sends)
    bare = changed(song, tracks=tracks, groups=groups, sends=sends, master=Master())
    lanes = tuple(lane for lane in session.lanes if lane.target == track)
    now = dataclasses.replace(session, song=bare, lanes=lanes)
    parts = render(now.graph, now.audio, tracks={track}, cancel=cancel)
    return np.concatenate([part.astype(np.float32) for part in parts])
