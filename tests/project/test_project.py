# SPDX-License-Identifier: Apache-2.0
"""What must hold for the whole tree."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import mixwright

ROOT = Path(__file__).resolve().parents[2]
SOURCES = sorted((ROOT / "src").rglob("*.py"))
KERNELS = sorted(path for path in (ROOT / "csrc").rglob("*") if path.is_file())
CODE = [*SOURCES, *KERNELS, *sorted((ROOT / "tests").rglob("*.py"))]


def run_python(code: str) -> str:
    return subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout.strip()


def imported(path: Path) -> set[str]:
    names = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names


def test_public_names_are_sorted_and_exist():
    public = [name for name in mixwright.__all__ if name != "__version__"]
    assert public == sorted(public)
    for name in public:
        assert callable(getattr(mixwright, name)), name


def test_blas_runs_on_one_thread():
    code = (
        "import mixwright, numpy, threadpoolctl, scipy.linalg\n"
        "print(max(pool['num_threads'] for pool in threadpoolctl.threadpool_info() if pool['user_api'] == 'blas'))"
    )
    assert run_python(code) == "1"


def test_importing_the_package_loads_no_numbers():
    assert run_python("import mixwright, sys; print('numpy' in sys.modules)") == "False"


def test_the_optimiser_is_only_used_by_plan():
    users = {path for path in SOURCES if any(name.startswith("scipy.optimize") for name in imported(path))}
    assert {path.parent.name for path in users} <= {"planning"}


def test_scipy_is_never_loaded_at_module_level():
    # scipy.signal alone takes two seconds to import.
    for path in SOURCES:
        for node in ast.parse(path.read_text()).body:
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            if isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            assert not any(name.split(".")[0] == "scipy" for name in names), path


def test_every_source_names_its_licence():
    for path in CODE:
        assert "SPDX-License-Identifier: Apache-2.0" in path.read_text().split("\n", 3)[0:3].__str__(), path


def test_no_file_holds_two_ideas():
    for path in (*SOURCES, *KERNELS):
        limit = 400 if path.suffix == ".py" else 300
        assert len(path.read_text().splitlines()) <= limit, path
        assert not re.fullmatch(r"(utils?|helpers?|common|manager|misc)", path.stem), path


def test_requirements_name_no_host():
    for path in (ROOT / "requirements").glob("*.lock"):
        assert "://" not in path.read_text(), path
