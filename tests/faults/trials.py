# SPDX-License-Identifier: Apache-2.0
"""Commands run with one fault each, and what must hold afterwards.

After every fault the song is as before or as after, in each of its files; received files are as they were; the end is
told by the exit status and one line; the same command run again ends where an undisturbed run does, and nothing
temporary is left.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

import numpy as np

from faults.shared_state import ENDED, KILLED, STOPPED, STOPPED_TWICE, Fault, Fired, SharedState
from mixwright.io.song_file import history
from mixwright.io.write import write_wav
from mixwright.jobs.parts import is_part

#: Steps of the song tell when they were made: no two runs give the same bytes there.
_TIMED = (("kept", "journal"), ("kept", "undone"))

HERE = Path(__file__).parent
RATE_HZ = 16000
LAYERS = (("Kick", 60.0, 16000), ("Lead Vox", 900.0, 22050))
#: What an error must say, beside where and how to mend it.
CAUSES = {
    "full": "the disk is full",
    "full once": "the disk is full",
    "input or output error": "input/output error",
    "denied": "permission denied",
    "read only": "read-only file system",
}
STOPS = (STOPPED, STOPPED_TWICE, ENDED)
#: Ends by a signal. The second Ctrl-C is as good as a kill; the first one, never.
DEAD = {KILLED.name: (-signal.SIGKILL,), STOPPED_TWICE.name: (-signal.SIGINT,)}


@dataclass(frozen=True)
class Command:
    """A command line, what must be there before it, and whether it may run again when it is done."""

    name: str
    words: tuple[str, ...]
    stage: str
    again: bool = True


COMMANDS = (
    Command(
        "start", ("start", "{work}/received", "--into", "{song}", "--reference", "{work}/one.wav"), "received", False
    ),
    Command("measure", ("measure", "{song}"), "planned, no cache"),
    Command("plan", ("plan", "{song}", "--lead", "lead-vox"), "started"),
    Command("accept", ("accept", "{song}", "--all"), "planned"),
    Command("refuse", ("refuse", "{song}", "kick"), "planned"),
    Command("change", ("change", "{song}", "kick", "gain_db=-1.5"), "planned"),
    Command("add", ("add", "{song}", "level kick -2.5"), "planned"),
    Command("undo", ("undo", "{song}"), "accepted", False),
    Command("mix", ("mix", "{song}"), "accepted"),
    Command("preview", ("preview", "{song}", "--format", "wav,flac,mp3,opus", "--target", "-12"), "accepted"),
    Command("deliver", ("deliver", "{song}"), "accepted"),
    Command("refresh", ("refresh", "{song}"), "new file"),
    Command("relink", ("relink", "{song}", "{work}/moved"), "moved files"),
    Command("clean", ("clean", "{song}", "--all"), "accepted"),
)


@dataclass
class Seen:
    """What lies in a work folder: contents by path, received files with their states, temporary names."""

    files: dict[str, str] = field(default_factory=dict)
    steps: tuple[str, ...] = ()
    received: dict[str, tuple[object, ...]] = field(default_factory=dict)
    parts: list[str] = field(default_factory=list)

    def printed(self) -> dict[str, str]:
        """Return the mixes, previews and prints."""
        return {
            path: file
            for path, file in self.files.items()
            if path.startswith(("song/mixes/", "song/prints/", "song/previews/"))
        }

    def is_done(self, after: Seen, but: tuple[str, ...] = ()) -> bool:
        """Tell whether this is the state after the command, but for some files."""
        ours, theirs = ({k: v for k, v in one.files.items() if k not in but} for one in (self, after))
        return ours == theirs and (self.steps == after.steps or "song/song.toml" in but)


@dataclass(frozen=True)
class Course:
    """A command undisturbed: the states before and after it, and how many calls it makes."""

    command: Command
    before: Seen
    after: Seen
    calls: int


@dataclass(frozen=True)
class Ended:
    """How a command line ended."""

    status: int
    out: str
    err: str
    fired: Fired


class Trials:
    """A warm process, and a folder in which every trial finds the same files at the same paths."""

    def __init__(self, root: Path, library: Path) -> None:
        self.root = root
        self.work = root / "work"
        self.song = self.work / "song"
        self.counts: Counter[tuple[str, str, str]] = Counter()
        state = root / "state"
        SharedState(state)
        environment = {
            **os.environ,
            "LD_PRELOAD": str(library),
            "FAULTS_STATE": str(state),
            "PYTHONPATH": os.pathsep.join([str(HERE.parent), *filter(None, [os.environ.get("PYTHONPATH")])]),
            "TMPDIR": str(root),
        }
        self._process = subprocess.Popen(
            [sys.executable, "-m", "faults.warm_process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=environment,
        )

    def __enter__(self) -> Self:
        """Make every stage that a command begins with."""
        self._prepare()
        return self

    def __exit__(self, *raised: object) -> None:
        """End the warm process."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.wait()
        self._process.stdout.close()

    def run(self, words: tuple[str, ...], fault: Fault | None = None, at: int = 0, workers: int = 1) -> Ended:
        """Run one command line in the work folder."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        request = {
            "words": ["--progress", "none", *(word.format(work=self.work, song=self.song) for word in words)],
            "fault": fault._asdict() if fault else None,
            "at": at,
            "root": str(self.work),
            "out": str(self.root),
            "workers": workers,
        }
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        reply = json.loads(self._process.stdout.readline())
        status = reply.pop("status")
        return Ended(status, (self.root / "out").read_text(), (self.root / "err").read_text(), Fired(**reply))

    def _prepare(self) -> None:
        receive(self.work)
        self._keep("received")
        by_name = {command.name: command for command in COMMANDS}
        for name, stage in (("start", "started"), ("plan", "planned"), ("accept", "accepted")):
            ended = self.run(by_name[name].words)
            assert ended.status == 0, ended
            self._keep(stage)
        self.bring("planned")
        shutil.rmtree(self.song / "cache")
        self._keep("planned, no cache")
        self.bring("started")
        write_tone(self.work / "received" / "Snare.wav", 300.0, RATE_HZ)
        self._keep("new file")
        self.bring("started")
        (self.work / "received").rename(self.work / "moved")
        self._keep("moved files")

    def _keep(self, stage: str) -> None:
        shutil.copytree(self.work, self.root / "stages" / stage)

    def bring(self, stage: str) -> None:
        """Put a stage into the work folder, whatever is there."""
        shutil.rmtree(self.work, ignore_errors=True)
        shutil.copytree(self.root / "stages" / stage, self.work)

    def seen(self) -> Seen:
        """Look at everything in the work folder; the cache is nobody's business, but for what is temporary."""
        seen = Seen()
        for place, _folders, names in os.walk(self.work):
            inside = Path(place).relative_to(self.work)
            if is_part(Path(place)):
                seen.parts.append(str(inside))
            seen.parts += [str(inside / name) for name in names if is_part(Path(name))]
            if any(is_part(Path(part)) for part in inside.parts) or inside.parts[:2] == ("song", "cache"):
                continue
            for path in (inside / name for name in names if not is_part(Path(name))):
                whole = self.work / path
                if path.parts[0] != "song":
                    status = whole.stat()
                    seen.received[str(path)] = digest(whole), status.st_mtime_ns, status.st_mode
                elif path.parts[1:3] not in _TIMED and path.suffix != ".lock":
                    seen.files[str(path)] = digest(whole)
        if (self.song / "song.toml").exists():
            seen.steps = tuple(step.name for step in history(self.song))
        return seen

    def undisturbed(self, command: Command) -> Course:
        """Return the states before and after a command, and how many calls it makes."""
        self.bring(command.stage)
        before = self.seen()
        calls = self._counted(command, 0)
        return Course(command, before, self.seen(), calls)

    def calls(self, course: Course, fault: Fault) -> int:
        """Return at how many calls of a command a fault can strike."""
        if not fault.kinds:
            return course.calls
        self.bring(course.command.stage)
        return self._counted(course.command, fault.kinds)

    def _counted(self, command: Command, kinds: int) -> int:
        ended = self.run(command.words, Fault("counted", kinds=kinds), at=1 << 60)
        assert ended.status == 0, ended
        return ended.fired.count

    def trial(self, course: Course, fault: Fault, at: int, workers: int = 1) -> list[str]:
        """Run a command with one fault, then again without; return what does not hold."""
        command, after = course.command, course.after
        self.bring(command.stage)
        ended = self.run(command.words, fault, at, workers)
        found = self.seen()
        outcome = {0: "done", 2: "refused", 130: "stopped", -2: "killed", -9: "killed"}.get(
            ended.status, str(ended.status)
        )
        self.counts[command.name, fault.name, outcome] += 1
        wrong = [*_ending(command, fault, ended, found, after), *_state(fault, found, course)]
        happened = found.files.get("song/song.toml") == after.files["song/song.toml"]
        if not wrong and (command.again or not happened):
            wrong += self._again(command, found, after)
        elif not wrong and self.song.exists():
            wrong += self._left_behind(found)
        place = f"{command.name}, {fault.name} at call {at}: {ended.fired.what} {ended.fired.path}"
        return [f"{place}: {what}" for what in wrong]

    def _left_behind(self, now: Seen) -> list[str]:
        """Return what is left of killed runs, even after `clean`."""
        if now.parts:
            self.run(("clean", "{song}"))
            now = self.seen()
        return [f"left behind: {part}" for part in now.parts]

    def _again(self, command: Command, found: Seen, after: Seen) -> list[str]:
        once_more = self.run(command.words)
        if once_more.status:
            return [f"the next run ends with {once_more.status}: {once_more.err}"]
        now = self.seen()
        wrong = self._left_behind(now)
        if now.received != found.received:
            wrong.append("received files were touched by the next run")
        made = found.printed().keys()
        if made:  # there is a second mix beside the first
            second = [content for path, content in now.printed().items() if path not in made]
            if sorted(second) != sorted(after.printed().values()):
                wrong.append("the next run prints something else")
        else:
            wrong += [
                f"{path} is not what an undisturbed run gives"
                for path in sorted({*now.files, *after.files})
                if now.files.get(path) != after.files.get(path)
            ]
        if now.steps != after.steps:
            wrong.append(f"history {now.steps}, undisturbed {after.steps}")
        return wrong


