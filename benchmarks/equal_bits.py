# SPDX-License-Identifier: Apache-2.0
"""Equal bits of every processor on real tracks: `python benchmarks/equal_bits.py AUDIO KEY [--seconds 20]`.

Runs each processor alone over stereo AUDIO, those that listen keyed by KEY, in the loaded build, and compares what
comes out to the bit with: the plain and the AVX2 build, gcc, zig, arm64 under an emulator, and the AudioWorklet in
Chromium. What is not there is said. Baselines that must differ: the audio as it was (empty), and the same chain of
audio that is a ten-millionth louder (naive).
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "tests"))

from engine.processors.examples import RATE_HZ, every  # noqa: E402
from mixwright.engine.chain import Chain  # noqa: E402
from mixwright.engine.processors.insert import made  # noqa: E402
from mixwright.native.library import library_path  # noqa: E402
from reference.chain_elsewhere import ZIG, by_program, in_browser, program  # noqa: E402
from reference.chromium import CHROMIUM, running_browser  # noqa: E402


def read(path: Path, seconds: float) -> np.ndarray:
    """Return the loudest stretch of a file, float32 ``(frames, 2)``."""
    audio, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    if rate_hz != RATE_HZ:
        sys.exit(f"{path} is not at {RATE_HZ} Hz")
    audio = np.repeat(audio, 2, axis=1) if audio.shape[1] == 1 else audio[:, :2]
    frames = min(len(audio), round(seconds * RATE_HZ))
    so_far = np.concatenate([[0.0], np.cumsum(np.square(audio, dtype=np.float64).sum(axis=1))])
    first = int(np.argmax(so_far[frames:] - so_far[: len(so_far) - frames]))
    return np.ascontiguousarray(audio[first : first + frames])


def loaded(chain: Chain, audio: np.ndarray, keys: np.ndarray | None) -> np.ndarray:
    """Return what the loaded build makes of the audio."""
    out = np.empty_like(audio)
    chain.reset()
    chain.process_float(audio, out, keys)
    return out


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("audio", type=Path)
    parser.add_argument("key", type=Path)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--digest", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    audio, key = read(given.audio, given.seconds), read(given.key, given.seconds)
    audio, key = audio[: len(key)], key[: len(audio)]
    chains = []
    for insert, _ in every():
        chain = Chain(made(insert, RATE_HZ), 2)
        keys = np.repeat(key[:, np.newaxis], len(chain.keys), axis=1) if chain.keys else None
        chains.append((type(insert).__name__, chain, keys))
    if given.digest:
        out = [loaded(chain, audio, keys) for _, chain, keys in chains]
        sys.stdout.buffer.write(np.concatenate(out).tobytes())
        return
    with tempfile.TemporaryDirectory() as name:
        compare(chains, audio, Path(name))


def compare(chains: list, audio: np.ndarray, folder: Path) -> None:
    """Print which builds give the same bits."""
    wanted = [loaded(chain, audio, keys) for _, chain, keys in chains]
    builds = {}
    for build in ("baseline", "avx2"):
        if library_path(build).exists():
            environment = {**os.environ, "MIXWRIGHT_CORE": build}
            done = subprocess.run(
                [sys.executable, *sys.argv, "--digest"], env=environment, check=True, capture_output=True
            )
            flat = np.frombuffer(done.stdout, np.float32).reshape(len(chains), *audio.shape)
            builds[build] = dict(enumerate(flat))
    zig = importlib.util.find_spec("ziglang") is not None
    emulator = shutil.which("qemu-aarch64")
    programs = {
        "gcc": (["gcc"], (), () if shutil.which("gcc") else None),
        "zig": (ZIG, (), () if zig else None),
        "arm64": (ZIG, ("--target=aarch64-linux-musl", "-static"), (emulator,) if zig and emulator else None),
    }
    for build, (compiler, flags, runner) in programs.items():
        if runner is None:
            continue
        inside = folder / build
        inside.mkdir()
        runs = program(inside, compiler, *flags)
        builds[build] = {
            k: by_program(runs, inside, chain, audio, keys, runner) for k, (_, chain, keys) in enumerate(chains)
        }
    if CHROMIUM and importlib.util.find_spec("playwright"):
        with running_browser() as browser:
            builds["browser"] = {
                k: in_browser(browser, chain, audio, keys) for k, (_, chain, keys) in enumerate(chains)
            }
    builds["empty"] = dict.fromkeys(range(len(chains)), audio)
    builds["naive"] = {
        k: loaded(chain, audio * np.float32(1.0000001), keys) for k, (_, chain, keys) in enumerate(chains)
    }
    missing = {"baseline", "avx2", *programs, "browser"} - set(builds)
    print(f"{len(audio) / RATE_HZ:.1f} s, {len(chains)} processors; not run: {', '.join(sorted(missing)) or 'none'}")
    print(f"{'':18}" + "".join(f"{build:>10}" for build in builds))
    for k, (name, _, _) in enumerate(chains):
        same = ["equal" if np.array_equal(made_by[k], wanted[k]) else "differs" for made_by in builds.values()]
        print(f"{name:18}" + "".join(f"{word:>10}" for word in same))


if __name__ == "__main__":
    main()
