# SPDX-License-Identifier: Apache-2.0
"""Every kernel of the ear in the C core against its slow twin, and at the edges of what floats hold."""

from __future__ import annotations

import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from mixwright.hearing.bands import BANDS, band_edges
from mixwright.hearing.components import RATE_HZ, components
from mixwright.hearing.constants import CUED_DB, STRICT_DB, constants_at
from mixwright.hearing.ear_filter import ear_filters
from mixwright.hearing.excitation import SharedFilters, excitation, levels_per_erb
from mixwright.hearing.kernels import (
    FRAME,
    MARGIN,
    fine_steps,
    loudness_table,
    spectrum_tables,
    spread_table,
    whole_frames,
)
from mixwright.hearing.scale import FILTERS, STEP_CAM, filter_hz
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.native import ear
from mixwright.native.ear import PADDED_FILTERS, PATTERNS
from reference import ear_twin as twin

HZ = components().hz
CENTRE_HZ = filter_hz()
CONSTANTS = constants_at(CENTRE_HZ)
OFFSET_DB = 90.0
FRAMES = 16


@functools.cache
def sounds():
    """Sounds of FRAMES frames with margins: noise, tones at the edges of ranges, a click, a sweep, a faint one."""
    random = np.random.default_rng(1)
    length = FRAMES * FRAME + 2 * MARGIN
    n = np.arange(length) / RATE_HZ
    made = {
        f"{hz} Hz": np.sin(2.0 * np.pi * hz * n)
        for hz in (45.0, 79.0, 81.0, 499.0, 501.0, 1250.0, 2540.0, 4050.0, 14900.0)
    }
    made["noise"] = 0.2 * random.standard_normal(length)
    made["faint noise"] = 1e-6 * random.standard_normal(length)
    made["click"] = (np.arange(length) == MARGIN + 1000).astype(float)
    made["sweep"] = np.sin(np.pi * 20000.0 * n**2 / n[-1])
    return {name: audio.astype(np.float32) for name, audio in made.items()}


# Spectrum