def _ending(command: Command, fault: Fault, ended: Ended, found: Seen, after: Seen) -> list[str]:
    """Return what is wrong with how a command ended."""
    said = [line for line in ended.err.splitlines() if line]
    lines = [line for line in said if not line.startswith("mixwright: stopping")]
    if not ended.fired.fired:
        return [] if ended.status == 0 else [f"the fault was not reached, and yet: {ended}"]
    if ended.status == 0:
        told = "the page is not up to date" in ended.err or "the song keeps nothing of it" in ended.err
        if not found.is_done(after, _beside(command, found, after) if told else ()):
            return [f"ends with 0 and is not done: {ended.err}"]
        return []
    if ended.status in DEAD.get(fault.name, ()):
        return []
    if fault in STOPS:
        one = len(lines) == 1 and lines[0].startswith("mixwright: stopped")
        return [] if ended.status == 130 and one else [f"ends with {ended.status}: {ended.err}"]
    if ended.status != 2:
        return [f"ends with {ended.status}: {ended.err}"]
    told = lines[0].lower() if len(lines) == 1 else ""
    whole = told.startswith("mixwright: ") and ": " in told[11:] and "; " in told
    return [] if whole and CAUSES[fault.name] in told else [f"says {ended.err!r}"]


def _beside(command: Command, found: Seen, after: Seen) -> tuple[str, ...]:
    """Return what may be missing where a command said so: the page; what is kept of a mix or delivery, if that is."""
    if command.name in ("mix", "preview", "deliver") and found.printed() == after.printed():
        return ("song/page.html", f"song/kept/{command.name}.json", "song/song.toml")
    return ("song/page.html",)


