# SPDX-License-Identifier: Apache-2.0
"""Never half-written: commands with one fault each, at a few of their calls.

The slow test strikes every call: with every fault where that takes minutes, else with a few in turn. Every fault at
every call of every command takes hours: ``cd tests && python -m faults.sweep``.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from faults.shared_state import BROKEN, ENDED, FAULTS, FULL, KILLED, READ_ONLY, STOPPED, STOPPED_TWICE, Fault
from faults.sweep import compiled, compiler
from faults.trials import COMMANDS, Command, Trials

pytestmark = pytest.mark.skipif(compiler() is None, reason="faults are injected on Linux, with a C compiler")

#: Commands of so many calls and more are struck at every so many-th by each fault.
_MANY, _IN_TURN = 80, 5
BY_NAME = {command.name: command for command in COMMANDS}


@pytest.fixture(scope="module")
def trials(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Trials]:
    folder = tmp_path_factory.mktemp("faults")
    with Trials(folder, compiled(folder)) as made:
        yield made


@pytest.mark.parametrize(
    ("name", "faults"),
    [
        ("accept", (FULL, BROKEN, READ_ONLY, KILLED, KILLED, STOPPED, STOPPED_TWICE, ENDED)),
        ("undo", (KILLED, FULL, KILLED, BROKEN, KILLED, STOPPED_TWICE)),
        ("relink", (FULL, KILLED, STOPPED)),
        ("clean", (KILLED, BROKEN)),
        ("mix", (READ_ONLY, STOPPED, FULL, KILLED)),
        ("refresh", (FULL, KILLED)),
        ("start", (FULL, KILLED)),
        ("preview", (FULL, KILLED)),
        ("deliver", (FULL,)),
    ],
)
def test_a_few_faults(trials: Trials, name: str, faults: tuple[Fault, ...]) -> None:
    """Each fault at another part of the command; what takes room comes early enough for a full disk to matter."""
    course = trials.undisturbed(BY_NAME[name])
    wrong = []
    for number, fault in enumerate(faults):
        at = 1 + course.calls * (2 * number + 1) // (2 * len(faults))
        wrong += trials.trial(course, fault, min(at, course.calls // 2) if fault is FULL else at)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
@pytest.mark.timeout(7200)
@pytest.mark.parametrize("fault", FAULTS, ids=[fault.name for fault in FAULTS])
@pytest.mark.parametrize("command", COMMANDS, ids=[command.name for command in COMMANDS])
def test_every_call(trials: Trials, command: Command, fault: Fault) -> None:
    course = trials.undisturbed(command)
    every = 1 if course.calls < _MANY else _IN_TURN
    wrong = []
    for at in range(1 + FAULTS.index(fault) % every, trials.calls(course, fault) + 1, every):
        wrong += trials.trial(course, fault, at)
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize("name", ["start", "plan", "deliver"])
def test_faults_in_any_thread(trials: Trials, name: str) -> None:
    """With two threads the calls come in any order, so that a fault may strike anywhere."""
    course = trials.undisturbed(BY_NAME[name])
    wrong = []
    for number, at in enumerate(range(1, course.calls, 5)):
        wrong += trials.trial(course, FAULTS[number % len(FAULTS)], at, workers=2)
    assert not wrong, "\n".join(wrong)
