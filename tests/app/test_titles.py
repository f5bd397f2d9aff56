# SPDX-License-Identifier: Apache-2.0
"""Titles, artists, sections and credits that hold anything: harmless in names, tags, documents and pages."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from mixwright.app.deliver import deliver
from mixwright.app.mix import mix
from mixwright.cli.output import Output
from mixwright.errors import SettingError
from mixwright.io.song_file import create_song, edit_song
from mixwright.io.tags import read_tags
from mixwright.io.write import write_wav
from mixwright.model.song import Group, Section, Song, Track, changed
from mixwright.model.tags import Credit, Marker, Tags, tag_text
from mixwright.report.prints import deliver_text
from mixwright.report.text import mix_text

RATE_HZ, FRAMES = 48000, 12_000
HOSTILE = "<img src=x onerror=alert(1)>&amp;\x1b[2J\n\0../../up\\\u202egnp\u2066 {title} %s \U0001f941\u97f3"


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.add(tag)


@pytest.fixture(scope="module", params=[HOSTILE + "x" * 10_000, "\u202e\0"])
def song(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder, text = tmp_path_factory.mktemp("titles"), request.param
    tracks = []
    for seed, (name, role) in enumerate((("kick", "kick"), ("vox", "lead vocal"))):
        (folder / "tracks").mkdir(exist_ok=True)
        audio = np.random.default_rng(seed).uniform(-0.1, 0.1, (FRAMES, 1))
        path = folder / "tracks" / f"{name}.wav"
        write_wav(path, [audio], rate_hz=RATE_HZ, channels=1, frames=FRAMES, sample_format="pcm16")
        tracks.append(Track(id=name, name=text, file=f"../tracks/{name}.wav", role=role, group="all"))  # type: ignore[arg-type]
    made = Song(
        title=text,
        artist=text,
        album=text,
        isrc={"main": "QZ-ABC-26-00001"},
        rate_hz=RATE_HZ,
        tracks=tuple(tracks),
        groups=(Group(id="all", name=text),),
        sections=(Section(name=text, start_s=0.125, end_s=0.2),),
        credits=(Credit(role="<b>role", name=f"<b>{text}"),),
    )
    create_song(folder / "song", made)
    return folder / "song", text


def expected(text: str, **fields: str) -> Tags:
    section = Marker(name=tag_text(text), frame=6000)
    return Tags(title=tag_text(text), artist=tag_text(text), album=tag_text(text), markers=(section,), **fields)  # type: ignore[arg-type]


def same(found: Tags | None, wanted: Tags) -> None:
    assert found is not None
    for name in ("title", "artist", "album", "markers", "kind", "isrc", "print"):
        assert getattr(found, name) == getattr(wanted, name)
    assert [credit.role for credit in found.credits] == ["<b>role"]


def test_prints_and_mixes_of_any_title(song: tuple[Path, str], capsys: pytest.CaptureFixture[str]) -> None:
    folder, text = song
    delivered, mixed = deliver(folder), mix(folder)
    paths = [folder / delivered.folder / file.file for file in delivered.files]
    for path in (*paths, folder / mixed.file):
        assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9_-]*\.wav", path.name)
        assert len(path.name) < 64
        assert path.resolve().is_relative_to(folder.resolve())
        found = read_tags(path)
        assert found is not None
        assert all(part.isprintable() for part in (found.title, found.artist, found.print, *found.markers[0].name))
    kinds = {file.kind: path for path, file in zip(paths, delivered.files, strict=True)}
    same(read_tags(kinds["main"]), expected(text, kind="main", isrc="QZABC2600001"))
    same(read_tags(kinds["instrumental"]), expected(text, kind="instrumental", print="Instrumental"))
    same(read_tags(folder / mixed.file), expected(text, print="Mix"))
    manifest = json.loads((folder / delivered.manifest).read_bytes())
    assert manifest["title"] == text
    page = (folder / "page.html").read_text(encoding="utf-8")
    assert "img" not in Page(page).tags
    assert "\u202e" not in page
    assert "\x1b" not in page
    for result, lines in ((delivered, deliver_text), (mixed, mix_text)):
        output = Output()
        output.as_json = True
        output.show(result, lines)
        printed = capsys.readouterr().out
        assert len(printed.splitlines()) == 1
        json.loads(printed)


def test_half_a_character_never_reaches_the_song(song: tuple[Path, str]) -> None:
    folder, _ = song
    with pytest.raises(SettingError, match="no text"):
        edit_song(folder, "title", lambda old: changed(old, title="half \ud83d"))
