# SPDX-License-Identifier: Apache-2.0
"""Compile csrc/ into the package: with the machine's C compiler, or with the ziglang wheel where there is none.

Run as a script (`python hatch_build.py`) it compiles in place, for an editable install; `python hatch_build.py wasm`
compiles the core for the page.
"""

from __future__ import annotations

import os
import platform
import shutil
import subprocess
import sys
import sysconfig
import tempfile
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent
TARGET = ROOT / "src" / "mixwright" / "native"

# No fused multiply-add (but in the ear) and no fast-math: the same bits from every compiler and on every processor.
# Without errno and traps, which nothing reads, both sides of a choice may be computed in vectors.
FLAGS = ["-std=c11", "-O3", "-ffp-contract=off", "-fno-math-errno", "-fno-trapping-math", "-fPIC"]
FLAGS += ["-Wall", "-Wextra", "-Wno-psabi"]
VARIANTS = {"baseline": [], "avx2": ["-mavx2"]}
#: The ear renders nothing: where the processor can, it multiplies and adds at once. Not in its spectrum: that would be
#: other bits wherever the audio is cut.
FUSED = {"ear_bands.c", "ear_excitation.c", "ear_loudness.c"}
FUSED_FLAGS = {"baseline": [], "avx2": ["-mfma", "-ffp-contract=fast"]}


#: The core for the page: no C library, and nothing imported. The ear is not part of it.
WASM = ROOT / "src" / "mixwright" / "web" / "core.wasm"
WASM_FLAGS = ["--target=wasm32-freestanding", "-msimd128", "-mbulk-memory", "-nostdlib", "-Icsrc/wasm"]
WASM_FLAGS += ["-Wl,--no-entry", "-Wl,--export-dynamic", "-Wl,--strip-all"]


def find_compiler() -> list[str] | None:
    """Return the command of a C compiler on this machine, or None."""
    chosen = os.environ.get("CC")
    if chosen:
        return chosen.split()
    for name in ("cc", "gcc", "clang"):
        found = shutil.which(name)
        if found:
            return [found]
    try:
        import ziglang  # noqa: F401
    except ImportError:
        return None
    return [sys.executable, "-m", "ziglang", "cc"]


def library_name(variant: str) -> str:
    """Return the file name of one build of the C core."""
    suffix = {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")
    return f"core_{variant}{suffix}"


def variants() -> dict[str, list[str]]:
    """Return the builds for this processor: AVX2 beside the baseline on x86-64."""
    if platform.machine().lower() in ("x86_64", "amd64"):
        return VARIANTS
    return {"baseline": []}


def compile_core(target: Path = TARGET, compiler: list[str] | None = None) -> list[Path]:
    """Compile every variant of the C core into `target`; return the files made."""
    command = compiler or find_compiler()
    if command is None:
        raise RuntimeError("no C compiler found; install one, or the 'ziglang' wheel")
    sources = sorted((ROOT / "csrc").glob("*.c"))
    made = []
    for variant, extra in variants().items():
        out = target / library_name(variant)
        with tempfile.TemporaryDirectory(prefix=f"{out.name}.", dir=target) as room:
            objects = []
            for source in sources:
                objects.append(f"{room}/{source.stem}.o")
                flags = [*FLAGS, *extra, *(FUSED_FLAGS[variant] if source.name in FUSED else [])]
                subprocess.run([*command, *flags, "-c", "-o", objects[-1], str(source)], check=True)
            part = Path(room) / out.name
            subprocess.run([*command, "-shared", "-o", str(part), *objects, "-lm"], check=True)
            part.replace(out)
        made.append(out)
    return made


def compile_wasm(target: Path = WASM) -> Path:
    """Compile the core for the page with the pinned ziglang wheel, which always gives the same file."""
    sources = sorted(f"csrc/{path.name}" for path in (ROOT / "csrc").glob("*.c") if not path.name.startswith("ear_"))
    flags = [flag for flag in FLAGS if flag != "-fPIC"]
    part = target.with_name(f"{target.name}.{os.getpid()}.part")
    command = [sys.executable, "-m", "ziglang", "cc", *WASM_FLAGS, *flags, "-o", str(part), *sources]
    subprocess.run(command, check=True, cwd=ROOT)
    part.chmod(0o644)
    part.replace(target)
    return target


try:
    from hatchling.builders.hooks.plugin.interface import BuildHookInterface
except ImportError:  # run as a script, without hatchling
    pass
else:

    class CoreBuildHook(BuildHookInterface):
        """Put the compiled core into the wheel and tag the wheel for this platform."""

        def dependencies(self) -> list[str]:
            """Ask for a compiler only where the machine has none."""
            return [] if find_compiler() else ["ziglang>=0.13"]

        def initialize(self, version: str, build_data: dict[str, Any]) -> None:  # noqa: ARG002
            """Compile, and name the files as artifacts."""
            if self.target_name != "wheel":
                return
            compile_core()
            build_data["artifacts"] += ["src/mixwright/native/core_*"]
            build_data["pure_python"] = False
            tag = sysconfig.get_platform().replace("-", "_").replace(".", "_")
            build_data["tag"] = f"py3-none-{tag}"


def main(arguments: list[str]) -> None:
    """Compile in place; `wasm`: the core for the page; `wasm --check`: fail where the committed one is another."""
    if arguments[:1] != ["wasm"]:
        for path in compile_core():
            sys.stdout.write(f"{path}\n")
    elif "--check" not in arguments:
        sys.stdout.write(f"{compile_wasm()}\n")
    else:
        committed = WASM.read_bytes()
        made = compile_wasm(WASM.with_suffix(".checked"))
        same = made.read_bytes() == committed
        made.unlink()
        if not same:
            sys.exit(
                f"{WASM.relative_to(ROOT)} was not made from these sources: python3 bootstrap.py wasm makes it anew"
            )
        sys.stdout.write("the core for the page is the one that these sources make\n")


if __name__ == "__main__":
    main(sys.argv[1:])
