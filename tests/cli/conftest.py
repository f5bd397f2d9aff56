# SPDX-License-Identifier: Apache-2.0
"""Stand-ins for the functions of `mixwright.app`, and the program run within the test."""

from __future__ import annotations

import json
import sys
import types
from collections.abc import Callable
from typing import Any, NamedTuple

import pytest

from mixwright.cli.main import run

#: The module of `mixwright.app` that holds the function of each command.
HOME = dict.fromkeys(("accept", "add", "change", "redo", "refuse", "undo"), "decide")
#: Functions that are not called as their command is.
CALLED = {"reference": "tick"}


class Ended(NamedTuple):
    """What a command line left behind."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> dict[str, Any]:
        """The one JSON document on standard output; anything else there, and NaN, fails."""

        def refuse(word: str) -> None:
            raise AssertionError(f"{word} in JSON")

        return json.loads(self.out, parse_constant=refuse)


@pytest.fixture
def app(monkeypatch):
    """Put a function in the place of one of `mixwright.app`; returns the arguments of its calls."""

    def put(name: str, answer: object) -> list[tuple[tuple, dict]]:
        calls: list[tuple[tuple, dict]] = []
        name = CALLED.get(name, name)

        def stand_in(*arguments: object, **settings: object) -> object:
            calls.append((arguments, settings))
            if isinstance(answer, BaseException):
                raise answer
            return answer(*arguments, **settings) if callable(answer) else answer

        module = types.ModuleType(f"mixwright.app.{HOME.get(name, name)}")
        setattr(module, name, stand_in)
        monkeypatch.setitem(sys.modules, module.__name__, module)
        return calls

    return put


@pytest.fixture
def mixwright(capfd) -> Callable[..., Ended]:
    """Run a command line within this process."""

    def call(*words: str) -> Ended:
        status = run([str(word) for word in words])
        told = capfd.readouterr()
        return Ended(status, told.out, told.err)

    return call
