# SPDX-License-Identifier: Apache-2.0
"""Names of files, title, artist and template: from intake to `song.toml`, the page, sentences and prints."""

from __future__ import annotations

import json
import random
import re
import zlib
from collections.abc import Sequence
from html.parser import HTMLParser
from pathlib import Path

import numpy as np

from fuzz.target import Target, Try, mutated_fields
from mixwright.delivery.names import DEFAULT_TEMPLATE, MAX_CHARACTERS, NameFields, file_names
from mixwright.errors import InputError, SettingError
from mixwright.intake.listening import Listening, listen
from mixwright.intake.receive import Intake, ReceivedFile, receive
from mixwright.io.song_text import new_text, read_song
from mixwright.model.results import StartResult
from mixwright.model.song import Song, changed
from mixwright.report.document import plain
from mixwright.report.figures import clean, clean_record
from mixwright.report.page import song_page
from mixwright.report.text import start_text

_RATE_HZ = 8000
_WORDS = (
    *("Kick In", "LV", "bass di", "BV 1 L", "RoughMix_v3", "click", "OH_L", "808", "Gtr 12str", "Pad.wav"),
    *(".wav", "-", "--json"),
    *("_", "con", "NUL.wav", "..", "", " ", "'", '"', "<x-evil a=b>", "&amp;", "=1+1", "\x1b[2J", "\u202e"),
    *("\u0301", "e\u0301", "é", "日本", "🎚", "ß", "İ", "ﬁ", "①", "²", "١٢", "\udcff", "$(x)", "`x`", "%s"),
    *("{title}", "{print}", "{initials}", "{album}"),
    *("{rate}{depth}", "{artist}", "{", "}", "{{", "{title!r}", "{print:>99999999}", "{0}", "{a.b}", "{a[0]}"),
    *("x" * 250, "9" * 200),
    *("\r", "\n", "\t", "\\", "|", ":", "*", "?", "Sub/Kick.wav", "a/b", "KICK IN.WAV", "kick in.wav", "Kick-In.wav"),
)  # fmt: skip
_SAFE = re.compile(rf"[A-Za-z0-9_-]{{1,{MAX_CHARACTERS - 4}}}\.wav")
_LONGEST = 240


class _Tags(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.seen: set[str] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen |= {tag, *(f"{tag} {name}" for name, _ in attrs)}


def seeds() -> list[bytes]:
    """Return template, title, artist and names of files, with zeros between them."""
    deliveries = (
        (DEFAULT_TEMPLATE, "Night Bus", "Invented", "01 Kick.wav", "02 Snare.wav", "Bass DI.wav", "Lead Vox.wav"),
        ("{artist}_{title}_{print}", "é ß", "O'Neill", "Vox L.wav", "Vox R.wav", "Pad (2).aif", "sub/Pad.wav"),
        ("{print}", "x" * 80, "", *(f"Song_{i:02d}_Tom {i}.wav" for i in range(5))),
        (DEFAULT_TEMPLATE, "<x-evil>", "\u202e", "a\nb.wav", "-rf.wav", '"q".wav', "con.wav", "日本.wav", "\udcff.wav"),
        ("{title}", "", "", "a.wav"),
        (DEFAULT_TEMPLATE, "=1", "@", "a.wav", "A.wav", "a.WAV", "é.wav", "e\u0301.wav", "ﬁ.wav", "fi.wav"),
    )
    return ["\0".join(fields).encode("utf-8", "surrogateescape") for fields in deliveries]


def mutate(data: bytes, rng: random.Random) -> bytes:
    """Return the names with a change to one of them, or to their number."""
    return mutated_fields(data, rng, _WORDS)


def open_names(folder: Path) -> Try:
    """Return what takes names all the way."""
    del folder
    heard = listen(np.random.default_rng(1).normal(0, 0.1, (8 * _RATE_HZ, 1)).astype(np.float32), _RATE_HZ)
    known = _Tags(_shown(_received(["Kick.wav", "<Vox>.wav", "Vox.wav", "click.wav"], "t", heard), "t", "a")).seen

    def attempt(data: bytes) -> None:
        fields = data.decode("utf-8", "surrogateescape").split("\0")
        template, title, artist, *labels = (*fields, "", "", "")[: max(3, len(fields))]
        labels = [label.strip("/")[:_LONGEST] for label in labels[:40] if label.strip("/")]
        _check_prints(template, title, artist, labels)
        try:
            intake = _received(labels, title, heard)
        except InputError as error:
            assert clean(str(error))
            return
        assert len({track.id for track in intake.song.tracks}) == len(labels)
        if zlib.crc32(data) % 4:
            return
        extra = _Tags(_shown(intake, title, artist)).seen - known
        assert not any("evil" in tag for tag in extra), extra

    return attempt


def _received(labels: Sequence[str], title: str, heard: Listening) -> Intake:
    files = []
    for label in labels:
        file = label.encode("utf-8", "replace").decode("utf-8")
        files.append(ReceivedFile(file=f"../in/{file}", label=label, sha256="0" * 64, heard=heard))
    return receive(files, title=title)


def _check_prints(template: str, title: str, artist: str, labels: Sequence[str]) -> None:
    prints = [NameFields(f"Stem{i}", 48000, "pcm24") for i in range(len(labels))]
    try:
        names = file_names(template, Song(title=title, artist=artist, album=artist, rate_hz=48000), prints)
    except SettingError as error:
        assert error.where == "template"
        return
    assert all(_SAFE.fullmatch(name) for name in names), names
    assert len({name.casefold() for name in names}) == len(names)


def _shown(intake: Intake, title: str, artist: str) -> str:
    """Return the page, after checking song, sentences and document."""
    text_title = title.encode("utf-8", "replace").decode("utf-8")
    text_artist = artist.encode("utf-8", "replace").decode("utf-8")
    song = changed(intake.song, title=text_title, artist=text_artist)
    try:
        assert read_song(new_text(song))[1] == song
    except SettingError:
        assert any("\ud800" <= c <= "\udfff" for track in song.tracks for c in track.file + track.name)
    result = StartResult(
        folder=f"x/{title}", title=title, rate_hz=song.rate_hz, duration_s=1.0, tempo_bpm=None,
        lead_guess=intake.lead_guess, tracks=intake.tracks, sections=song.sections, references=(), rough=None,
        questions=intake.questions, sources=intake.sources,
    )  # fmt: skip
    for line in start_text(clean_record(result)):
        assert line.isprintable(), line
    document = json.dumps(plain(result), allow_nan=False)
    json.loads(document.encode("utf-8"))
    return song_page(song, result, folder=f"x/{title}")


NAMES = Target("names", seeds, mutate, open_names)
