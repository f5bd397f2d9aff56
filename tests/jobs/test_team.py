# SPDX-License-Identifier: Apache-2.0
"""Threads that do lists of work together, and the progress they report."""

from __future__ import annotations

import functools
import threading
import time

import pytest

from mixwright.jobs.pool import Team, ahead
from mixwright.jobs.progress import Job


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_all_work_is_done_once(workers):
    done = []
    with Team(workers) as team:
        for _ in range(50):
            team.do(functools.partial(done.append, k) for k in range(7))
            team.do([])
    assert sorted(done) == sorted(list(range(7)) * 50)


def test_threads_work_at_once():
    both = threading.Barrier(2, timeout=30)
    with Team(2) as team:
        team.do([both.wait, both.wait])


def test_the_next_item_is_made_while_the_last_is_used():
    made = [threading.Event() for _ in range(4)]

    def items():
        for k, event in enumerate(made):
            event.set()
            yield k

    taken = []
    for k in ahead(items()):
        taken.append(k)
        assert k + 1 == len(made) or made[k + 1].wait(timeout=30)
        assert not any(event.is_set() for event in made[k + 2 :]), "only one is made ahead"
    assert taken == [0, 1, 2, 3]
    assert list(ahead([])) == []


def test_an_error_in_what_is_read_ahead_comes_in_its_place():
    def items():
        yield 1
        raise ZeroDivisionError

    read = ahead(items())
    assert next(read) == 1
    with pytest.raises(ZeroDivisionError):
        next(read)


@pytest.mark.parametrize("workers", [1, 2])
def test_an_error_reaches_the_caller_and_the_team_goes_on(workers):
    done = []
    with Team(workers) as team:
        with pytest.raises(ZeroDivisionError):
            team.do([lambda: 1 // 0])
        with pytest.raises(ZeroDivisionError):
            team.do([lambda: done.append(1), lambda: 1 // 0])
        team.do([lambda: done.append(2)])
    assert done[-1] == 2


def test_steps_of_several_threads_are_reported_in_order():
    told = []

    def slow(progress):
        if progress.done == 1:
            time.sleep(0.05)
        told.append(progress.done)

    job = Job("any", 6, slow)
    with Team(3) as team:
        team.do([job.step] * 6)
    assert told == [0, 1, 2, 3, 4, 5, 6]
