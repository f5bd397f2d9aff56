# SPDX-License-Identifier: Apache-2.0
"""Watching the folders of the tracks: what is new there is taken as soon as it is complete, and the song heard anew."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from pathlib import Path

from mixwright.app.waiting import Mark, Waiting, track_files, waiting_files
from mixwright.errors import MixwrightError, StateError
from mixwright.io.fault_file import told_fault
from mixwright.io.kept import read_kept, song_path
from mixwright.io.song_file import load_song
from mixwright.model.results import MeasureResult
from mixwright.web.events import Events
from mixwright.web.jobs import Jobs, Measure, Refresh

#: How often the folders are looked at. A file that is the same for so many looks is not being written any more; one
#: whose header promises more than there is, is waited for so many.
LOOK_S, STEADY_LOOKS, PATIENT_LOOKS = 1.0, 2, 60
#: A file as it is, and what the song holds of it: undo and redo change that, and leave the file.
_Found = tuple[Mark, str]


class Watching:
    """Looks at the folders of one song in a thread of its own, until it is ended.

    What it finds goes through the jobs of the page: `refresh`, which takes it, then `measure`, where the song was
    measured before.

    Parameters
    ----------
    folder : Path
        The song folder.
    jobs : Jobs
    events : Events
        told `notice` of what cannot be done
    on : bool
        False: it never looks
    """

    def __init__(self, folder: Path, jobs: Jobs, events: Events, *, on: bool) -> None:
        self._folder, self._jobs, self._events, self._on = folder, jobs, events, on
        self._ended = threading.Event()
        self._seen: dict[Path, tuple[Mark, int]] = {}
        self._handled: dict[Path, _Found] = {}
        self._asked: tuple[dict[Path, _Found], Waiting] = {}, Waiting((), ())
        self._refreshing = 0
        self._taking: dict[Path, _Found] = {}
        self._failed: dict[Path, _Found] = {}
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        """Begin to look."""
        if self._on:
            self._thread.start()

    def end(self) -> None:
        """Stop looking."""
        self._ended.set()
        if self._thread.is_alive():
            self._thread.join()

    def look(self) -> None:
        """Look once, and start what is due where no job runs."""
        marks = track_files(self._folder)
        looks = {path: self._looks(path, mark) for path, mark in marks.items()}
        self._seen = {path: (marks[path], many) for path, many in looks.items()}
        state = self._jobs.state
        if (state is not None and state["state"] == "running") or self._measured(state):
            return
        found = self._found(marks)
        new = {path: one for path, one in found.items() if self._handled.get(path) != one}
        if not new or any(looks[path] < STEADY_LOOKS for path in new):
            return
        if self._asked[0] != new:
            self._asked = new, waiting_files(self._folder, new)
        waiting = self._asked[1]
        if any(looks[path] < PATIENT_LOOKS for path in waiting.partial):
            return
        if waiting.whole:
            self._refreshing, self._taking = self._jobs.start(Refresh(take=True))["id"], new
        self._handled |= new

    def _found(self, marks: Mapping[Path, Mark]) -> dict[Path, _Found]:
        """Return files with what the song holds of them, "" where it does not know them."""
        files = ((song_path(self._folder, track.file), track.sha256) for track in load_song(self._folder).tracks)
        held = {file.parent.resolve() / file.name: sha256 for file, sha256 in files}
        return {path: (mark, held.get(path, "")) for path, mark in marks.items()}

    def _looks(self, path: Path, mark: Mark) -> int:
        """Return for how many looks a file has been as it is."""
        before, many = self._seen.get(path, (None, 0))
        return many + 1 if before == mark else 0

    def _measured(self, state: dict[str, object] | None) -> bool:
        """Start to measure where what was taken is to be heard; tell whether that was due.

        A refresh that failed is tried once more; one after which another job has run is looked after again.
        """
        refreshed, self._refreshing = self._refreshing, 0
        if not refreshed or state is None:
            return False
        own = state["id"] == refreshed
        if (not own or state["state"] == "failed") and self._failed != self._taking:
            self._failed = self._taking
            self._handled = {path: one for path, one in self._handled.items() if self._taking.get(path) != one}
            self._asked = {}, Waiting((), ())
        if state["state"] != "done" if own else state["command"] == "measure":
            return False
        before = read_kept(self._folder, "measure", MeasureResult)
        if before is None or before.hearing is None:
            return False
        level, listening = before.hearing.listening_level_db_spl, before.hearing.listening
        try:
            self._jobs.start(Measure(listening_level_db_spl=level, listening=listening))
        except StateError:  # a job began meanwhile: after it
            self._refreshing = refreshed
            raise
        return True

    def _run(self) -> None:
        told = ""
        while not self._ended.wait(LOOK_S):
            try:
                self.look()
                told = ""
            except StateError:  # a job began meanwhile, or the song is being written: at the next look
                continue
            except Exception as error:  # noqa: BLE001 - told in the page; it goes on looking
                found = error if isinstance(error, MixwrightError) else told_fault(error)
                if str(found) != told:
                    told = str(found)
                    self._events.publish("notice", {"told": f"The folders of the tracks cannot be watched: {told}"})
