# SPDX-License-Identifier: Apache-2.0
"""Results kept by a key of everything they depend on; the folder may be deleted at any time.

Every array lies beside a *seal* that holds its digest, and its size and time when it was sealed. An entry is
used only with a seal that fits: at once when size and time are those of the seal, after reading it through when
the folder was copied. Anything else is made again. Nothing is pickled: a cache is input from outside.
"""

from __future__ import annotations

import errno
import functools
import hashlib
import importlib.metadata
import importlib.util
import threading
import weakref
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType, TracebackType
from typing import Self, TypeVar

import msgspec
import numpy as np

from mixwright.errors import InternalError, OutputError, StateError
from mixwright.jobs.array_file import map_array
from mixwright.jobs.budget import budget_bytes, trim
from mixwright.jobs.entries import Seal, file_digest, mark_used, read_record, sealed_text
from mixwright.jobs.parts import is_write_error, part_path, remove, remove_abandoned, write_error
from mixwright.jobs.progress import Cancel
from mixwright.model.record import Record
from mixwright.native.library import library_path

R = TypeVar("R", bound=Record)

Part = str | int | float | bool | bytes | None | Record | Sequence["Part"] | Mapping[str, "Part"]

#: The libraries whose version may change a result.
_LIBRARIES = ("numpy", "scipy", "soundfile", "soxr")

#: Every mapped array holds one open file; some systems allow 256 unless asked.
_OPEN_FILES = 4096

#: How often an entry is made again when the folder is deleted under it.
_TRIES = 5


