# SPDX-License-Identifier: Apache-2.0
"""`song.toml` as people and hostile files write it: loaded, checked, edited and taken back; and the files beside it."""

from __future__ import annotations

import difflib
import gzip
import random
import zlib
from pathlib import Path

import msgspec

import invented
import invented_preview
from fuzz.target import MAX_BYTES, Target, Try, mutated_bytes, mutated_text
from mixwright.errors import SettingError, StateError
from mixwright.io.journal import Journal, Step, text_sha256
from mixwright.io.kept import read_kept, read_lanes
from mixwright.io.song_file import edit_song, load_song, undo
from mixwright.io.song_text import changed_text, new_text, read_song
from mixwright.jobs.entries import Seal, read_record, sealed_text
from mixwright.model.filters import EqBand, Pass
from mixwright.model.lane import Breakpoint, Lane
from mixwright.model.preview import PreviewResult
from mixwright.model.prints import DeliverResult
from mixwright.model.results import MeasureResult, MixResult, PlanResult, StartResult
from mixwright.model.song import SCHEMA, Lock, Note, Send, Song, Source, Version, changed
from mixwright.model.strip import Strip
from strategies import Restyled, mutated

_WORDS = (
    *("=", ".", "[", "]", "[[", "]]", "{", "}", ",", "#", '"', "'", '"""', "'''", "\n", "\r\n", "\r", "\t", "\\"),
    *("\ufeff", "\x00", "\x1b[2J", "\u202e", "true", "false", "inf", "-nan", "1e999"),
    *("schema = 3\n", "[[tracks]]\n", "[tracks.strip]\n", "[master]\n", "[[moves]]\n", "[a.b.c]\n", "tracks = []\n"),
    *("{ hz = 200 }", "eq = [", "2026-07-01", "07:00:00", "0x10", "1_000", "+1.0", "'''\n", '"\\u0000"', "[" * 300),
    *("a." * 300, "id = ", "strip.pan = 0.5\n", "sends.hall = -6\n", "'id' = 'x'\n", "title", "name"),
    *("[[tracks.strip.eq]]\n",),
)  # fmt: skip


def _songs() -> list[Song]:
    strip = Strip(high_pass=Pass(hz=80), eq=(EqBand(hz=200, gain_db=-3), EqBand(hz=4000, gain_db=1, q=2)), pan=0.25)
    long = invented.song(moves=())
    short = changed(long, tracks=long.tracks[:3], groups=long.groups[:2], moves=(), lead=())
    tracks = tuple(
        changed(track, group=short.groups[0].id, strip=strip, sends={"hall": -9.0}, place_in={"intro": "bed"})
        for track in short.tracks
    )
    full = changed(
        short,
        tracks=tracks,
        sends=(Send(id="hall", name="Hall"),),
        sources=(Source(id="stack", name="Stack"),),
        locks=(Lock(target=tracks[0].id, parameter="pan", reason="the artist's"),),
        notes=(Note(id="n1", text='say "no"\nto it', at_s=3.5),),
        versions=(Version(id="v1", name="first", engine="1", sha256="0"),),
        master=changed(short.master, fader_db=-3.0),
    )
    return [Song(title="bare", rate_hz=48000), short, full]


def _plain(value: object) -> object:
    """Return records as tables and lists, without what is not set."""
    if isinstance(value, dict):
        return {key: _plain(item) for key, item in value.items() if item is not None}
    return [_plain(item) for item in value] if isinstance(value, tuple | list) else value


def song_seeds() -> list[bytes]:
    """Return fresh texts of a few songs, and the same in every legal style."""
    made = _songs()
    texts = [new_text(song) for song in made]
    texts += [
        Restyled(_plain(msgspec.to_builtins(song)), random.Random(seed)).text
        for song in made
        for seed in range(4)
    ]  # fmt: skip
    return [text.encode() for text in texts]


def mutate_song(data: bytes, rng: random.Random) -> bytes:
    """Return a text with a change to its lines, to a few characters, or to its bytes."""
    if rng.random() < 0.05:
        return mutated_bytes(data, rng)
    text = data.decode("utf-8", "replace")
    if rng.random() < 0.5:
        text = mutated_text(text, rng, _WORDS)
    else:
        lines = text.splitlines(keepends=True) or [""]
        at, other = rng.randrange(len(lines)), rng.randrange(len(lines))
        kind = rng.randrange(4)
        if kind == 0:
            del lines[at]
        elif kind == 1:
            lines.insert(at, lines[other])
        elif kind == 2:
            lines[at], lines[other] = lines[other], lines[at]
        else:
            key, equals, _ = lines[at].partition("=")
            value = lines[other].partition("=")[2] if rng.random() < 0.5 else f" {rng.choice(_WORDS)}\n"
            lines[at] = key + equals + value
        text = "".join(lines)
    return text.encode("utf-8", "replace")[:MAX_BYTES]


