#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Set up and run from a fresh clone, with Python 3.11 or newer alone.

    python3 bootstrap.py tour [DIR]            the main job, on an invented song
    python3 bootstrap.py test [--slow] [...]   the tests; what follows goes to pytest
    python3 bootstrap.py lint                  lint, types and layers
    python3 bootstrap.py run COMMAND ...       any mixwright command
    python3 bootstrap.py wasm [--check]        the core for the page: compile it, or compare it with its sources

Everything is installed into `.venv` beside this file, from pinned and hashed requirements.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
STAMPS = VENV / "mixwright-setup"
PIP = (PYTHON, "-m", "pip", "--disable-pip-version-check", "install", "--quiet")


def run(*command: object) -> None:
    """Run a command; a failure ends this program with the command's own status."""
    status = subprocess.run([str(part) for part in command], cwd=ROOT, check=False).returncode
    if status != 0:
        sys.exit(status if status > 0 else 1)


def become(*command: object) -> None:
    """Go on as a command of the project, in the user's own folder; Ctrl-C and the exit status are its own."""
    words = [str(part) for part in command]
    if os.name == "nt":
        sys.exit(subprocess.run(words, check=False).returncode)
    sys.stdout.flush()
    os.execv(words[0], words)


def fingerprint(*patterns: str) -> str:
    """Return a hash of the contents of the files that match."""
    total = hashlib.sha256(sys.version.encode())
    for pattern in patterns:
        for path in sorted(ROOT.glob(pattern)):
            total.update(path.name.encode() + b"\0" + path.read_bytes())
    return total.hexdigest()


def once(name: str, mark: str, *commands: tuple[object, ...]) -> None:
    """Run the commands unless they ran before with the same mark."""
    stamp = STAMPS / name
    if stamp.exists() and stamp.read_text() == mark:
        return
    for command in commands:
        run(*command)
    STAMPS.mkdir(parents=True, exist_ok=True)
    stamp.write_text(mark)


def set_up(lock: str) -> None:
    """Make the environment, install the pinned packages, compile and install the project."""
    if not PYTHON.exists():
        print("making .venv ...", file=sys.stderr)
        made = subprocess.run([sys.executable, "-m", "venv", str(VENV)], check=False)
        if made.returncode != 0:
            shutil.rmtree(VENV, ignore_errors=True)
            sys.exit("bootstrap: cannot make a virtual environment; on Debian: apt install python3-venv")
    set_up_packages(lock)
    if not any(shutil.which(name) for name in (os.environ.get("CC", "cc").split()[0], "cc", "gcc", "clang")):
        set_up_packages("compiler")
    once(
        "project",
        fingerprint("pyproject.toml", "hatch_build.py", "csrc/*.[ch]", "src/mixwright/version.py"),
        (*PIP, "--no-deps", "--no-build-isolation", "--editable", "."),
    )


def set_up_packages(lock: str) -> None:
    """Install the pinned packages of a lock."""
    requirements = f"requirements/{lock}.lock"
    once(lock, fingerprint(requirements), (*PIP, "--require-hashes", "-r", requirements))


def set_up_typescript() -> None:
    """Install the checker of types for the page's modules where there is npm; without it that check is left out."""
    npm = shutil.which("npm")
    if npm is None:
        return
    room = VENV / "typescript"
    for path in (ROOT / "requirements" / "typescript").glob("*.json"):
        room.mkdir(exist_ok=True)
        shutil.copy(path, room)
    mark = fingerprint("requirements/typescript/*.json")
    once("typescript", mark, (npm, "ci", "--prefix", room, "--silent", "--no-audit", "--no-fund"))


def main(arguments: list[str]) -> None:
    """Set up what the command needs, then become it."""
    if sys.version_info < (3, 11):
        sys.exit("bootstrap: Python 3.11 or newer is needed, this is " + sys.version.split()[0])
    command, rest = (arguments[0], arguments[1:]) if arguments else ("", [])
    if command == "tour":
        set_up("run")
        become(PYTHON, "-m", "mixwright", "tour", *rest)
    elif command == "run":
        set_up("run")
        become(PYTHON, "-m", "mixwright", *rest)
    elif command == "test":
        slow = "--slow" in rest
        set_up("slow" if slow else "dev")
        if slow:
            set_up_typescript()
        elif any(map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))):
            set_up_packages("browser")
        chosen = ["-m", "slow or not slow"] if slow else []
        run(PYTHON, "-m", "pytest", *chosen, *(word for word in rest if word != "--slow"))
    elif command == "wasm":
        set_up("dev")
        set_up_packages("compiler")
        run(PYTHON, "hatch_build.py", "wasm", *rest)
    elif command == "lint":
        set_up("dev")
        run(PYTHON, "-m", "ruff", "check", ".")
        run(PYTHON, "-m", "ruff", "format", "--check", ".")
        run(PYTHON, "-m", "mypy")
        run(VENV / ("Scripts" if os.name == "nt" else "bin") / "lint-imports", "--no-cache")
    else:
        sys.exit(__doc__)


if __name__ == "__main__":
    try:
        main(sys.argv[1:])
    except KeyboardInterrupt:
        print("bootstrap: stopped; run it again to go on", file=sys.stderr)
        sys.exit(130)
