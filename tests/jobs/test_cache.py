# SPDX-License-Identifier: Apache-2.0
"""The cache: keys tell everything apart, entries are whole or made again, the folder may vanish."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.errors import InternalError, OutputError
from mixwright.jobs import cache as cache_module
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache, code_hash
from mixwright.jobs.parts import part_path, remove_abandoned
from mixwright.model.audio import AudioInfo
from mixwright.model.strip import Strip

AUDIO = np.arange(12, dtype=np.float32).reshape(6, 2)


class Counting:
    """Writes AUDIO and counts how often it was asked to."""

    def __init__(self) -> None:
        self.calls = 0

    def __call__(self, into: Path) -> None:
        self.calls += 1
        with ArrayWriter(into, 2) as writer:
            writer.push(AUDIO[:2])
            writer.push(AUDIO[2:])


@pytest.fixture
def cache(tmp_path: Path) -> Cache:
    return Cache(tmp_path / "cache")


def files(cache: Cache) -> list[str]:
    return sorted(path.name for path in cache.folder.iterdir())


def test_array_is_made_once_and_mapped_read_only(cache: Cache) -> None:
    make = Counting()
    for _ in range(3):
        found = cache.array(cache.key("a"), make)
        np.testing.assert_array_equal(found, AUDIO)
        assert isinstance(found, np.memmap)
        assert found.dtype == np.float32
        with pytest.raises(ValueError, match="read-only"):
            found[0, 0] = 1.0
    assert make.calls == 1
    assert Cache(cache.folder).array(cache.key("a"), make).shape == (6, 2)
    assert make.calls == 1


def test_empty_arrays(cache: Cache) -> None:
    def make(into: Path) -> None:
        with ArrayWriter(into, 2):
            pass

    assert cache.array("e", make).shape == (0, 2)
    assert cache.array("e", pytest.fail).shape == (0, 2)


@pytest.mark.parametrize("position", [-1, 0, 6, 60, 130, 170])
def test_damaged_array_is_made_again(cache: Cache, position: int) -> None:
    make = Counting()
    path = cache.folder / f"{cache.key('a')}.npy"
    cache.array(cache.key("a"), make)
    data = bytearray(path.read_bytes())
    data[position] ^= 0x10
    path.write_bytes(bytes(data))
    np.testing.assert_array_equal(cache.array(cache.key("a"), make), AUDIO)
    assert make.calls == 2


@pytest.mark.parametrize("size", [0, 5, 127, 130, 175])
def test_cut_array_is_made_again(cache: Cache, size: int) -> None:
    make = Counting()
    cache.array("a", make)
    path = cache.folder / "a.npy"
    path.write_bytes(path.read_bytes()[:size])
    np.testing.assert_array_equal(cache.array("a", make), AUDIO)
    assert make.calls == 2


def test_array_without_seal_is_not_trusted(cache: Cache) -> None:
    make = Counting()
    cache.array("a", make)
    (cache.folder / "a.seal").unlink()
    cache.array("a", make)
    assert make.calls == 2


def test_copied_folder_is_read_through_once_and_kept(cache: Cache, tmp_path: Path) -> None:
    make = Counting()
    cache.array("a", make)
    shutil.copytree(cache.folder, tmp_path / "copy", copy_function=shutil.copyfile)
    np.testing.assert_array_equal(Cache(tmp_path / "copy").array("a", make), AUDIO)
    assert make.calls == 1


@given(st.binary(max_size=300))
@settings(deadline=None)
def test_any_bytes_instead_of_a_record_are_not_trusted(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    cache = Cache(tmp_path_factory.getbasetemp() / "records")
    cache.folder.mkdir(exist_ok=True)
    (cache.folder / "r.json").write_bytes(data)
    assert cache.record("r", Strip, lambda: Strip(fader_db=-3.0)).fader_db == -3.0


def test_record_round_trip_and_damage(cache: Cache) -> None:
    made = Strip(fader_db=-4.25, eq=())
    assert cache.record("r", Strip, lambda: made) == made
    assert cache.record("r", Strip, pytest.fail) == made
    path = cache.folder / "r.json"
    path.write_bytes(path.read_bytes().replace(b"-4.25", b"-4.75"))
    assert cache.record("r", Strip, lambda: made) == made


def test_folder_may_vanish_between_and_during_calls(cache: Cache) -> None:
    make = Counting()
    held = cache.array("a", make)
    shutil.rmtree(cache.folder)
    np.testing.assert_array_equal(held, AUDIO)
    np.testing.assert_array_equal(cache.array("a", make), AUDIO)

    calls = 0

    def vanish(into: Path) -> None:
        nonlocal calls
        calls += 1
        make(into)
        if calls == 1:
            shutil.rmtree(cache.folder)

    np.testing.assert_array_equal(cache.array("b", vanish), AUDIO)
    assert calls == 2
    assert cache.record("r", Strip, Strip) == Strip()


def test_error_of_the_maker_leaves_nothing(cache: Cache) -> None:
    def fail(into: Path) -> None:
        into.write_bytes(b"half")
        raise FileNotFoundError(2, "gone", "somewhere else")

    with pytest.raises(FileNotFoundError):
        cache.array("a", fail)
    assert files(cache) == []


def test_unwritable_cache_is_one_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="cannot be written"):
        Cache(tmp_path / "file" / "cache").array("a", Counting())


def test_threads_share_the_work(cache: Cache) -> None:
    calls = []

    def slow(into: Path) -> None:
        calls.append(1)
        time.sleep(0.05)
        Counting()(into)

    results: list[np.ndarray] = []
    threads = [threading.Thread(target=lambda: results.append(cache.array("a", slow))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(results) == 8
    assert len(calls) == 1


PROCESS = """
import sys
from pathlib import Path
import numpy as np
from mixwright.jobs import cache as cache_module
from mixwright.jobs.array_file import ArrayWriter
from mixwright.jobs.cache import Cache
def make(into):
    with ArrayWriter(into, 2) as writer:
        for i in range(200):
            writer.push(np.full((1000, 2), i, np.float32))
