# SPDX-License-Identifier: Apache-2.0
"""What moves do to the figures by which a mix stands beside records, against signals that are mixed and measured."""

from types import SimpleNamespace

import numpy as np
import pytest

from mixwright.model.comparison import ComparedRow
from mixwright.model.profile import BANDS_HZ, FIGURES
from mixwright.model.song import Section
from mixwright.planning.candidate import Candidate, Setting
from mixwright.planning.record_figures import RecordFigures
from mixwright.reference.profile import profile

RATE_HZ, SECONDS = 32000, 8


def noises() -> list[np.ndarray]:
    """Three layers, (frames, 2): low in the middle, one at 1 kHz of both middle and side, one channel at 4 kHz."""
    frames = SECONDS * RATE_HZ
    hz = np.maximum(np.fft.rfftfreq(frames, 1.0 / RATE_HZ), 1.0)
    white = np.random.default_rng(3).standard_normal((4, frames))
    shaped = [
        np.fft.irfft(np.fft.rfft(one) * np.exp(-0.5 * (np.log2(hz / at) / wide) ** 2), frames)
        for one, (at, wide) in zip(white, ((90.0, 0.6), (1000.0, 1.5), (1000.0, 1.5), (4000.0, 0.8)), strict=True)
    ]
    low, mid, side, one = (part / np.std(part) for part in shaped)
    return [0.1 * np.stack([low, low], axis=1), 0.05 * np.stack([mid + side, mid - side], axis=1), 0.08 * one[:, None]]


def placed(one: np.ndarray, pan: float) -> np.ndarray:
    """Return one channel in two, by the law of sine and cosine (3 dB)."""
    angle = (pan + 1.0) * np.pi / 4.0
    return one * np.array([np.cos(angle), np.sin(angle)])


def values_of(layers: list[np.ndarray]) -> dict[str, tuple[float | None, ...]]:
    return profile(sum(layers).astype(np.float32), RATE_HZ).values


def row_of(name: str, band: int, value: float) -> ComparedRow:
    low, high = BANDS_HZ[FIGURES[name].bands][band]
    return ComparedRow(
        attribute=FIGURES[name].attribute, figure=name, unit=FIGURES[name].unit, value=value, low=value - 50.0,
        high=value - 40.0, low_hz=low or None, high_hz=high or None, outside=40.0, references=1,
    )  # fmt: skip


def figures_of(layers: list[np.ndarray]) -> RecordFigures:
    """Three layers as they are known, with every row that is foretold far outside: what changes is what comes in."""
    thirds = np.array([
        [0.0 if level is None else 10.0 ** (level / 10.0) for level in profile(one.astype(np.float32), RATE_HZ).values[
            "third_octaves_db"]] for one in layers
    ])  # fmt: skip
    powers = np.array([float(np.mean(one**2)) for one in layers])
    thirds *= (powers / thirds.sum(axis=1))[:, None]
    sides = [float(np.mean((one[:, 0] - one[:, 1]) ** 2) / 4.0 / np.mean(one**2)) for one in layers]
    whole = values_of(layers)
    rows = [
        row_of(name, band, value)
        for name in ("third_octaves_db", "low_end_db", "top_end_db", "low_octaves_db", "side_to_mid_db")
        for band, value in enumerate(whole[name])
        if value is not None
    ]
    section = SimpleNamespace(section=Section(name="all", start_s=0.0, end_s=SECONDS))
    return RecordFigures(rows, [section], {"all": thirds}, sides, {})


def made(kind: str, row: int, values: dict[str, float], **fixed: float) -> tuple[Candidate, np.ndarray]:
    settings = tuple(Setting(name, 0.0, -20.0, 20.0, 1.0) for name in values)
    return Candidate(kind, "x", (), (row,), settings, fixed), np.array(list(values.values()))


@pytest.mark.parametrize(
    ("chosen", "change"),
    [
        (made("level", 0, {"gain_db": 3.0}), lambda a, b, c: [a * 10**0.15, b, placed(c, 0.0)]),
        (made("width", 1, {"width": 0.5}), lambda a, b, c: [a, b @ [[0.75, 0.25], [0.25, 0.75]], placed(c, 0.0)]),
        (made("width", 1, {"width": 1.4}), lambda a, b, c: [a, b @ [[1.2, -0.2], [-0.2, 1.2]], placed(c, 0.0)]),
        (made("pan", 2, {"pan": -0.8}), lambda a, b, c: [a, b, placed(c, -0.8)]),
    ],
)
def test_what_is_foretold_is_what_the_mix_of_the_layers_has(chosen, change):
    low, middle, one = noises()
    before = [low, middle, placed(one, 0.0)]
    figures = figures_of(before)
    now = values_of(change(low, middle, one))
    was = {row: row.outside for row in figures.rows}
    for row, far in figures.outside([chosen]).items():
        band = [edges[0] for edges in BANDS_HZ[FIGURES[row.figure].bands]].index(row.low_hz or 0.0)
        if row.heard and row.value > -30.0:  # what is next to nothing is noise of the measurement
            assert far - was[row] == pytest.approx(now[row.figure][band] - row.value, abs=0.25), row


def test_a_bell_moves_its_third_by_its_gain_and_missing_adds_up():
    low, middle, one = noises()
    figures = figures_of([low, middle, placed(one, 0.0)])
    bell = made("shape", 1, {"gain_db": -2.0}, hz=1000.0, q=2.0)
    far = figures.outside([bell])
    row = next(row for row in figures.rows if row.figure == "third_octaves_db" and 800.0 < row.low_hz < 1000.0)
    # The loudness falls with it, by less.
    assert -2.0 < far[row] - row.outside < -1.0
    # All lie outside by eight halves of their intervals; three thirds, or two octaves of the bottom, count as one.
    thirds = sum(row.figure == "third_octaves_db" for row in figures.rows)
    bottom = sum(row.figure == "low_octaves_db" for row in figures.rows)
    assert figures.missing(figures.outside([])) == pytest.approx(8.0 * (thirds / 3.0 + bottom / 2.0 + 3.0))


def test_contrast_changes_by_what_the_loudest_and_the_softest_section_do():
    energy = {"soft": np.full((2, 31), 1.0), "loud": np.array([np.full(31, 4.0), np.zeros(31)])}
    energy["soft"][1] = 0.0
    sections = [
        SimpleNamespace(section=Section(name=name, start_s=start_s, end_s=start_s + 10.0))
        for name, start_s in (("soft", 0.0), ("loud", 10.0))
    ]
    row = row_of("contrast_loudness_lu", 0, 6.0)
    figures = RecordFigures([row], sections, energy, [0.0, 0.0], {"soft": -6.0, "loud": 0.0})
    level, values = made("level", 0, {"gain_db": 2.0})
    softer = Candidate("level", "x", ("soft",), (0,), level.settings)
    assert figures.outside([(softer, values)])[row] - row.outside == pytest.approx(-2.0)
    # In the whole song it changes nothing; nor is anything known of sections that are not those of the song.
    assert figures.outside([(level, values)])[row] == pytest.approx(row.outside)
    unknown = RecordFigures([row], sections, energy, [0.0, 0.0], {"part-a-1": -6.0, "part-b-1": 0.0})
    assert unknown.outside([(softer, values)])[row] == pytest.approx(row.outside)