class Cache:
    """A folder of arrays and records, each under the key of what it was made from.

    Safe for several threads and processes: two makers of one key do the work twice at worst. As a context manager
    it keeps what is used within from being removed by others, and brings the folder to its budget at the end.

    Parameters
    ----------
    folder : Path
        Made when first needed.
    cancel : Cancel, optional
        Looked at while an entry is read through.
    """

    def __init__(self, folder: Path, cancel: Cancel | None = None) -> None:
        self.folder = Path(folder)
        self._cancel = cancel
        self._guard = threading.Lock()
        self._locks: weakref.WeakValueDictionary[str, _Lock] = weakref.WeakValueDictionary()
        remove_abandoned(self.folder)
        _allow_open_files()

    def __enter__(self) -> Self:
        self._budget = budget_bytes(self.folder)
        self._marker = part_path(self.folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            self._marker.touch()
        except OSError as error:
            raise write_error(error, self.folder) from error
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        remove(self._marker)
        trim(self.folder, self._budget)

    @staticmethod
    def key(*parts: Part) -> str:
        """Return the key of the given parts: 64 hexadecimal digits.

        Parts that differ in type or value give another key; numbers must be finite.
        """
        return hashlib.sha256(msgspec.json.encode([_canonical(part) for part in parts])).hexdigest()

    def array(self, key: str, make: Callable[[Path], object]) -> np.ndarray:
        """Return the array of a key, mapped from its file and read-only.

        Parameters
        ----------
        key : str
            From :meth:`key`.
        make : callable
            Writes the array as ``.npy`` to the path it is given; called only when no sound entry exists.

        Raises
        ------
        OutputError
            when the cache cannot be written
        """
        path = self.folder / f"{key}.npy"
        with self._lock(key):
            for _ in range(_TRIES):
                found = self._sealed(path)
                if found is None:
                    found = self._make_array(path, make)
                if found is not None:
                    return found
        raise OutputError("the cache folder is deleted while it is used", where=str(self.folder))

    def record(self, key: str, type_: type[R], make: Callable[[], R]) -> R:
        """Return the record of a key; `make` is called only when no sound entry exists.

        Raises
        ------
        OutputError
            when the cache cannot be written
        """
        path = self.folder / f"{key}.json"
        with self._lock(key):
            found = read_record(path, type_)
            if found is None:
                found = make()
                _write_record(path, found)
            else:
                mark_used(path)
            return found

    def holds(self, key: str) -> bool:
        """Tell whether an array is there, as far as can be seen without reading it."""
        return (self.folder / f"{key}.npy").is_file() and (self.folder / f"{key}.seal").is_file()

    def held(self, key: str) -> np.ndarray | None:
        """Return the array of a key, None where there is no sound entry."""
        with self._lock(key):
            return self._sealed(self.folder / f"{key}.npy")

    def put(self, key: str, record: Record) -> None:
        """Keep a record under a key, in place of what was there.

        Raises
        ------
        OutputError
            when the cache cannot be written
        """
        with self._lock(key):
            _write_record(self.folder / f"{key}.json", record)

    def known(self, key: str, type_: type[R]) -> R | None:
        """Return the record of a key, None where it is not there."""
        return read_record(self.folder / f"{key}.json", type_)

    def _make_array(self, path: Path, make: Callable[[Path], object]) -> np.ndarray | None:
        """Make one entry; None when the folder vanished meanwhile."""
        with _writing(path) as part:
            make(part)
            if not part.exists():
                return None
            array = _map(part)
            if array is None:
                raise InternalError("a cache entry was made that is no plain array", where=str(path))
            digest = file_digest(part, self._cancel)
            try:
                part.replace(path)
            except PermissionError:  # Windows: the same entry was made elsewhere and is in use
                return self._sealed(path)
            except FileNotFoundError:
                return None
            _seal(path, digest)
        return _map(path)

    def _sealed(self, path: Path) -> np.ndarray | None:
        sealed = path.with_suffix(".seal")
        seal = read_record(sealed, Seal)
        if seal is None:
            return None
        try:
            status = path.stat()
            if status.st_size != seal.size:
                return None
            if status.st_mtime_ns != seal.mtime_ns:
                if file_digest(path, self._cancel) != seal.sha256:
                    return None
                _seal(path, seal.sha256)
            mark_used(sealed)
        except OSError:
            return None
        return _map(path)

    @contextmanager
    def _lock(self, key: str) -> Iterator[None]:
        """Hold back other threads that want the same entry, so that they find it made."""
        with self._guard:
            lock = self._locks.get(key)
            if lock is None:
                lock = self._locks[key] = _Lock()
        with lock.lock:
            yield


class _Lock:
    """A lock that can be referred to weakly."""

    def __init__(self) -> None:
        self.lock = threading.RLock()


def code_hash(*modules: ModuleType | str, core: bool = True) -> str:
    """Return a digest of the sources of modules or whole packages, of the C core, and of the libraries' versions.

    Parameters
    ----------
    *modules : module or str
        ``mixwright.engine`` or its name; a package counts with all its files.
    core : bool
        False when nothing of the C core takes part.
    """
    return _code_hash(tuple(m if isinstance(m, str) else m.__name__ for m in modules), core)


@functools.cache
def _code_hash(names: tuple[str, ...], core: bool) -> str:
    digest = hashlib.sha256(" ".join(map(importlib.metadata.version, _LIBRARIES)).encode())
    for name in names:
        for path in _sources(name):
            digest.update(f"{name}/{path.name}\n".encode())
            digest.update(hashlib.sha256(path.read_bytes()).digest())
    if core:
        digest.update(hashlib.sha256(library_path("baseline").read_bytes()).digest())
    return digest.hexdigest()


def _sources(name: str) -> list[Path]:
    spec = importlib.util.find_spec(name)
    if spec is None or spec.origin is None:
        raise InternalError(f"the module {name} has no file")
    file = Path(spec.origin)
    return sorted(file.parent.rglob("*.py")) if spec.submodule_search_locations else [file]


def _canonical(part: object) -> object:
    """Return a form of a part that tells types apart: 1, 1.0, "1" and True must not share a key."""
    if isinstance(part, Record):
        fields = [[name, _canonical(getattr(part, name))] for name in part.__struct_fields__]
        return [type(part).__name__, fields]
    if isinstance(part, dict):
        return ["dict", sorted([str(name), _canonical(value)] for name, value in part.items())]
    if isinstance(part, list | tuple):
        return ["list", [_canonical(item) for item in part]]
    if isinstance(part, bytes):
        return ["bytes", part.hex()]
    if isinstance(part, np.generic):
        part = part.item()
    if isinstance(part, float):
        if not np.isfinite(part):
            raise InternalError("a number in a cache key is not finite")
        return ["float", part.hex()]
    if isinstance(part, str):  # names from files may hold bytes that are no UTF-8
        return ["str", part.encode("utf-8", "surrogatepass").hex()]
    if part is None or isinstance(part, bool | int):
        return [type(part).__name__, str(part)]
    raise InternalError(f"a cache key cannot hold a {type(part).__name__}")


@contextmanager
def _writing(path: Path) -> Iterator[Path]:
    """Give a temporary path beside `path`; whatever is left there afterwards is removed."""
    part = part_path(path.parent)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield part
    except OSError as error:
        if isinstance(error, OutputError) or not (is_write_error(error, part) or is_write_error(error, path.parent)):
            raise
        raise write_error(error, path.parent) from error
    finally:
        remove(part)


def _seal(path: Path, digest: str) -> None:
    status = path.stat()
    _write_record(path.with_suffix(".seal"), Seal(sha256=digest, size=status.st_size, mtime_ns=status.st_mtime_ns))


def _write_record(path: Path, record: Record) -> None:
    with _writing(path) as part:
        try:
            part.write_bytes(sealed_text(record))
            part.replace(path)
        except (FileNotFoundError, PermissionError):  # the folder was deleted, or (Windows) the entry is in use
            return


def _map(path: Path) -> np.ndarray | None:
    """Map an array file; None when it is not a plain array of the size that its header says."""
    try:
        return map_array(path)
    except OSError as error:
        if error.errno in (errno.EMFILE, errno.ENFILE):
            raise StateError("too many files are open at once", hint="raise the limit: ulimit -n 4096") from error
        return None
    except ValueError:
        return None


def _allow_open_files() -> None:
    """Raise this process's own limit of open files as far as the system lets it."""
    try:
        import resource
    except ImportError:  # Windows has no such limit
        return
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = _OPEN_FILES if hard == resource.RLIM_INFINITY else min(_OPEN_FILES, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
