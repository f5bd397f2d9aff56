# SPDX-License-Identifier: Apache-2.0
"""Command lines with mutated words, run within this process in a folder of their own."""

from __future__ import annotations

import contextlib
import io
import json
import os
import random
import shutil
import zlib
from pathlib import Path

from click.shell_completion import ShellComplete

import invented
from fuzz.target import Target, Try, mutated_fields
from mixwright.cli.main import COMMANDS, program, run
from mixwright.io.kept import write_kept
from mixwright.io.song_file import SONG_FILE, create_song
from mixwright.model.moves import move_id
from mixwright.model.song import Move, changed

_GAIN, _PAN = move_id("level", "lead-vox", ()), move_id("pan", "bass-di", ())
_WORDS = (
    *COMMANDS,
    *("--json", "--progress", "--strict", "--debug", "--help", "-h", "--version", "--", "-", "--all", "--out"),
    *("--rate", "--tempo", "--title", "--reference", "--rough", "--print", "--as-mixed", "--template"),
    *("--strength", "--format", "--into"),
    *("--detail", "bands", "plain", "none", "json", "song", "in", "nowhere", "", " ", "level", "pan", "left"),
    *("right", "dB", "+1.5", "in"),
    *("chorus 1", "chorus 1, verse 2", "lead-vox", "Lead vox", "master", "drums", "gain_db=-1.5", "pan=0.4"),
    *("strength=0.5", "=", "gain_db="),
    *("1e999", "nan", "-inf", "9" * 5000, "0x10", "1_0", "٤٨", "\u2212" + "3", "+", "-0", "1e-400", "\x1b[2J"),
    *("\n", "\u202e", "\udcff", "日本"),
    *("{title}_{print}", "{", "{x}", "x" * 300, "'", '"', "$(x)", "%s", "<b>", _GAIN, _PAN, _GAIN[:9], "a.wav"),
    *("mix.wav", SONG_FILE),
)  # fmt: skip
#: Writes a song of its own for many seconds.
_NOT_RUN = "tour"
#: Start a process; one in eight of these is run.
_SLOW = {"check", "start"}


def seeds() -> list[bytes]:
    """Return command lines that are understood, words with zeros between them."""
    lines = (
        ("accept", "song", _GAIN), ("accept", "song", "--all", "--json"), ("refuse", "song", "bass-di"),
        ("change", "song", _GAIN, "gain_db=-1.5", "strength=0.5"), ("change", "song", _PAN, "pan=0.4"),
        ("add", "song", "level", "lead-vox", "+1.5", "dB", "in", "chorus 1"), ("add", "song", "pan lead-vox 0.4"),
        ("add", "song", "--json", "pan", "drums", "left", "-0.6", "right", "0.8"), ("undo", "song"),
        ("deliver", "song", "--template", "{title}_{print}_{rate}{depth}"), ("mix", "song", "--out", "mix.wav"),
        ("preview", "song", "--target", "-10", "--format", "wav,opus"), ("preview", "song", "--target-of", "rough"),
        ("start", "in", "--into", "new", "--rate", "48000", "--tempo", "120", "--title", "x"), ("relink", "song", "in"),
        ("refresh", "song"), ("clean", "song", "--all"), ("plan", "song", "--strength", "0.5"), ("measure", "song"),
        ("chain", "song", "lead-vox", "--hold", "--save", "a.toml"), ("chain", "song", "master", "--use", "a.toml"),
        ("check", "a.wav"), ("completion", "bash"), ("--help",), ("start", "--help"),
        ("\x01", "accept", "song", ""), ("\x01", "--"), ("\x01", "mix", "song", "--format", ""),
    )  # fmt: skip
    return ["\0".join(line).encode("utf-8", "surrogateescape") for line in lines]


def mutate(data: bytes, rng: random.Random) -> bytes:
    """Return a command line with one word changed, gone, put in or moved."""
    return mutated_fields(data, rng, _WORDS)


def open_arguments(folder: Path) -> Try:
    """Return what runs a command line (or completes it, where it begins with the sign for that)."""
    os.environ["TMPDIR"] = str(folder)
    os.chdir(folder)
    song = Path("song")
    _make(song)
    text = (song / SONG_FILE).read_bytes()
    there = {path.name for path in Path().iterdir()}

    def attempt(data: bytes) -> None:
        # No word leads out of the folder.
        words = data.decode("utf-8", "surrogateescape").replace("/", "-").replace("..", "-").split("\0")
        if words[0] == "\x01":
            complete = ShellComplete(program, {}, "mixwright", "_MIXWRIGHT_COMPLETE")
            complete.get_completions(words[1:-1], words[-1])
            return
        if _NOT_RUN in words or (_SLOW & set(words) and zlib.crc32(data) % 8):
            return
        (song / SONG_FILE).write_bytes(text)
        shutil.rmtree(song / "kept" / "journal", ignore_errors=True)
        _run(words)
        for name in {path.name for path in Path().iterdir()} - there:
            assert not name.startswith((".mixwright", "mixwright-fault")), name
            shutil.rmtree(name, ignore_errors=True)
            with contextlib.suppress(OSError):
                os.unlink(name)  # noqa: PTH108 - a name of any form

    return attempt


def _run(words: list[str]) -> None:
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(words)
    said, told = out.getvalue(), err.getvalue()
    assert status in (0, 2, 3, 130), f"status {status}: {told}"
    for line in (*said.split("\n"), *told.split("\n")):
        assert line.isprintable(), f"not printable: {line!r}"
    if status == 2:
        assert told.count("mixwright: ") >= 1, told
        assert len(told) < 4000 + 12 * len("".join(words)), f"{len(told)} characters of error"
    if "--json" in words[: words.index("--") if "--" in words else None] and status == 2:
        assert "error" in json.loads(said), said


def _make(song: Path) -> None:
    """Write a song without its audio."""
    Path("in").mkdir()
    full = invented.song()
    moves = (
        Move(id=_GAIN, kind="level", target="lead-vox", settings={"gain_db": 1.0}),
        Move(id=_PAN, kind="pan", target="bass-di", settings={"pan": 0.25}, state="accepted", by="engineer"),
    )
    create_song(song, changed(full, moves=moves))
    write_kept(song, "intake", invented.start_result())


ARGUMENTS = Target("arguments", seeds, mutate, open_arguments)
