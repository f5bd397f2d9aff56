# SPDX-License-Identifier: Apache-2.0
"""Work spread over threads, with results in order."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor, wait
from typing import TypeVar, cast

A = TypeVar("A")
B = TypeVar("B")


def default_workers() -> int:
    """Return how many threads work is spread over on this machine (at most 8)."""
    return min(8, os.cpu_count() or 1)


def in_order(function: Callable[[A], B], items: Iterable[A], workers: int | None = None) -> Iterator[B]:
    """Yield ``function(item)`` for every item, in order, computed by a few threads at once.

    At most two results per thread wait to be taken, so memory stays bounded. The first error stops the rest.
    """
    count = workers or default_workers()
    if count == 1:
        yield from map(function, items)
        return
    with ThreadPoolExecutor(count) as pool:
        waiting: list[Future[B]] = []
        try:
            for item in items:
                waiting.append(pool.submit(function, item))
                if len(waiting) >= 2 * count:
                    yield waiting.pop(0).result()
            while waiting:
                yield waiting.pop(0).result()
        finally:
            for future in waiting:
                future.cancel()


def ahead(items: Iterable[A]) -> Iterator[A]:
    """Yield the items, of which another thread makes the next while the last is used."""
    pieces, end = iter(items), object()
    with ThreadPoolExecutor(1) as pool:
        item: A | object = next(pieces, end)
        while item is not end:
            following = pool.submit(next, pieces, end)
            yield cast("A", item)
            item = following.result()


class Team:
    """A few threads that do lists of work together, for work that comes in many small lists.

    Parameters
    ----------
    workers : int, optional
        with 1, everything is done by the caller's own thread
    """

    def __init__(self, workers: int | None = None) -> None:
        self.workers = workers or default_workers()
        self._pool = ThreadPoolExecutor(self.workers - 1) if self.workers > 1 else None

    def __enter__(self) -> Team:
        """Use as a context manager, so that the threads end."""
        return self

    def __exit__(self, *raised: object) -> None:
        """End the threads."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)

    def do(self, work: Iterable[Callable[[], object]]) -> None:
        """Do all of it, in any order; returns when everything is done, or raises the first error."""
        waiting = list(work)
        if self._pool is None or len(waiting) < 2:
            for piece in waiting:
                piece()
            return
        pool, pieces = self._pool, iter(waiting)

        def take() -> None:
            for piece in pieces:  # the iterator of a list hands each piece to one thread only
                piece()

        helpers = min(self.workers, len(waiting)) - 1
        futures = [pool.submit(take) for _ in range(helpers)]
        try:
            take()
        finally:
            started = [future for future in futures if not future.cancel()]
            wait(started)
        for future in started:
            future.result()
