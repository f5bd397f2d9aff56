# SPDX-License-Identifier: Apache-2.0
"""The song on the disk: one writer, nothing lost, every state comes back byte for byte."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mixwright.errors import OutputError, SettingError, StateError
from mixwright.io.song_file import SONG_FILE, create_song, edit_song, history, load_song, redo, redo_name, undo
from mixwright.model.song import Note, Song, Track, changed
from mixwright.model.strip import Master, Strip

SONG = Song(title="0", rate_hz=48000, tracks=(Track(id="vox", name="Vox", file="../v.wav"),))


def _titled(title: str) -> Callable[[Song], Song]:
    return lambda song: changed(song, title=title)


def _bytes(folder: Path) -> bytes:
    return (folder / SONG_FILE).read_bytes()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    create_song(tmp_path / "song", SONG)
    return tmp_path / "song"


def test_a_created_song_loads(folder):
    assert load_song(folder) == SONG
    assert [step.name for step in history(folder)] == ["created"]


def test_a_song_is_never_overwritten(folder):
    before = _bytes(folder)
    with pytest.raises(OutputError, match="there is a song already"):
        create_song(folder, SONG)
    assert _bytes(folder) == before


def test_edit_returns_and_writes_the_new_song(folder):
    new = edit_song(folder, "rename", _titled("Night Bus"))
    assert new == load_song(folder) == changed(SONG, title="Night Bus")
    assert [step.name for step in history(folder)] == ["created", "rename"]


def test_an_edit_that_changes_nothing_writes_nothing(folder):
    (folder / SONG_FILE).write_text('title="0"\nrate_hz=48_000\ntracks=[{id="vox",name="Vox",file="../v.wav"}]')
    before, stamp = _bytes(folder), (folder / SONG_FILE).stat().st_mtime_ns
    assert edit_song(folder, "nothing", lambda song: changed(song, title="0")) == SONG
    assert (_bytes(folder), (folder / SONG_FILE).stat().st_mtime_ns) == (before, stamp)
    assert len(history(folder)) == 1


@pytest.mark.parametrize(
    "edit",
    [
        lambda song: changed(song, lead=("nobody",)),
        lambda song: changed(song, master=Master(pan=7)),
        lambda song: changed(song, rate_hz="fast"),
        lambda song: 1 / 0,
    ],
)
def test_a_wrong_edit_leaves_everything_as_it_was(folder, edit):
    before = _bytes(folder)
    with pytest.raises((SettingError, ZeroDivisionError)):
        edit_song(folder, "wrong", edit)
    assert _bytes(folder) == before
    assert len(history(folder)) == 1
    edit_song(folder, "right", _titled("1"))


def test_a_file_with_a_mistake_is_not_written_but_can_be_undone(folder):
    right = _bytes(folder)
    (folder / SONG_FILE).write_bytes(right + b"loud = yes\n\xff")
    with pytest.raises(SettingError):
        edit_song(folder, "rename", _titled("1"))
    assert undo(folder).undone == "edited by hand"
    assert _bytes(folder) == right
    assert (folder / "kept" / "undone.toml").read_bytes().endswith(b"loud = yes\n\xff")


def test_hand_edits_are_steps_of_their_own(folder):
    created = _bytes(folder)
    by_hand = created.replace(b'title = "0"', b'title  =  "by hand" # mine')
    (folder / SONG_FILE).write_bytes(by_hand)
    edit_song(folder, "mute", lambda song: changed(song, tracks=(changed(song.tracks[0], mute=True),)))
    assert b'title  =  "by hand" # mine' in _bytes(folder)
    assert [step.name for step in history(folder)] == ["created", "edited by hand", "mute"]
    assert undo(folder).undone == "mute"
    assert _bytes(folder) == by_hand
    assert undo(folder).undone == "edited by hand"
    assert _bytes(folder) == created


def test_a_hand_edit_not_yet_noticed_is_undone_first(folder):
    edit_song(folder, "rename", _titled("1"))
    after = _bytes(folder)
    (folder / SONG_FILE).write_bytes(after + b"# later\n")
    assert (undo(folder).undone, _bytes(folder)) == ("edited by hand", after)
    assert undo(folder).remaining == 0


def test_nothing_to_undo(folder):
    with pytest.raises(StateError, match="nothing to undo"):
        undo(folder)


def test_a_song_without_a_journal_gets_one(folder):
    import shutil

    shutil.rmtree(folder / "kept")
    before = _bytes(folder)
    edit_song(folder, "rename", _titled("1"))
    assert [step.name for step in history(folder)] == ["found", "rename"]
    undo(folder)
    assert _bytes(folder) == before


def test_byte_order_mark_and_line_ends_come_back(folder):
    text = b"\xef\xbb\xbf" + _bytes(folder).replace(b"\n", b"\r\n").removesuffix(b"\r\n")
    (folder / SONG_FILE).write_bytes(text)
    assert load_song(folder) == SONG
    edit_song(folder, "rename", _titled("1"))
    undo(folder)
    assert _bytes(folder) == text


@pytest.mark.parametrize(
    "damage",
    [
        lambda content: content[:-9],
        lambda content: content[:10] + b"\xff" * 20 + content[30:],  # no code of deflate (RFC 1951, 3.2.3)
        lambda content: content[:-8] + bytes(4) + content[-4:],  # another checksum (RFC 1952, 2.3.1)
        lambda content: b"",
    ],
)
def test_a_step_that_cannot_be_read_is_told(folder, damage):
    edit_song(folder, "rename", _titled("1"))
    step = max((folder / "kept" / "journal").rglob("*.json.gz"))
    step.write_bytes(damage(step.read_bytes()))
    with pytest.raises(StateError, match=r"journal cannot be read.*move the journal"):
        undo(folder)


def test_a_song_made_anew_after_its_file_was_removed_keeps_the_journal(folder):
    before = _bytes(folder)
    (folder / SONG_FILE).unlink()
    create_song(folder, changed(SONG, title="9"))
    assert undo(folder).undone == "created"
    assert _bytes(folder) == before


def test_a_song_that_others_keep_busy(folder, monkeypatch):
    from filelock import FileLock

    monkeypatch.setattr("mixwright.io.song_file._LOCK_WAIT_S", 0.01)
    with FileLock(folder / "kept" / "song.lock"), pytest.raises(StateError, match="another program is writing"):
        edit_song(folder, "rename", _titled("1"))
    edit_song(folder, "rename", _titled("1"))


def test_folders_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="cannot be made"):
        create_song(tmp_path / "file", SONG)
    (tmp_path / "kept").write_text("")
    with pytest.raises(OutputError, match="cannot be written"):
        create_song(tmp_path, SONG)


edits = st.lists(
    st.one_of(
        st.sampled_from(["a", "b", "#", '"']).map(lambda text: ("title", text)),
        st.floats(-60, 12).map(lambda db: ("fader", db)),
        st.integers(0, 3).map(lambda count: ("notes", count)),
        st.sampled_from([b"# hand\n", b'artist = "x"\n', b"\n"]).map(lambda line: ("hand", line)),
    ),
    min_size=1,
    max_size=8,
)


@settings(deadline=None, max_examples=25, suppress_health_check=list(HealthCheck))
@given(steps=edits)
def test_undo_returns_every_state(tmp_path_factory, steps):
    folder = tmp_path_factory.mktemp("undo")
    create_song(folder, SONG)
    states = [_bytes(folder)]
    for kind, value in steps:
        if kind == "hand":
            if not (value.startswith(b"artist") and b"artist" in _bytes(folder)):
                (folder / SONG_FILE).write_bytes(value + _bytes(folder))
        elif kind == "title":
            edit_song(folder, kind, _titled(value))
        elif kind == "fader":
            track = changed(SONG.tracks[0], strip=Strip(fader_db=value))
            edit_song(folder, kind, lambda song, track=track: changed(song, tracks=(track,)))
        else:
            notes = tuple(Note(id=f"n{i}", text="louder") for i in range(value))
            edit_song(folder, kind, lambda song, notes=notes: changed(song, notes=notes))
        if kind == "hand":
            edit_song(folder, "touch", lambda song: changed(song, beats_per_bar=song.beats_per_bar % 32 + 1))
            states += [_undone_text(folder)] * (_undone_text(folder) != states[-1])
        states += [_bytes(folder)] * (_bytes(folder) != states[-1])
    for left, state in reversed(list(enumerate(states[:-1]))):
        assert undo(folder).remaining == left
        assert _bytes(folder) == state
    with pytest.raises(StateError):
        undo(folder)


def _undone_text(folder: Path) -> bytes:
    """Return the text before the last step, as the journal has it."""
    import gzip
    import json

    step = max((folder / "kept" / "journal").rglob("*.json.gz"))
    return json.loads(gzip.decompress(step.read_bytes()))["before"].encode()


def test_the_work_of_an_edit_does_not_grow_with_the_journal(folder, monkeypatch):
    import mixwright.io.journal as module

    monkeypatch.setattr(module, "_PER_FOLDER", 5)
    for count in range(23):
        edit_song(folder, f"edit {count}", _titled(f"{count + 1}"))
    opened: list[str] = []
    read_bytes = Path.read_bytes
    monkeypatch.setattr(Path, "read_bytes", lambda path: opened.append(path.name) or read_bytes(path))
    edit_song(folder, "one more", _titled("one more"))
    assert len([name for name in opened if name.endswith(".gz")]) <= 2
    assert [step.number for step in history(folder)] == list(range(25))
    for count in reversed(range(24)):
        undo(folder)
        assert load_song(folder).title == str(count)


def test_redo_makes_undone_steps_again_byte_for_byte(folder):
    states = [_bytes(folder)]
    for title in ("1", "2"):
        edit_song(folder, f"title {title}", _titled(title))
        states.append(_bytes(folder))
    (folder / SONG_FILE).write_bytes(states[-1] + b"# mine\n")
    states.append(_bytes(folder))
    for before in reversed(states[:-1]):
        undo(folder)
        assert _bytes(folder) == before
    names = ["title 1", "title 2", "edited by hand"]
    for left, (name, after) in enumerate(zip(names, states[1:], strict=True)):
        assert redo_name(folder) == name
        found = redo(folder)
        assert (found.redone, found.remaining) == (name, 2 - left)
        assert _bytes(folder) == after
    assert [step.name for step in history(folder)][-3:] == names
    with pytest.raises(StateError, match="nothing to redo"):
        redo(folder)
    assert undo(folder).undone == "edited by hand"


def test_what_was_undone_is_let_go_when_the_song_is_changed(folder):
    for title in ("1", "2"):
        edit_song(folder, title, _titled(title))
    undo(folder)
    undo(folder)
    edit_song(folder, "other", _titled("other"))
    assert redo_name(folder) == ""
    with pytest.raises(StateError, match="nothing to redo"):
        redo(folder)
    undo(folder)
    assert redo(folder).redone == "other"
    assert redo_name(folder) == ""
    assert not list((folder / "kept" / "undone").rglob("*.gz"))


@pytest.mark.skipif(os.name != "posix", reason="needs fork")
def test_a_kill_at_any_moment_of_a_redo(tmp_path):
    step, died = 0, True
    while died:
        folder = tmp_path / f"song{step}"
        create_song(folder, SONG)
        before = _bytes(folder)
        edit_song(folder, "1", _titled("1"))
        after = _bytes(folder)
        undo(folder)
        died = _killed_before(step, lambda folder=folder: redo(folder))
        now = _bytes(folder)
        assert now in (before, after)
        assert redo_name(folder) == ("1" if now == before else "")
        assert _all_states(folder) == [after, before][[after, before].index(now) :]
        step += 1
    assert step > 6


COUNT = """
import sys
from pathlib import Path
from mixwright.io.song_file import edit_song
from mixwright.model.song import changed
folder, edits = Path(sys.argv[1]), int(sys.argv[2])
for _ in range(edits):
    song = edit_song(folder, "count", lambda song: changed(song, title=str(int(song.title) + 1)))
    print(song.title, flush=True)
