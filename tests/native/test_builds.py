# SPDX-License-Identifier: Apache-2.0
"""Every build of the C core renders the same bits: plain and AVX2, and from a second compiler."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from mixwright.native.library import library_path

ROOT = Path(__file__).resolve().parents[2]

#: Prints a digest of what the core makes: filters, gains, pans, ramps, chains, a whole mix, levels, dynamics, reverbs.
PROGRAM = """
import hashlib
import sys
import numpy as np
from mixwright.core.filters import moving_band, moving_pass, strip_sections
from mixwright.engine.chain import Chain
from mixwright.engine.dynamics import PeakLimiter
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.place_loudness import alone_slope, cued_slopes
from mixwright.engine.processors.insert import made
from mixwright.engine.reverb import reverberation
from mixwright.meter.measure import Meter
from mixwright.meter.true_peak import true_peak_16x
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Reverb
from mixwright.native import crossover, mathematics
from mixwright.native.library import core
from mixwright.native.place import pan_gains
from reference.noise_songs import graph_of, rendered, rich_song

song, lanes, stems = rich_song(0.5)
x = np.linspace(-30.0, 30.0, 20001)
parts = [getattr(mathematics, name)(x) for name in ("exp2", "sin", "cos", "tan", "ratio")]
parts.append(mathematics.log2(np.abs(x)))
parts += [pan_gains(law, np.linspace(-1.0, 1.0, 999)) for law in (0.0, 0.5, 1.0, 1.5)]
parts += [strip_sections(track.strip, 48000) for track in song.tracks]
hz, ones = np.geomspace(20.0, 23000.0, 300), np.ones(300)
for kind in ("bell", "low_shelf", "high_shelf", "notch", "band_pass", "tilt"):
    parts += [moving_band(EqBand(kind=kind, hz=20), 48000, hz, g * ones, q * ones) for g in (-24, 3) for q in (0.1, 9)]
for slope in range(6, 49, 6):
    parts += [moving_pass(Pass(hz=20, slope_db_oct=slope), 48000, hz, high=high) for high in (False, True)]
mix = rendered(graph_of(song, lanes, stems), stems, workers=1)
parts.append(mix)
linear = Filters(high_pass=Pass(hz=60), bands=(EqBand(hz=3000, gain_db=5),), phase="linear")
audio = np.tile(mix[:5000].astype(np.float64), (4, 1))
Chain(made(linear, 48000), 2).process(audio)
parts.append(audio)
parts.append(crossover.split(crossover.design(np.array([90.0, 800.0, 7000.0]), 4, 48000), 4, np.zeros(96), audio))
assert np.abs(parts[-1]).max(axis=(1, 2)).min() > 1e-3
for channels in (1, 2, 3):
    meter = Meter(44100, channels)
    meter.push(np.tile(np.concatenate([mix, mix[::-1, ::-1]], axis=1)[:, :channels], (3, 1)))
    parts += [meter.loudness().energy, np.frombuffer(repr(meter.result()).encode(), np.uint8)]
audio, curve = 4.0 * mix.astype(np.float64), np.empty(len(mix), np.float32)
PeakLimiter(48000, ceiling_dbtp=-12, release_s=0.05).process(audio, curve)
parts += [audio, curve, np.array(true_peak_16x([audio]))]
assert np.ptp(curve) > 0.1
for kind in ("voice", "instruments"):
    audio = mix.astype(np.float64)
    Chain([reverberation(Reverb(kind=kind, decay_s=0.2), 48000)], 2).process(audio)
    parts.append(audio)
voices = [np.repeat(stems[name][:20000, :1], 2, axis=1) * [1.0, 0.3] for name in ("pad", "keys", "voice")]
quiet = np.geomspace(1e-7, 1.0, len(voices[1]))[:, None]  # from far below what is heard
hearing = hear(
    {"pad": held(voices[0]), "keys": held(voices[1] * quiet), "voice": held(20.0 * voices[2])}, held(sum(voices)),
    rate_hz=44100, frames=len(voices[0]), offset_db=95.0, workers=1,
)
places = np.geomspace(1e-3, 1e12, 75 * 60, dtype=np.float32).reshape(60, 75)
parts += [*alone_slope(places), *cued_slopes(places, places[::-1].copy()), *cued_slopes(places, 0.3 * places)]
heard = [hearing.taken[0].loss_cued]
for layer in hearing.layers.values():
    heard += [layer.total, layer.bands]
    assert layer.total.max() > 1.0
np.save(sys.argv[1], np.concatenate([part.ravel() for part in heard]))
print(core()._name, hashlib.sha256(b"".join(part.tobytes() for part in parts)).hexdigest())
"""


def made_by(build: str, folder: Path) -> tuple[str, np.ndarray]:
    """Return a digest of what a build renders and measures, and what it hears."""
    environment = {
        **os.environ,
        "MIXWRIGHT_CORE": build,
        "PYTHONPATH": os.pathsep.join([str(ROOT / "tests"), os.environ.get("PYTHONPATH", "")]),
    }
    heard = folder / "heard.npy"
    command = [sys.executable, "-c", PROGRAM, str(heard)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=True)
    name, result = done.stdout.split()
    assert build in name
    return result, np.load(heard)


def assert_same(found: tuple[str, np.ndarray], plain: tuple[str, np.ndarray]) -> None:
    """Renders are equal to the bit; of the ear, which may multiply and add at once, loudness is within 1e-4."""
    assert found[0] == plain[0]
    np.testing.assert_allclose(found[1], plain[1], rtol=1e-4, atol=1e-5)


def second_compiler() -> list[str] | None:
    """Return a C compiler that is not the machine's own, if there is one."""
    own = os.environ.get("CC") or next((found for found in map(shutil.which, ("cc", "gcc", "clang")) if found), "")
    clang = shutil.which("clang")
    if clang and Path(own).resolve() != Path(clang).resolve():
        return [clang]
    if own and importlib.util.find_spec("ziglang"):
        return [sys.executable, "-m", "ziglang", "cc"]
    return None


@pytest.fixture(scope="module")
def plain(tmp_path_factory) -> tuple[str, np.ndarray]:
    return made_by("baseline", tmp_path_factory.mktemp("plain"))


@pytest.mark.skipif(not library_path("avx2").exists(), reason="this processor has one build only")
def test_plain_and_avx2_render_the_same_bits_and_hear_the_same(plain, tmp_path):
    assert_same(made_by("avx2", tmp_path), plain)


@pytest.mark.slow
@pytest.mark.skipif(second_compiler() is None, reason="no second C compiler (clang, or the ziglang wheel)")
def test_a_second_compiler_renders_the_same_bits_and_hears_the_same(plain, tmp_path):
    sys.path.insert(0, str(ROOT))
    try:
        from hatch_build import compile_core
    finally:
        sys.path.remove(str(ROOT))
    for build in compile_core(tmp_path, second_compiler()):
        assert_same(made_by(str(build), tmp_path), plain)
