# SPDX-License-Identifier: Apache-2.0
"""Help, completion and the pages made of them."""

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

from mixwright import __version__
from mixwright.cli.command_page import command_page
from mixwright.cli.main import COMMANDS
from mixwright.model import words
from mixwright.model.dynamics import GainReduction
from mixwright.model.profile import Attribute
from mixwright.model.results import Spread

DOCS = Path(__file__).resolve().parents[2] / "docs"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_ends_with_an_example_that_can_be_read(name, mixwright):
    ended = mixwright(name, "--help")
    assert ended.status == 0
    usage, _, example = ended.out.partition("\nExample:\n")
    assert usage.startswith(f"Usage: mixwright {name} ")
    assert example.startswith(f"  mixwright {name}")
    assert example.count("\n") == 1


def test_the_list_of_commands_stands_in_the_order_of_the_work(mixwright):
    told = mixwright("--help").out
    listed = re.findall(r"^  ([a-z]+)  ", told.partition("Commands:")[2], re.MULTILINE)
    assert tuple(listed) == COMMANDS
    assert "..." not in told.partition("Commands:")[2]


def test_version(mixwright):
    assert mixwright("--version").out == f"mixwright {__version__}\n"


def test_help_loads_nothing_heavy():
    code = "import sys; from mixwright.cli.main import run; run(['--help']); print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    loaded = {name.partition(".")[0] for name in done.stderr.split()}
    assert not loaded & {"numpy", "scipy", "rich", "msgspec", "soundfile", "tomlkit", "altair"}


def test_the_page_of_commands_is_current():
    assert (DOCS / "commands.md").read_text() == command_page()


def test_every_fixed_word_is_explained():
    told = (DOCS / "words.md").read_text()
    literals = (
        words.Place,
        words.Role,
        words.MoveKind,
        words.MoveState,
        words.Severity,
        words.FaultKind,
        words.PrintKind,
        words.FileUse,
        Attribute,
        get_type_hints(Spread)["unit"],
        get_type_hints(GainReduction)["processor"],
    )
    for literal in literals:
        for word in get_args(literal):
            assert len(re.findall(rf"^\| `{re.escape(word)}` \| .+ \|$", told, re.MULTILINE)) == 1, word


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_completion_prints_a_script(shell, mixwright):
    ended = mixwright("completion", shell)
    assert ended.status == 0
    assert "_MIXWRIGHT_COMPLETE" in ended.out


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_completion_finds_commands_and_options():
    def complete(line: str, word: int) -> list[str]:
        env = os.environ | {"_MIXWRIGHT_COMPLETE": "bash_complete", "COMP_WORDS": line, "COMP_CWORD": str(word)}
        done = subprocess.run([sys.executable, "-m", "mixwright"], env=env, check=True, capture_output=True, text=True)
        return [answer.partition(",")[2] for answer in done.stdout.split()]

    assert complete("mixwright de", 1) == ["deliver"]
    assert "--undecided-ok" in complete("mixwright deliver --", 2)
    assert complete("mixwright nothing dele", 2) in ([], ["deliver"])  # and no traceback
