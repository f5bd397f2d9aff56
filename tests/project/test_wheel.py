# SPDX-License-Identifier: Apache-2.0
"""A wheel on a machine without a compiler and without the source tree."""

import json
import os
import subprocess
import sys
import sysconfig
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.slow
def test_the_wheel_alone_runs_the_tour(tmp_path):
    build = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "-w", str(tmp_path), str(ROOT)]
    subprocess.run(build, check=True, capture_output=True)
    (wheel,) = tmp_path.glob("mixwright-*.whl")
    assert "py3-none-" in wheel.name
    home = tmp_path / "env"
    venv.create(home, with_pip=False)
    site = next(home.glob("lib/python*/site-packages"))
    subprocess.run([sys.executable, "-m", "pip", "install", "--no-deps", "--target", site, wheel], check=True)
    # The dependencies come from the environment of the tests; the package itself comes from the wheel.
    (site / "dependencies.pth").write_text(sysconfig.get_path("purelib") + "\n")
    env = {"PATH": str(home / "bin"), "HOME": str(tmp_path), "LANG": "C.UTF-8"}
    env |= {key: os.environ[key] for key in ("OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE") if key in os.environ}
    python = str(home / "bin" / "python")
    where = subprocess.run(
        [python, "-c", "import mixwright; print(mixwright.__file__)"],
        check=True, capture_output=True, text=True, env=env, cwd=tmp_path,
    )  # fmt: skip
    assert Path(where.stdout.strip()).is_relative_to(site)
    done = subprocess.run(
        [python, "-m", "mixwright", "--json", "--progress", "none", "tour", str(tmp_path / "tour")],
        check=True, capture_output=True, text=True, env=env, cwd=tmp_path,
    )  # fmt: skip
    result = json.loads(done.stdout)["result"]
    assert Path(result["page"]).is_file()
    assert Path(result["mix"]).is_file()
    assert result["files"]
    assert all(Path(name).is_file() for name in result["files"])
