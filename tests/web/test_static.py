# SPDX-License-Identifier: Apache-2.0
"""The modules of the page as text, and their types by the checker of TypeScript."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from mixwright.model.words import PLACES, ROLES
from mixwright.report.style import LIGHT
from mixwright.web.routes import STATIC

ROOT = Path(__file__).resolve().parents[2]
WORDS = ("ROLES", "PLACES")
MODULES = sorted(STATIC.rglob("*.js"))
#: Where `bootstrap.py test --slow` puts the checker; else one that the machine has.
TSC = next(
    filter(None, (shutil.which("tsc", path=Path(sys.prefix) / "typescript/node_modules/.bin"), shutil.which("tsc"))),
    None,
)


def test_a_module_is_one_idea():
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        assert text.startswith("// SPDX-License-Identifier: Apache-2.0\n// "), path
        assert len(text.splitlines()) < 300, path
        assert max(map(len, text.splitlines())) <= 120, path


def test_text_never_becomes_markup_or_code():
    wrong = re.compile(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|DOMParser|srcdoc|\beval\b|new Function|javascript:|"
        r"setTimeout\(['\"`]|setAttribute\(\"on|\.cssText|createContextualFragment"
    )
    for path in MODULES:
        assert not wrong.search(path.read_text(encoding="utf-8")), path


def test_nothing_is_asked_of_another_host():
    for path in filter(Path.is_file, STATIC.rglob("*")):
        found = set(re.findall(r"(?:https?:)?//[a-z0-9.]+\.[a-z]+", path.read_text(encoding="utf-8")))
        assert found <= {"http://www.w3.org"}, path  # the name of the language of pictures, which nobody asks for


def test_every_module_is_fetched_beside_the_first():
    page = (STATIC / "index.html").read_text(encoding="utf-8")
    fetched = re.findall(r'<link rel="modulepreload" href="static/([\w/]+\.js)">', page)
    imports = re.compile(r'^(?:import .*|\}) from "(\.\.?/[\w/]+\.js)"', re.MULTILINE)
    found, todo = set(), {(STATIC / "app.js").resolve()}
    while todo:
        path = todo.pop()
        names = imports.findall(path.read_text(encoding="utf-8"))
        new = {(path.parent / name).resolve() for name in names} - found
        found |= new
        todo |= new
    assert fetched == sorted(path.relative_to(STATIC).as_posix() for path in found)


def test_words_are_those_of_song_toml():
    text = (STATIC / "selection.js").read_text(encoding="utf-8")
    roles, places = (
        re.search(rf"export const {name} = [^\[]*\[(.*?)\]", text, re.DOTALL) for name in ("ROLES", "PLACES")
    )
    assert roles is not None
    assert places is not None
    assert sorted(re.findall(r'"([a-z ]+)"', roles[1])) == sorted(ROLES)
    assert tuple(re.findall(r'"([a-z ]+)"', places[1])) == PLACES


def test_what_explains_itself_is_in_the_table_of_words():
    known = set(re.findall(r"^  (\w+): \{$", (STATIC / "words.js").read_text(encoding="utf-8"), re.MULTILINE))
    asked = re.compile(r"""data-explain": "(\w+)"|\bfigure(?:Of)?\("(\w+)",""")
    used = {"".join(found) for path in MODULES for found in asked.findall(path.read_text(encoding="utf-8"))}
    assert used == known


def test_where_every_label_and_colour_comes_from_is_told():
    told = " ".join((ROOT / "docs/page-origins.md").read_text(encoding="utf-8").split())
    # Text in quotes that begins like a label and does not end like a sentence; not names of keys, units and methods.
    label = re.compile(r'"([A-Z][A-Za-z\' ,:?-]{0,48}[A-Za-z:?])[ :,]*"')
    other = {"ArrowDown", "ArrowUp", "ArrowLeft", "ArrowRight", "Enter", "Escape", "End", "Home", "PageUp", "PageDown",
             "POST", "DELETE", "Content-Type", "Hz", "Range"}  # fmt: skip
    found = {one.rstrip(":") for path in MODULES for one in label.findall(path.read_text(encoding="utf-8"))} - other
    assert {one for one in found if f'"{one}"' not in told} == set()
    assert {name for name in LIGHT if f"`{name}`" not in told} == set()


@pytest.mark.slow
@pytest.mark.skipif(TSC is None, reason="needs tsc: bootstrap.py test --slow installs it where there is npm")
def test_types():
    done = subprocess.run([TSC, "--project", ROOT], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