@pytest.mark.parametrize("name", list(sounds()))
def test_spectrum_is_that_of_its_twin(name):
    """Each component within 1e-6 of the frame's power, and within 0.01 dB down to 60 dB below the strongest."""
    audio, tables, steps = sounds()[name], spectrum_tables(), fine_steps()
    spectrum = RunningSpectrum(OFFSET_DB)
    found = spectrum.power(spectrum.bins(audio), steps=steps)
    scale = tables.scale * 10.0 ** (OFFSET_DB / 10.0)
    each = twin.decimated_power(audio, FRAMES, MARGIN, tables.half_band, ear_filters(), tables.shape[:, 0], scale)
    rows = [each.mean(axis=1)]
    rows += [
        each.reshape(FRAMES, count, 4 // count, -1)[:, step].mean(axis=1)[:, fine:]
        for _, _, count, fine in steps.parts.tolist()
        for step in range(count)
    ]
    wanted = np.concatenate(rows, axis=1)
    assert np.all(np.abs(found - wanted) <= 1e-6 * wanted.sum(axis=1, keepdims=True))
    strong = wanted > 1e-6 * wanted.max()
    assert np.all(np.abs(10.0 * np.log10(found[strong] / wanted[strong])) < 0.01)


@pytest.mark.parametrize("name", list(sounds()))
def test_spectrum_at_reduced_rates_is_that_at_full_rate(name):
    """The ear as one long filter at 48 kHz, windows at 48 kHz: the strong components of steady sounds within 0.5 dB.

    From 31 Hz to 14 kHz; where sound begins or ends, the shorter filters' other shape below 25 Hz shows too.
    """
    audio = sounds()[name]
    spectrum = RunningSpectrum(OFFSET_DB)
    found = spectrum.power(spectrum.bins(audio)).mean(axis=0)
    first = MARGIN // FRAME
    wanted = twin.running_power(audio[MARGIN % FRAME :], OFFSET_DB, 4, 1)[first : first + FRAMES].mean(axis=0)
    strong = (wanted > 1e-4 * wanted.max()) & (HZ > 31.0) & (HZ < 14000.0)
    if name not in ("click", "sweep"):
        assert np.all(np.abs(10.0 * np.log10(found[strong] / wanted[strong])) < 0.5)
    assert np.all(np.abs(found - wanted) < 0.01 * wanted.sum())


@pytest.mark.parametrize("hz", [15900.0, 17300.0, 19100.0, 21000.0, 22900.0])
def test_nothing_from_above_the_ranges_comes_back_below(hz):
    """A steady tone above 15 kHz: 90 dB below its power in every component where windows' skirts have gone."""
    n = np.arange(FRAMES * FRAME + 2 * MARGIN) / RATE_HZ
    audio = np.sin(2.0 * np.pi * hz * n).astype(np.float32)
    spectrum = RunningSpectrum(0.0)
    found = spectrum.power(spectrum.bins(audio)).max(axis=0)
    assert np.all(found[HZ < 4050.0] < 0.5e-9)


@pytest.mark.parametrize("hz", [3100.0, 5300.0, 7300.0, 9000.0, 10900.0])
def test_nothing_is_mirrored_into_lower_ranges(hz):
    """Halving the rate folds 12 to 24 kHz over 0 to 12 and so on: 90 dB down where windows' skirts have gone."""
    n = np.arange(FRAMES * FRAME + 2 * MARGIN) / RATE_HZ
    audio = np.sin(2.0 * np.pi * hz * n).astype(np.float32)
    spectrum = RunningSpectrum(0.0)
    assert np.all(spectrum.power(spectrum.bins(audio)).max(axis=0)[HZ < 1250.0] < 0.5e-9)


def test_any_cut_of_the_audio_gives_the_same_bits():
    audio = sounds()["noise"]
    spectrum, steps = RunningSpectrum(OFFSET_DB), fine_steps()
    whole = spectrum.power(spectrum.bins(audio), steps=steps)
    assert whole[:, : len(HZ)].tobytes() == spectrum.power(spectrum.bins(audio)).tobytes()
    for first, count in ((0, 4), (4, 8), (12, 4), (0, 16)):
        part = audio[first * FRAME : (first + count) * FRAME + 2 * MARGIN].copy()
        assert spectrum.power(spectrum.bins(part), steps=steps).tobytes() == whole[first : first + count].tobytes()


def test_margins_reach_as_far_as_a_frame_hears():
    audio = sounds()["noise"].copy()
    spectrum = RunningSpectrum(OFFSET_DB)
    whole = spectrum.power(spectrum.bins(audio))
    reach = 32 * (128 + 48) + 12 * (1 + 2 + 4 + 8 + 16)  # filter and window at 1.5 kHz, half-bands at all rates
    assert reach < MARGIN
    audio[: MARGIN - reach] = 7.0
    audio[-(MARGIN - reach) :] = -7.0
    assert spectrum.power(spectrum.bins(audio)).tobytes() == whole.tobytes()


def test_spectrum_of_the_rest():
    """The power of mix minus layer: that of their difference, nothing at all of the same, four times of the inverse."""
    layer, other = sounds()["sweep"], sounds()["noise"]
    spectrum = RunningSpectrum(OFFSET_DB)
    bins = spectrum.bins(layer)
    (own,), (rest,) = spectrum.powers([layer], [spectrum.bins(layer + other)], fine_steps())
    wanted = spectrum.power(spectrum.bins(other), fine_steps())
    whole = spectrum.power(bins, fine_steps()) + wanted
    assert own.tobytes() == spectrum.power(bins, fine_steps()).tobytes()
    assert np.all(np.abs(rest - wanted) < 1e-5 * np.sqrt(whole.sum(axis=1, keepdims=True) * whole) + 1e-9 * whole.max())
    assert not spectrum.powers([layer], [bins])[1][0].any()
    np.testing.assert_allclose(spectrum.powers([layer], [-bins])[1][0], 4.0 * spectrum.power(bins), rtol=1e-6)


def test_audio_must_be_whole_frames():
    for length in (2 * MARGIN - 4 * FRAME, 2 * MARGIN + FRAME, 2 * MARGIN + 4 * FRAME + 1):
        with pytest.raises(ValueError, match="multiple of four frames"):
            RunningSpectrum(0.0).bins(np.zeros(length, np.float32))


# Levels and excitation


def powers(count, top_db, silent, seed=3):
    """Random powers of components, a share of them nothing."""
    random = np.random.default_rng(seed)
    made = 10.0 ** random.uniform(-3.0, top_db / 10.0, (count, len(HZ)))
    made[random.random(made.shape) < silent] = 0.0
    return made.astype(np.float32)


def stepped_powers(count, top_db, silent):
    """Rows of powers by `fine_steps`: random at 1 ms, the first 134 of each row the means of its frame."""
    each = powers(4 * count, top_db, silent).reshape(count, 4, len(HZ))
    rows = [each.mean(axis=1)]
    for _, _, steps, fine in fine_steps().parts.tolist():
        rows.append(each.reshape(count, steps, 4 // steps, -1).mean(axis=2)[:, :, fine:].reshape(count, -1))
    return np.concatenate(rows, axis=1), each


@pytest.mark.parametrize(("top_db", "silent"), [(60.0, 0.0), (90.0, 0.6), (125.0, 0.95)])
def test_levels(top_db, silent):
    """The nearest whole dB from -20 to 120, ties aside; what lies 40 dB below the strongest sets nothing."""
    power = powers(100, top_db, silent)
    exact = twin.level_per_erb_db(HZ, power.astype(np.float64))
    counts = exact > exact.max(axis=1, keepdims=True) - 40.0
    found = levels_per_erb(power).astype(np.float64) - 20.0
    assert np.all(np.abs(found - np.clip(exact, -20.0, 120.0))[counts] <= 0.502)


def test_levels_of_nothing_and_of_far_too_much():
    power = np.zeros((3, len(HZ)), np.float32)
    power[1:, 60] = (1e30, np.finfo(np.float32).max)
    found = levels_per_erb(power)
    assert found[0].max() == 0
    assert found[1:, 60].tolist() == [140, 140]


@pytest.mark.parametrize(("top_db", "silent"), [(40.0, 0.5), (80.0, 0.0), (80.0, 0.9), (110.0, 0.9), (130.0, 0.98)])
def test_excitation(top_db, silent):
    """Alone and shared: what is cut off is a billionth of each component's power, or -30 dB SPL of each."""
    power = powers(40, top_db, silent)
    levels = levels_per_erb(power)
    wanted = np.stack(
        [
            twin.excitation(HZ, p, CENTRE_HZ, x)
            for p, x in zip(power.astype(np.float64), levels.astype(np.float64) - 20.0, strict=True)
        ]
    )
    cut = 1e-9 * power.sum(axis=1, keepdims=True) + 1e-3 * np.count_nonzero(power, axis=1, keepdims=True)
    factors = (1.0, 0.1, 1e-4, 0.0, 1.0)
    outs = [np.full((len(power), PADDED_FILTERS), np.nan, np.float32) for _ in factors]
    SharedFilters().excite([power * np.float32(factor) for factor in factors], levels, outs)
    for factor, found in ((1.0, excitation(power)), *zip(factors, outs, strict=True)):
        lost = factor * wanted - found[:, :FILTERS]
        assert np.all(lost >= -2e-6 * factor * wanted)
        assert np.all(lost <= 2e-6 * factor * wanted + factor * cut + 1e-9)
    alone = twin.specific_loudness(wanted, CONSTANTS).sum(axis=1)
    ours = twin.specific_loudness(excitation(power)[:, :FILTERS], CONSTANTS).sum(axis=1)
    heard = alone * STEP_CAM > 0.001
    # What is cut matters only above 110 dB SPL in one component, where nobody listens.
    np.testing.assert_allclose(ours[heard], alone[heard], rtol=0.001 if top_db <= 110.0 else 0.01)


@pytest.mark.parametrize(("top_db", "silent"), [(40.0, 0.5), (80.0, 0.0), (110.0, 0.9)])
def test_excitation_in_steps(top_db, silent):
    """Alone and shared: each part of the filters is that of whole frames whose finer powers are those of its steps."""
    rows, each = stepped_powers(20, top_db, silent)
    steps, count = fine_steps(), len(HZ)
    levels = levels_per_erb(rows)
    assert levels.tobytes() == levels_per_erb(rows[:, :count].copy()).tobytes()
    wanted = np.empty((len(rows), len(steps.filters)), np.float32)
    at = 0
    for first, end, parts, fine in steps.parts.tolist():
        for step in range(parts):
            power = rows[:, :count].copy()
            power[:, fine:] = each.reshape(len(rows), parts, 4 // parts, count)[:, step, :, fine:].mean(axis=1)
            wanted[:, at : at + end - first] = excitation(power, levels)[:, first:end]
            at += end - first
    assert at == wanted.shape[1]
    outs = [np.full_like(wanted, np.nan) for _ in range(5)]
    factors = [np.float32(factor) for factor in (1.0, 0.1, 0.0, 3.0, 1.0)]
    SharedFilters(steps).excite([rows * factor for factor in factors], levels, outs)
    # What lies beyond the reach of a component, a billionth of its power or -30 dB SPL, may count in one kernel alone.
    cut = 4e-9 * rows[:, :count].sum(axis=1, keepdims=True) + 1e-3
    for factor, found in ((1.0, excitation(rows, steps=steps)), *zip(factors, outs, strict=True)):
        assert np.all(np.abs(found - factor * wanted) <= 2e-6 * factor * wanted + max(factor, 1.0) * cut)


def test_levels_in_whole_decibels_cost_little():
    """Loudness with filters at whole dB against exact ones: of wide sounds 0.15 %, of single components 1.6 %."""
    random = np.random.default_rng(4)
    wide = 10.0 ** random.uniform(0.0, 10.0, (40, 1)) * random.exponential(size=(40, len(HZ))) / len(HZ)
    single = np.zeros((67, len(HZ)))
    single[np.arange(67), np.arange(0, 134, 2)] = 10.0 ** random.uniform(2.0, 10.0, 67)
    for power, within in ((wide, 0.0015), (single, 0.016)):
        exact = twin.excitation(HZ, power[0], CENTRE_HZ), *(twin.excitation(HZ, p, CENTRE_HZ) for p in power[1:])
        found = excitation(power.astype(np.float32))[:, :FILTERS]
        wanted = twin.specific_loudness(np.stack(exact), CONSTANTS).sum(axis=1)
        heard = wanted * STEP_CAM > 0.01
        ours = twin.specific_loudness(found, CONSTANTS).sum(axis=1)
        np.testing.assert_allclose(ours[heard], wanted[heard], rtol=within)


# Loudness


def patterns(own, shared, rest, *, hold=1, attack=1.0, release=1.0, state=None):
    """Run the kernel; (cells, PATTERNS, FILTERS)."""
    constants, scale = loudness_table()
    padded = [
        np.ascontiguousarray(np.pad(x, ((0, 0), (0, 10)), mode="edge"), dtype=np.float32) for x in (own, shared, rest)
    ]
    out = np.full((len(own) // hold, PATTERNS, PADDED_FILTERS), np.nan, np.float32)
    state = np.zeros((3, PADDED_FILTERS), np.float32) if state is None else state
    rates = (np.array([rate], np.float32) for rate in (attack, release))
    ear.loudness(*padded, hold, whole_frames().parts, constants, scale, *rates, state, out)
    return out[:, :, :FILTERS]


def at_once(own, shared, rest):
    """Without smoothing: silence between frames empties the state."""
    apart = [np.stack([x, np.zeros_like(x)], axis=1).reshape(-1, FILTERS) for x in (own, shared, rest)]
    return patterns(*apart)[::2]


def excitations(count, seed):
    """Signals and noises: anything, beside each other, at masked threshold, none, beyond 1e10, denormal."""
    random = np.random.default_rng(seed)
    signal, noise = 10.0 ** random.uniform(-4.0, 13.5, (2, 8, count, FILTERS))
    signal[1] = noise[1] * 10.0 ** random.uniform(-2.0, 1.0, noise[1].shape)
    for k, offset_db in ((2, STRICT_DB), (3, CUED_DB)):
        masked = CONSTANTS.masked_ratio * 10.0 ** (offset_db / 10.0) * noise[k] + CONSTANTS.threshold
        signal[k] = masked * 10.0 ** random.uniform(-0.3, 0.3, noise[k].shape)
    noise[4], signal[5], noise[6], signal[7] = 0.0, 0.0, noise[6] * 1e-42, 1e-42
    return [x.reshape(-1, FILTERS).astype(np.float32) for x in (signal, noise)]


def test_loudness():
    """Above 1e-4 sone per Cam 0.1 %, over 1e10 0.2 %; below, 1e-7; the losses within 1e-4 sone per Cam."""
    signal, noise = excitations(40, 5)
    found = at_once(signal, signal, noise)
    exact = [x.astype(np.float64) for x in (signal, noise)]
    wanted = [twin.specific_loudness(exact[0], CONSTANTS)]
    wanted += [twin.partial_loudness(*exact, CONSTANTS, offset_db) for offset_db in (STRICT_DB, CUED_DB)]
    loud = exact[0] + exact[1] > 1e10
    for k, values in enumerate(wanted):
        within = np.where(values > 1e-4, np.where(loud, 0.002, 0.001) * values, 2e-7)
        assert np.all(np.abs(found[:, k] - values) <= within)
    for k in (1, 2):
        assert np.all(np.abs(found[:, 2 + k] - (wanted[0] - wanted[k])) < 1e-4)
    np.testing.assert_array_equal(found[:, 5], np.where(signal < 0.0, 0.0, signal))
    np.testing.assert_array_equal(found[:, 6], noise)


def test_smoothing_and_cells():
    """Means over cells of what the twin's average makes; cut anywhere, the same bits."""
    random = np.random.default_rng(6)
    own, shared, rest = (10.0 ** random.uniform(0.0, 7.0, (32, FILTERS))).astype(np.float32), *excitations(4, 7)
    own[8:16] = shared[8:16] = 0.0
    shared, rest = shared[:32], rest[:32]
    attack, release = (1.0 - (1.0 - k) ** 4.0 for k in (0.045, 0.033))
    found = patterns(own, shared, rest, hold=4, attack=attack, release=release)
    now = at_once(own, shared, rest).astype(np.float64)
    for k in range(3):
        cells = twin.average(now[:, k], 0.045, 0.033, 4).reshape(-1, 4, FILTERS).mean(axis=1)
        np.testing.assert_allclose(found[:, k], cells, rtol=1e-5, atol=1e-7)
    for k in range(3, PATTERNS):
        np.testing.assert_allclose(found[:, k], now[:, k].reshape(-1, 4, FILTERS).mean(axis=1), rtol=1e-5, atol=1e-6)
    state = np.zeros((3, PADDED_FILTERS), np.float32)
    both = [
        patterns(own[part], shared[part], rest[part], hold=4, attack=attack, release=release, state=state)
        for part in (slice(0, 12), slice(12, 32))
    ]
    assert np.concatenate(both).tobytes() == found.tobytes()


def test_loudness_in_steps():
    """Each part of the filters is that of whole frames as long as its steps; places beyond the filters stay empty."""
    steps = fine_steps()
    rows = [
        np.ascontiguousarray(10.0 ** np.random.default_rng(k).uniform(-1.0, 7.0, (8, 368)), np.float32)
        for k in (1, 2, 3)
    ]
    constants, scale = loudness_table(steps=steps)
    rates = [steps.coefficients(rate) for rate in (0.045, 0.033)]
    found = np.full((2, PATTERNS, PADDED_FILTERS), np.nan, np.float32)
    ear.loudness(*rows, 4, steps.parts, constants, scale, *rates, np.zeros((3, PADDED_FILTERS), np.float32), found)
    assert not found[:, :, 152:].any()
    at = 0
    for first, end, parts, _ in steps.parts.tolist():
        end_at = at + parts * (end - first)
        mine = [np.zeros((8 * parts, FILTERS + 2), np.float32) for _ in rows]
        for one, row in zip(mine, rows, strict=True):
            one[:, first:end] = row[:, at:end_at].reshape(8 * parts, end - first)
        attack, release = (1.0 - (1.0 - rate) ** (4.0 / parts) for rate in (0.045, 0.033))
        wanted = patterns(*(one[:, :FILTERS] for one in mine), hold=4 * parts, attack=attack, release=release)
        inside = slice(first, min(end, FILTERS))
        np.testing.assert_allclose(found[:, :, inside], wanted[:, :, inside], rtol=1e-5, atol=1e-6)
        at = end_at
    assert at == rows[0].shape[1]


def any_floats(top):
    return hnp.arrays(
        np.float32, (4, FILTERS), elements=st.floats(0.0, float(np.float32(top)), width=32), fill=st.just(0.0)
    )


@settings(deadline=None, max_examples=30)
@given(any_floats(3e38), any_floats(3e38), any_floats(3e38))
def test_loudness_is_finite_and_never_negative(own, shared, rest):
    found = patterns(own, shared, rest, hold=4, attack=0.2, release=0.1)
    assert np.all(np.isfinite(found[:, :3]))
    assert np.all(found[:, :3] >= 0.0)


# Two ears and bands


def in_bands(left, right):
    """Run the kernel on specific loudness (cells, FILTERS); (cells, BANDS)."""
    both = np.zeros((2, len(left), PATTERNS, PADDED_FILTERS), np.float32)
    both[0, :, 0, :FILTERS], both[1, :, 0, :FILTERS] = left, right
    out = np.full((len(left), 3, BANDS), np.nan, np.float32)
    ear.bands(both[0], both[1], spread_table(), band_edges(), STEP_CAM, out)
    assert not out[:, 1:].any()
    return out[:, 0]


def two_ears(count, seed):
    """Patterns with narrow and wide peaks, the right ear up to 10 times louder or 1000 times softer."""
    random = np.random.default_rng(seed)
    made = []
    for _ in range(2):
        peak, width = random.integers(0, FILTERS, (count, 1)), random.uniform(3.0, 40.0, (count, 1))
        made.append(random.random((count, FILTERS)) ** 4 * np.exp(-(((np.arange(FILTERS) - peak) / width) ** 2)))
    return made[0], made[1] * 10.0 ** random.uniform(-3.0, 1.0, (count, 1))


def test_bands():
    """Each band within 0.5 % of the whole, and the bands together are the whole."""
    left, right = two_ears(300, 8)
    found = in_bands(left, right)
    whole = STEP_CAM * sum(twin.inhibited(left, right))
    wanted = np.add.reduceat(whole, band_edges()[:-1], axis=1)
    assert np.all(np.abs(found - wanted) < 0.005 * wanted.sum(axis=1, keepdims=True))
    np.testing.assert_allclose(found.sum(axis=1), whole.sum(axis=1), rtol=0.005)


def test_equal_ears_and_one_ear():
    """Two equal ears are 1.5 times one; with nothing in the other ear nothing inhibits (ISO 532-2:2017)."""
    left, _ = two_ears(50, 9)
    alone = STEP_CAM * np.add.reduceat(left, band_edges()[:-1], axis=1)
    np.testing.assert_allclose(in_bands(left, np.zeros_like(left)), alone, rtol=1e-4, atol=1e-7)
    np.testing.assert_allclose(in_bands(np.zeros_like(left), left), alone, rtol=1e-4, atol=1e-7)
    np.testing.assert_allclose(in_bands(left, left), 1.5 * alone, rtol=1e-4, atol=1e-7)


def test_bands_cover_every_filter_once():
    edges = band_edges()
    assert edges[0] == 0
    assert edges[-1] == FILTERS
    assert set(np.diff(edges)) == {6, 8}


@settings(deadline=None, max_examples=30)
@given(any_floats(1e30), any_floats(1e30))
def test_bands_are_finite(left, right):
    found = in_bands(left, right)
    assert np.all(np.isfinite(found))
    assert np.all(found >= 0.0)
