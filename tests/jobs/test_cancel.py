# SPDX-License-Identifier: Apache-2.0
"""The switch that stops work."""

from __future__ import annotations

import queue
import signal
import threading

import numpy as np
import pytest

from mixwright.errors import Cancelled
from mixwright.jobs.progress import Cancel, blocks, until_stopped


def test_blocks_are_the_array_in_pieces_with_a_look_before_each() -> None:
    audio, looks = np.arange(10), []

    class Counting(Cancel):
        def check(self) -> None:
            looks.append(None)

    pieces = [piece.tolist() for piece in blocks(audio, 4, Counting())]
    assert pieces == [[0, 1, 2, 3], [4, 5, 6, 7], [8, 9]]
    assert len(looks) == 3
    assert [len(piece) for piece in blocks(audio, 4)] == [4, 4, 2]
    assert not list(blocks(audio[:0], 4))


def test_nothing_comes_after_a_stop() -> None:
    cancel = Cancel()
    items = until_stopped(range(5), cancel)
    assert [next(items), next(items)] == [0, 1]
    cancel.cancel()
    with pytest.raises(Cancelled):
        next(items)


def test_who_waits_is_woken_by_the_stop_or_at_once_after_it() -> None:
    cancel, woken = Cancel(), queue.SimpleQueue()
    with cancel.waking(lambda: woken.put("first")):
        assert woken.empty()
        threading.Timer(0.01, cancel.cancel).start()
        assert woken.get(timeout=60.0) == "first"
    with cancel.waking(lambda: woken.put("second")):
        assert woken.get_nowait() == "second"
    cancel.cancel()
    assert woken.empty()  # who waits no more is left alone


@pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="POSIX timers")
def test_a_signal_handler_may_throw_it_while_the_same_thread_waits() -> None:
    cancel, woken = Cancel(), queue.SimpleQueue()
    before = signal.signal(signal.SIGALRM, lambda *_: cancel.cancel())
    try:
        with cancel.waking(lambda: woken.put("woken")):
            signal.setitimer(signal.ITIMER_REAL, 0.01)
            assert woken.get(timeout=60.0) == "woken"
    finally:
        signal.signal(signal.SIGALRM, before)
