# SPDX-License-Identifier: Apache-2.0
"""Watching the folders of the tracks: a file counts once it is complete, and what follows are jobs."""

import os
import shutil

import pytest

import invented
from made_songs import make_song
from mixwright.app.waiting import track_files, waiting_files
from mixwright.errors import StateError
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import write_kept
from mixwright.io.song_file import edit_song, undo
from mixwright.model.song import changed
from mixwright.web.jobs import Plan
from mixwright.web.watching import PATIENT_LOOKS, STEADY_LOOKS, Watching


class Started:
    """Jobs that are written down, and end when they are told to."""

    def __init__(self):
        self.done = []
        self.state = None
        self.busy = False

    def start(self, request):
        if self.busy:
            raise StateError("a job is still running")
        self.done.append(request)
        command = str(request.__struct_config__.tag)
        self.state = {"id": len(self.done), "command": command, "state": "running"}
        return self.state

    def end(self, how="done"):
        self.state = {**self.state, "state": how}


class Silent:
    def publish(self, *_):
        pass


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = make_song(tmp_path_factory.mktemp("watched"))
    tracks = lambda song: tuple(changed(t, sha256=file_sha256(folder / t.file)) for t in song.tracks)  # noqa: E731
    edit_song(folder, "hashes", lambda song: changed(song, tracks=tracks(song)))
    return folder


@pytest.fixture
def watched(made, tmp_path):
    shutil.copytree(made.parent, tmp_path / "copy")
    folder = tmp_path / "copy" / made.name
    jobs = Started()
    return Watching(folder, jobs, Silent(), on=False), jobs, folder


def names(requests):
    return [str(one.__struct_config__.tag) for one in requests]


def looks(watching, many):
    for _ in range(many):
        watching.look()


def test_nothing_is_done_where_nothing_is_new(watched):
    watching, jobs, folder = watched
    looks(watching, 5)
    assert jobs.done == []
    assert len(track_files(folder)) == 9


def test_a_bounce_is_taken_once_it_is_complete_and_the_song_measured_anew(watched):
    watching, jobs, folder = watched
    write_kept(folder, "measure", invented.measure_result())
    looks(watching, 5)
    file = folder.parent / "tracks" / "pad.wav"
    whole = file.read_bytes()
    other = whole[:-40] + bytes(40)
    file.write_bytes(other[: len(other) // 3])
    looks(watching, STEADY_LOOKS + 3)
    assert jobs.done == []  # its header promises more than there is
    file.write_bytes(other)
    watching.look()
    assert jobs.done == []  # it may still be written
    looks(watching, STEADY_LOOKS)
    assert names(jobs.done) == ["refresh"]
    assert jobs.done[0].take
    looks(watching, 3)
    assert len(jobs.done) == 1  # it runs
    jobs.end()
    looks(watching, 3)
    assert names(jobs.done) == ["refresh", "measure"]
    jobs.end()
    looks(watching, 5)
    assert len(jobs.done) == 2


def test_one_that_is_still_written_holds_back_the_others_and_one_that_never_gets_whole_does_not(watched):
    watching, jobs, folder = watched
    looks(watching, 5)
    tracks = folder.parent / "tracks"
    (tracks / "new.wav").write_bytes((tracks / "pad.wav").read_bytes()[:-40] + bytes(40))
    for k in range(6):
        (tracks / "long.wav").write_bytes((tracks / "keys.wav").read_bytes()[: 2000 + k])
        watching.look()
    looks(watching, STEADY_LOOKS + 3)
    assert jobs.done == []
    looks(watching, PATIENT_LOOKS)
    assert names(jobs.done) == ["refresh"]


def test_copies_and_other_files_are_left_alone(watched):
    watching, jobs, folder = watched
    tracks = folder.parent / "tracks"
    shutil.copy(tracks / "pad.wav", tracks / "copy.wav")
    (tracks / "notes.txt").write_text("louder")
    os.utime(tracks / "keys.wav")
    looks(watching, 6)
    assert jobs.done == []
    waiting = waiting_files(folder, track_files(folder))
    assert (waiting.whole, waiting.partial) == ((), ())


def bounce(folder, track="pad"):
    """Write the file of a track anew; returns what its hash is then."""
    file = folder.parent / "tracks" / f"{track}.wav"
    file.write_bytes(file.read_bytes()[:-40] + bytes(40))
    return file_sha256(file)


def take(folder, track, sha256):
    """Let the song hold something of a track, as a refresh does, or undo."""
    tracks = lambda song: tuple(changed(t, sha256=sha256) if t.id == track else t for t in song.tracks)  # noqa: E731
    edit_song(folder, f"bounce {track}", lambda song: changed(song, tracks=tracks(song)))


def test_what_is_undone_is_taken_again_for_the_file_stays(watched):
    watching, jobs, folder = watched
    looks(watching, 5)
    take(folder, "pad", bounce(folder))
    looks(watching, 5)
    assert jobs.done == []
    undo(folder)
    looks(watching, 5)
    assert names(jobs.done) == ["refresh"]


def test_a_refresh_that_failed_is_tried_once_more(watched):
    watching, jobs, folder = watched
    looks(watching, 5)
    bounce(folder)
    for many in (1, 2, 2):
        looks(watching, 5)
        assert names(jobs.done) == ["refresh"] * many
        jobs.end("failed")
    bounce(folder, "keys")
    looks(watching, 5)
    assert len(jobs.done) == 3


def test_measuring_that_another_job_overtakes_is_done_after_it(watched):
    watching, jobs, folder = watched
    write_kept(folder, "measure", invented.measure_result())
    looks(watching, 5)
    sha256 = bounce(folder)
    looks(watching, 5)
    take(folder, "pad", sha256)
    jobs.end()
    jobs.busy = True
    with pytest.raises(StateError):
        watching.look()
    jobs.busy = False
    jobs.start(Plan())
    looks(watching, 2)
    jobs.end()
    looks(watching, 5)
    assert names(jobs.done) == ["refresh", "plan", "measure"]
    jobs.end()
    looks(watching, 5)
    assert len(jobs.done) == 3


def test_the_thread_ends(made):
    jobs = Started()
    watching = Watching(made, jobs, Silent(), on=True)
    watching.start()
    watching.end()
    assert jobs.done == []
