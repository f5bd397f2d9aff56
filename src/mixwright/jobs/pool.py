# SPDX-License-Identifier: Apache-2.0
"""Work spread over threads, with results in order."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

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
