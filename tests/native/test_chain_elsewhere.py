# SPDX-License-Identifier: Apache-2.0
"""Chains give the same bits from other compilers, on another processor (emulated), and as WebAssembly in a browser."""

from __future__ import annotations

import importlib.util
import shutil

import numpy as np
import pytest

from engine.processors.examples import RATE_HZ, every
from mixwright.engine.chain import Chain
from mixwright.engine.processors.insert import made
from reference.chain_elsewhere import ZIG, by_program, in_browser, program
from reference.chromium import CHROMIUM, running_browser

EMULATOR = shutil.which("qemu-aarch64") or shutil.which("qemu-aarch64-static")
INSERTS = [pytest.param(insert, id=f"{type(insert).__name__}-{k}") for k, (insert, _) in enumerate(every())]
FRAMES = 2 * RATE_HZ

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("default")]


def signal(channels, seed):
    """Noise in phrases, silent between them."""
    rng = np.random.default_rng(seed)
    swells = np.repeat(rng.choice([0.0, 0.01, 0.3, 1.0], FRAMES // 6000), 6000)
    return (rng.uniform(-1.0, 1.0, (FRAMES, channels)) * swells[:, np.newaxis]).astype(np.float32)


def here(insert, channels=2):
    """Return a chain of an insert, float32 audio and keys for it, and what the loaded build makes of them."""
    chain = Chain(made(insert, RATE_HZ), channels)
    audio = signal(channels, 1)
    keys = np.stack([signal(2, 2 + k) for k in range(len(chain.keys))], axis=1) if chain.keys else None
    out = np.empty_like(audio)
    chain.process_float(audio, out, keys)
    return chain, audio, keys, out


@pytest.fixture(scope="module", params=["gcc", "sanitized", "zig", "arm64"])
def elsewhere(request, tmp_path_factory):
    """Return a program of another build and what runs it."""
    folder = tmp_path_factory.mktemp(request.param)
    if request.param in ("gcc", "sanitized"):
        if not shutil.which("gcc"):
            pytest.skip("needs gcc")
        # Addresses out of bounds and whatever C leaves undefined end the program.
        checks = ["-fsanitize=address,undefined", "-fno-sanitize-recover=all"] if request.param == "sanitized" else []
        return program(folder, ["gcc"], *checks), folder, ()
    if importlib.util.find_spec("ziglang") is None:
        pytest.skip("needs the ziglang wheel")
    if request.param == "zig":
        return program(folder, ZIG), folder, ()
    if EMULATOR is None:
        pytest.skip("needs an emulator of arm64 (qemu-aarch64)")
    return program(folder, ZIG, "--target=aarch64-linux-musl", "-static"), folder, (EMULATOR,)


@pytest.mark.parametrize("insert", INSERTS)
def test_other_builds_give_the_same_bits(insert, elsewhere):
    chain, audio, keys, out = here(insert)
    made_by, folder, runner = elsewhere
    assert np.array_equal(by_program(made_by, folder, chain, audio, keys, runner), out)


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None:
        pytest.skip("needs chromium")
    pytest.importorskip("playwright.sync_api")
    with running_browser() as running:
        yield running


@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize("insert", INSERTS)
def test_the_worklet_gives_the_same_bits(browser, insert, channels):
    chain, audio, keys, out = here(insert, channels)
    assert out.any()
    assert np.array_equal(in_browser(browser, chain, audio, keys), out)
