# SPDX-License-Identifier: Apache-2.0
"""Files and folders appear whole or not at all."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Iterable
from pathlib import Path

import pytest

from mixwright.errors import Cancelled, OutputError
from mixwright.io.replace import is_left, named_file, new_folder, numbered_folder, replacing, write_text
from mixwright.jobs import parts


def test_replacing_takes_the_place_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "song.toml"
    path.write_text("old")
    with replacing(path) as part:
        part.write_text("new")
        assert part.parent == tmp_path
        assert path.read_text() == "old"
    assert path.read_text() == "new"
    assert list(tmp_path.iterdir()) == [path]


def test_new_files_get_the_usual_permissions(tmp_path: Path) -> None:
    write_text(tmp_path / "a.txt", "text\n")
    (tmp_path / "b.txt").write_text("text")
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == stat.S_IMODE((tmp_path / "b.txt").stat().st_mode)
    assert (tmp_path / "a.txt").read_bytes() == b"text\n"


def test_missing_folder_is_named(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no such folder"):
        write_text(tmp_path / "no" / "a.txt", "")


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_read_only_folder_is_one_clear_error(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="cannot be written"):
        write_text(tmp_path / "a.txt", "")
    tmp_path.chmod(0o700)


def test_errors_of_what_is_read_meanwhile_keep_their_own_words(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError), replacing(tmp_path / "a"):
        (tmp_path / "source").read_bytes()
    assert list(tmp_path.iterdir()) == []


def test_new_folder_is_named_once_and_never_overwrites(tmp_path: Path) -> None:
    with new_folder(tmp_path / "song") as part:
        (part / "a").write_text("a")
        assert not (tmp_path / "song").exists()
    assert (tmp_path / "song" / "a").read_text() == "a"
    with pytest.raises(OutputError, match="never overwritten"), new_folder(tmp_path / "song"):
        pytest.fail("not reached")
    with pytest.raises(OutputError, match="never overwritten"), new_folder(tmp_path / "late"):
        (tmp_path / "late").mkdir()
    with pytest.raises(FileNotFoundError), new_folder(tmp_path / "other") as part:
        (part.parent / "missing").read_text()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["late", "song"]


def test_numbers_go_up(tmp_path: Path) -> None:
    prints = tmp_path / "prints"
    with pytest.raises(RuntimeError), numbered_folder(prints):
        raise RuntimeError
    assert not prints.exists()
    for expected in ("001", "002"):
        with numbered_folder(prints) as folder:
            (folder.building / "a").write_text("a")
        assert folder.path == prints / expected
        assert (folder.path / "a").exists()
    (prints / "041").mkdir()
    (prints / "notes").mkdir()
    with numbered_folder(prints) as folder:
        pass
    assert folder.path.name == "042"


@pytest.mark.skipif(os.name == "nt", reason="removed there and then")
def test_nobody_who_stopped_waits_for_much_to_be_removed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(parts, "_SOON_REMOVED_BYTES", 1000)
    monkeypatch.setattr(parts.shutil, "rmtree", lambda *_, **__: pytest.fail("waited"))

    def stopped() -> None:
        with numbered_folder(tmp_path / "prints") as folder:
            (folder.building / "a").mkdir()
            (folder.building / "a" / "b").write_bytes(bytes(1001))
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        stopped()
    end = time.monotonic() + 60.0
    while any((tmp_path / "prints").iterdir()) and time.monotonic() < end:
        time.sleep(0.01)
    assert not any((tmp_path / "prints").iterdir())


def test_numbers_are_not_shared_between_threads(tmp_path: Path) -> None:
    def make(name: str) -> None:
        with numbered_folder(tmp_path / "prints") as folder:
            (folder.building / name).write_text(name)

    threads = [threading.Thread(target=make, args=(str(i),)) for i in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    made = sorted((tmp_path / "prints").iterdir())
    assert [p.name for p in made] == [f"{i:03d}" for i in range(1, 7)]
    assert all(len(list(p.iterdir())) == 1 for p in made)


def next_number(taken: Iterable[str]) -> str:
    """Return the number after the highest of plain numbers."""
    return str(max((int(name) for name in taken if name.isdigit()), default=0) + 1)


def test_names_are_chosen_one_after_another(tmp_path: Path) -> None:
    together = threading.Barrier(6)

    def make(content: str) -> None:
        with named_file(tmp_path, next_number, tmp_path / "kept" / "lock") as file:
            file.building.write_text(content)
            together.wait()
        assert file.path.read_text() == content

    threads = [threading.Thread(target=make, args=(str(i),)) for i in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    made = {path.name: path.read_text() for path in tmp_path.iterdir() if path.is_file()}
    assert sorted(made) == ["1", "2", "3", "4", "5", "6"]
    assert sorted(made.values()) == ["0", "1", "2", "3", "4", "5"]


def test_a_name_that_was_taken_meanwhile_is_not_overwritten(tmp_path: Path) -> None:
    def late() -> None:
        with named_file(tmp_path, lambda _: "mine", tmp_path / "lock") as file:
            file.building.write_text("late")
            (tmp_path / "mine").write_text("early")

    with pytest.raises(OutputError, match="never overwritten"):
        late()
    assert (tmp_path / "mine").read_text() == "early"
    assert not list(tmp_path.glob(".mixwright-*"))


KILLED = """
import os, signal, sys
from pathlib import Path
from mixwright.io.replace import named_file
from mixwright.jobs import parts
folder = Path(sys.argv[1])
def choose(taken):
    if sys.argv[2] == "choosing":
        os.kill(os.getpid(), signal.SIGKILL)
    return "1"