def _state(fault: Fault, found: Seen, course: Course) -> list[str]:
    """Return what is neither as before nor as after."""
    before, after = course.before, course.after
    wrong = [
        f"{path} is neither old nor new"
        for path in sorted({*found.files, *before.files, *after.files})
        if found.files.get(path) not in (before.files.get(path), after.files.get(path))
    ]
    if found.received != before.received:
        wrong.append("received files were touched")
    toml = found.files.get("song/song.toml")
    allowed = [one.steps for one in (before, after) if one.files.get("song/song.toml") == toml]
    if found.steps not in allowed:
        wrong.append(f"history {found.steps} does not go with song.toml")
    if (fault.error and not fault.lasts and len(found.parts) > 1) or (fault in (STOPPED, ENDED) and found.parts):
        wrong += [f"left behind at once: {part}" for part in found.parts]
    return wrong


def digest(path: Path) -> str:
    """Return the SHA-256 of a file."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def receive(work: Path) -> None:
    """Write a delivery of two short tracks, and a record."""
    for name, hz, rate_hz in LAYERS:
        write_tone(work / "received" / f"{name}.wav", hz, rate_hz)
    write_tone(work / "one.wav", 500.0, RATE_HZ, channels=2)


def write_tone(path: Path, hz: float, rate_hz: int, channels: int = 1, seconds: float = 1.5) -> None:
    """Write noise around a frequency, with the date of an old file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    frames = round(seconds * rate_hz)
    rng = np.random.default_rng(round(hz))
    time_s = np.arange(frames)[:, None] / rate_hz
    audio = 0.2 * np.sin(2.0 * np.pi * hz * time_s) + 0.02 * rng.standard_normal((frames, channels))
    write_wav(path, [audio], rate_hz=rate_hz, channels=channels, frames=frames, sample_format="pcm24")
    os.utime(path, (1_700_000_000, 1_700_000_000))