def open_songs(folder: Path) -> Try:
    """Return what reads a text, changes it, and, for some, does the same in a song folder and takes it back."""
    path = folder / "song.toml"

    def attempt(data: bytes) -> None:
        try:
            text = data.decode("utf-8")
        except UnicodeDecodeError:
            path.write_bytes(data)
            _refused(folder)
            return
        seed = zlib.crc32(data)
        try:
            raw, song = read_song(text)
        except SettingError as error:
            assert error.where.startswith("song.toml"), error.where
            assert len(str(error)) < 4000
            return
        titled = changed(song, title="a new title")
        after = changed_text(text, raw, titled)
        if text.count("\r") in (0, text.count("\r\n")):
            _same_but_for_the_title(text, after, raw.get("schema") == SCHEMA)
        new = mutated(song, random.Random(seed))
        if seed % 16:
            assert read_song(changed_text(text, raw, new))[1] == new
            return
        path.write_bytes(data)
        edit_song(folder, "mutated", lambda _: new)
        assert load_song(folder) == new
        if new != song:
            undo(folder)
            assert path.read_bytes() == data

    return attempt


def _refused(folder: Path) -> None:
    try:
        load_song(folder)
    except SettingError:
        return
    raise AssertionError("bytes that are no text were read")


def _same_but_for_the_title(before: str, after: str, of_today: bool) -> None:
    """Check that one run of lines was exchanged at most, and the schema's: what a person wrote around it stands."""
    lines = difflib.SequenceMatcher(None, before.splitlines(), after.splitlines(), autojunk=False)
    spans = [after.splitlines()[start:end] for kind, *_, start, end in lines.get_opcodes() if kind != "equal"]
    exchanged = [span for span in map("".join, spans) if of_today or "schema" not in span or "a new title" in span]
    assert len(exchanged) <= 1, exchanged
    assert all("a new title" in span for span in exchanged)


_KEPT = {
    "intake": StartResult, "measure": MeasureResult, "plan": PlanResult, "mix": MixResult, "deliver": DeliverResult,
    "preview": PreviewResult,
}  # fmt: skip


def kept_seeds() -> list[bytes]:
    """Return the name of a kept file and its content, between them a newline."""
    lanes = (Lane(target="a", parameter="level", points=(Breakpoint(at_s=0.0, value=-1.0),)),)
    step = Step(
        name="x",
        at="2026-07-01T10:00:00+00:00",
        sha256_before=text_sha256("a"),
        sha256_after=text_sha256("b"),
        before="a",
        after="b",
    )
    results = {
        "intake": invented.start_result(),
        "measure": invented.measure_result(),
        "plan": invented.plan_result(),
        "mix": invented.mix_result(),
        "preview": invented_preview.preview_result(),
        "deliver": invented.deliver_result(),
    }
    return [
        b"lanes\n" + msgspec.json.encode(lanes),
        b"journal\n" + gzip.compress(msgspec.json.encode(step), mtime=0),
        b"seal\n" + sealed_text(Seal(sha256="0" * 64, size=1, mtime_ns=1)),
        *(name.encode() + b"\n" + msgspec.json.encode(result) for name, result in results.items()),
        *(name.encode() + b"\n" + b'{"a":' * 2000 for name in results),
        b"lanes\n" + b"[" * 5000,
    ]


_JSON = (
    b"[",
    b"]",
    b"{",
    b"}",
    b'"',
    b"null",
    b"-1",
    b"1e999",
    b"NaN",
    b"\\ud800",
    b"true",
    b"9" * 400,
    b'{"a":',
    b"[[[[",
)


def mutate_kept(data: bytes, rng: random.Random) -> bytes:
    """Return a kept file with a change of its JSON or of its bytes; its name stays."""
    name, _, body = data.partition(b"\n")
    if rng.random() < 0.5:
        at = rng.randrange(len(body) + 1)
        body = body[:at] + rng.choice(_JSON) * rng.choice((1, 1, 1, 1000)) + body[at + rng.choice((0, 1, 5)) :]
    else:
        body = mutated_bytes(body, rng)
    return name + b"\n" + body[:MAX_BYTES]


def open_kept(folder: Path) -> Try:
    """Return what reads lanes, results, steps of the journal and records of the cache."""
    kept = folder / "kept"
    step = kept / "journal" / "00000" / "00000000.json.gz"
    step.parent.mkdir(parents=True)

    def attempt(data: bytes) -> None:
        name, _, body = data.partition(b"\n")
        try:
            if name == b"journal":
                step.write_bytes(body)
                Journal(kept / "journal").read(0)
            elif name == b"seal":
                (folder / "a.seal").write_bytes(body)
                read_record(folder / "a.seal", Seal)
            elif name == b"lanes":
                (kept / "lanes.json").write_bytes(body)
                read_lanes(folder)
            elif name.decode("latin-1") in _KEPT:
                (kept / f"{name.decode()}.json").write_bytes(body)
                read_kept(folder, name.decode(), _KEPT[name.decode()])
        except StateError as error:
            assert "\n" not in str(error)

    return attempt


SONGS = Target("songs", song_seeds, mutate_song, open_songs)
KEPT = Target("kept", kept_seeds, mutate_kept, open_kept)
