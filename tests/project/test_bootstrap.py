# SPDX-License-Identifier: Apache-2.0
"""The set-up script, without what it installs."""

import json
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = f"""
import sys
sys.path.insert(0, {str(ROOT)!r})
import bootstrap
bootstrap.set_up = lambda lock: None
bootstrap.PYTHON = sys.executable
bootstrap.main(sys.argv[1:])
"""


def run(folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", SCRIPT, *words], cwd=folder, capture_output=True, text=True, check=False
    )


def test_paths_are_those_of_the_folder_in_which_it_is_called(tmp_path):
    (tmp_path / "here.wav").write_bytes(b"")
    ended = run(tmp_path, "run", "--json", "--progress", "none", "check", "here.wav")
    assert ended.returncode == 3
    (file,) = json.loads(ended.stdout)["result"]["files"]
    assert "is empty" in file["checks"][0]["detail"]


def test_without_a_command_it_says_what_there_is(tmp_path):
    ended = run(tmp_path)
    assert ended.returncode == 1
    assert "bootstrap.py tour" in ended.stderr


def test_building_in_place_needs_nothing_that_is_not_pinned():
    """The set-up builds without isolation: no package beyond hatchling's own, where folders of sources are named."""
    code = (
        "import json; from hatchling.builders.wheel import WheelBuilder; config = WheelBuilder('.').config\n"
        "print(json.dumps([config.dev_mode_dirs, config.dependencies]))"
    )
    told = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    folders, asked = json.loads(told)
    assert folders == ["src"]
    assert {re.split(r"[^\w-]", name)[0] for name in asked} <= {"hatchling", "ziglang"}