"""


def _counting(folder: Path, edits: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", COUNT, str(folder), str(edits)]
    return subprocess.Popen(command, stdout=subprocess.PIPE, text=True)


def test_two_processes_lose_no_edit_of_500(folder):
    processes = [_counting(folder, 250), _counting(folder, 250)]
    seen = [line for process in processes for line in process.communicate()[0].split()]
    assert [process.returncode for process in processes] == [0, 0]
    assert sorted(map(int, seen)) == list(range(1, 501))
    assert load_song(folder).title == "500"
    assert [step.number for step in history(folder, limit=1000)] == list(range(501))
    assert undo(folder).remaining == 499
    assert load_song(folder).title == "499"


def test_a_kill_in_the_middle_of_edits_loses_none(folder):
    done = 0
    for _ in range(3):
        with _counting(folder, 10**6) as process:
            assert process.stdout
            for _ in range(7):
                done = int(process.stdout.readline())
            process.send_signal(signal.SIGKILL if os.name == "posix" else signal.SIGTERM)
            rest = process.stdout.read().split()
        done = int(rest[-1]) if rest else done
        title = int(load_song(folder).title)
        assert title in (done, done + 1)
        done = title
    for left in reversed(range(done)):
        assert undo(folder).remaining == left
        assert load_song(folder).title == str(left)


def _killed_before(step: int, work: Callable[[], object]) -> bool:
    """Do some work in a child that dies right before its `step`-th touch of the disk; tell whether it died."""
    child = os.fork()
    if child == 0:
        left = step

        def look(event: str, _: tuple[object, ...]) -> None:
            nonlocal left
            if event in ("os.rename", "os.remove", "os.mkdir", "open"):
                left -= 1
                if left < 0:
                    os._exit(9)

        sys.addaudithook(look)
        work()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


def _all_states(folder: Path) -> list[bytes]:
    """Return the song and everything that undo brings back, the newest first."""
    states = [_bytes(folder)]
    while True:
        try:
            undo(folder)
        except StateError:
            return states
        states.append(_bytes(folder))


@pytest.mark.skipif(os.name != "posix", reason="needs fork")
@pytest.mark.parametrize("by_hand", [False, True], ids=["written", "edited by hand"])
def test_a_kill_at_any_moment_of_an_edit(tmp_path, by_hand):
    step, died = 0, True
    while died:
        folder = tmp_path / f"song{step}"
        create_song(folder, SONG)
        edit_song(folder, "one", _titled("1"))
        if by_hand:
            (folder / SONG_FILE).write_bytes(_bytes(folder) + b"# hand\n")
        before = _bytes(folder)
        died = _killed_before(step, lambda folder=folder: edit_song(folder, "two", _titled("2")))
        now = _bytes(folder)
        assert now == before or load_song(folder).title == "2"
        edit_song(folder, "three", _titled("3"))
        states = _all_states(folder)
        titles = [state.split(b'title = "')[1][:1] for state in states]
        assert states[1] == now
        assert before in states
        assert titles == sorted(titles, reverse=True)
        assert len(set(states)) == len(states) == 3 + by_hand + (now != before)
        assert not list(folder.rglob("*.part"))
        step += 1
    assert step > 8


@pytest.mark.skipif(os.name != "posix", reason="needs fork")
def test_a_kill_at_any_moment_of_an_undo(tmp_path):
    step, died = 0, True
    while died:
        folder = tmp_path / f"song{step}"
        create_song(folder, SONG)
        states = [_bytes(folder)]
        for title in ("1", "2"):
            edit_song(folder, title, _titled(title))
            states.insert(0, _bytes(folder))
        died = _killed_before(step, lambda folder=folder: undo(folder))
        now = _bytes(folder)
        assert now in states[:2]
        assert _all_states(folder) == states[states.index(now) :]
        step += 1
    assert step > 6


def test_a_step_that_never_happened_is_no_history(folder, monkeypatch):
    """A song that cannot be written drops its step at once; one that a kill left open is not told of."""
    before = history(folder)

    def full(*_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr("mixwright.io.song_file._write", full)
        with pytest.raises(OSError, match="No space"):
            edit_song(folder, "two", _titled("2"))
    assert history(folder) == before
    assert not list((folder / "kept" / "journal").rglob("*.open.json.gz"))
    with monkeypatch.context() as patch:
        patch.setattr("mixwright.io.song_file._write", full)
        patch.setattr("mixwright.io.journal.Journal.settle", lambda *_: None)
        with pytest.raises(OSError, match="No space"):
            edit_song(folder, "two", _titled("2"))
    assert list((folder / "kept" / "journal").rglob("*.open.json.gz"))
    assert history(folder) == before
    edit_song(folder, "three", _titled("3"))
    assert [step.name for step in history(folder)] == [*(step.name for step in before), "three"]