with named_file(folder, choose, folder / "kept" / "lock") as file:
    file.building.write_text("half")
    if sys.argv[2] == "writing":
        os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
@pytest.mark.parametrize("moment", ["writing", "choosing"])
def test_a_kill_leaves_no_file_and_takes_no_name(tmp_path: Path, moment: str) -> None:
    assert subprocess.run([sys.executable, "-c", KILLED, str(tmp_path), moment], check=False).returncode == -9
    with named_file(tmp_path, next_number, tmp_path / "kept" / "lock") as file:
        file.building.write_text("whole")
    assert file.path == tmp_path / "1"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["1", "kept"]


@pytest.mark.skipif(os.name != "posix", reason="links need rights on Windows")
def test_a_link_stays_and_what_it_leads_to_is_replaced(tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    real, link = tmp_path / "elsewhere" / "song.toml", tmp_path / "song.toml"
    real.write_text("old")
    real.chmod(0o640)
    link.symlink_to(Path("elsewhere") / "song.toml")
    write_text(link, "new")
    assert link.is_symlink()
    assert real.read_text() == "new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert sorted(path.name for path in tmp_path.rglob("*")) == ["elsewhere", "song.toml", "song.toml"]


def test_a_folder_that_is_being_made_is_told_of_by_its_name(tmp_path: Path) -> None:
    with pytest.raises(OutputError) as told, new_folder(tmp_path / "song") as part:
        write_text(part / "cache" / "a.txt", "")
    assert told.value.where == str(tmp_path / "song" / "cache")


@pytest.mark.skipif(os.name != "posix", reason="told otherwise on Windows")
def test_a_file_in_the_way_of_a_folder_is_told_as_that(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("")
    with pytest.raises(OutputError, match="a file is in the way of a folder"), new_folder(tmp_path / "notes.txt" / "a"):
        pass


def test_a_stop_leaves_what_the_next_run_goes_on_from(tmp_path: Path) -> None:
    song = tmp_path / "song"

    def begin(error: type[Exception] | None) -> list[str]:
        with new_folder(song, keep="cache") as part:
            (part / "cache").mkdir(exist_ok=True)
            found = sorted(path.name for path in (part / "cache").iterdir())
            (part / "cache" / f"{len(found)}.npy").touch()
            (part / "kept").mkdir()
            (part / "song.toml").touch()
            if error is not None:
                raise error("ended")
        return found

    with pytest.raises(Cancelled):
        begin(Cancelled)
    assert is_left(song, "cache")
    assert [path.name for path in (song / "cache").iterdir()] == ["0.npy"]
    assert list(tmp_path.iterdir()) == [song]
    assert begin(None) == ["0.npy"]
    assert sorted(path.name for path in song.iterdir()) == ["cache", "kept", "song.toml"]
    assert not is_left(song, "cache")
    with pytest.raises(OutputError, match="exists already"):
        begin(None)


@pytest.mark.parametrize("error", [ValueError, Cancelled])
def test_what_is_not_worth_keeping_goes(error: type[Exception], tmp_path: Path) -> None:
    def fail() -> None:
        with new_folder(tmp_path / "song", keep="cache") as part:
            (part / "cache").mkdir()
            if error is ValueError:
                (part / "cache" / "0.npy").touch()
            raise error("ended")

    with pytest.raises(error):
        fail()
    assert list(tmp_path.iterdir()) == []


def test_only_what_a_stopped_run_left_is_gone_on_from(tmp_path: Path) -> None:
    for name in ("cache", "other"):
        (tmp_path / "song" / name).mkdir(parents=True)
    with pytest.raises(OutputError, match="exists already"), new_folder(tmp_path / "song", keep="cache"):
        pass
    assert sorted(path.name for path in (tmp_path / "song").iterdir()) == ["cache", "other"]
    assert not is_left(tmp_path / "song", "")