for i in range(10):
    cache = Cache(Path(sys.argv[1]))
    array = cache.array(f"k{i}", make)
    assert array.shape == (200000, 2) and array[-1, 1] == 199 and array[1500, 0] == 1
"""


def test_processes_at_once(cache: Cache) -> None:
    runs = [subprocess.Popen([sys.executable, "-c", PROCESS, str(cache.folder)]) for _ in range(3)]
    assert [run.wait() for run in runs] == [0, 0, 0]
    assert len(files(cache)) == 20


CROWDED = """
import resource, sys
from pathlib import Path
import numpy as np
from mixwright.errors import StateError
from mixwright.jobs.cache import Cache
soft, hard = 40, int(sys.argv[2])
resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
cache = Cache(Path(sys.argv[1]))
def make(into):
    with into.open("wb") as file:
        np.save(file, np.zeros((5, 2), np.float32))
try:
    held = [cache.array(f"k{i}", make) for i in range(60)]
except StateError as error:
    print(error)
else:
    print(len(held))
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit of open files")
@pytest.mark.parametrize(("hard", "said"), [(200, "60"), (40, "too many files are open at once; raise the limit")])
def test_more_arrays_than_a_process_may_open_by_default(cache: Cache, hard: int, said: str) -> None:
    command = [sys.executable, "-c", CROWDED, str(cache.folder), str(hard)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.stdout.startswith(said), done.stderr


KILLED = """
import os, signal, sys
from pathlib import Path
from mixwright.jobs.cache import Cache
def make(into):
    into.write_bytes(b"half")
    os.kill(os.getpid(), signal.SIGKILL)
Cache(Path(sys.argv[1])).array("a", make)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL")
def test_kill_while_making_leaves_no_entry_and_the_next_run_cleans_up(cache: Cache) -> None:
    assert subprocess.run([sys.executable, "-c", KILLED, str(cache.folder)], check=False).returncode == -9
    assert [name.endswith(".part") for name in files(cache)] == [True]
    make = Counting()
    np.testing.assert_array_equal(Cache(cache.folder).array("a", make), AUDIO)
    assert files(cache) == ["a.npy", "a.seal"]


def test_parts_are_abandoned_after_a_day_wherever_they_came_from(tmp_path: Path) -> None:
    old, new = tmp_path / ".mixwright-01234567-1-ab.part", tmp_path / ".mixwright-01234567-1-cd.part"
    old.mkdir()
    (old / "a.wav").write_bytes(b"half")
    new.write_bytes(b"made on another machine just now")
    os.utime(old, (1, 1))
    remove_abandoned(tmp_path)
    assert list(tmp_path.iterdir()) == [new]


def test_parts_of_a_running_process_are_left_alone(tmp_path: Path) -> None:
    mine = part_path(tmp_path)
    mine.write_bytes(b"in the making")
    (tmp_path / "own.part").write_bytes(b"not ours")
    remove_abandoned(tmp_path)
    assert mine.exists()
    assert (tmp_path / "own.part").exists()


def test_keys_tell_types_and_values_apart() -> None:
    parts = [1, 1.0, True, "1", None, "None", b"1", [1], ["1"], [[1]], {"a": 1}, {"a": 1.0}, 0.0, -0.0, "", [], {}]
    parts += [
        Strip(),
        Strip(fader_db=1.0),
        AudioInfo(container="", encoding="", sample_rate_hz=1, channels=1, frames=1),
    ]
    keys = [Cache.key(part) for part in parts]
    assert len(set(keys)) == len(parts)
    assert Cache.key("a", "b") != Cache.key("ab") != Cache.key(["a", "b"])
    assert Cache.key({"a": 1, "b": 2}) == Cache.key({"b": 2, "a": 1})
    assert Cache.key("name with \udcff") != Cache.key("name with ?")
    assert Cache.key(np.float64(1.5)) == Cache.key(1.5)
    with pytest.raises(InternalError):
        Cache.key(float("nan"))


def test_code_hash_follows_the_sources(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert code_hash("mixwright.jobs.cache") == code_hash("mixwright.jobs.cache")
    assert code_hash("mixwright.jobs") != code_hash("mixwright.jobs.cache")
    assert code_hash("mixwright.jobs", core=False) != code_hash("mixwright.jobs")
    monkeypatch.syspath_prepend(tmp_path)
    seen = set()
    for i in range(3):
        name = f"invented_module_{i}"
        (tmp_path / f"{name}.py").write_text(f"value = {i}\n")
        seen.add(code_hash(name, core=False))
    assert len(seen) == 3


def test_code_hash_follows_the_versions_of_libraries(monkeypatch: pytest.MonkeyPatch) -> None:
    seen = set()
    for changed in ("", "numpy", "scipy", "soundfile", "soxr"):
        monkeypatch.setattr("importlib.metadata.version", lambda name, changed=changed: f"{name} {name == changed}")
        seen.add(cache_module._code_hash.__wrapped__(("mixwright.units",), False))
    assert len(seen) == 5
