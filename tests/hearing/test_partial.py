# SPDX-License-Identifier: Apache-2.0
"""Partial loudness: the four branches of Moore, Glasberg and Baer 1997, from line spectra.

"Computed": with an independent implementation of the stationary model of ANSI S3.4-2007, with a cubic spline through
the ear's table, as in these tests. It takes the level around a component from half a Cam to either side, where ours is
that through a filter: both forms are tested, the first closely. Its constants below 500 Hz are polynomials fitted to
the standard's tables. Masked thresholds: the fit to the figure of 1997.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from mixwright.hearing.constants import CUED_DB, STRICT_DB, constants_at
from mixwright.hearing.scale import FILTERS, filter_hz
from reference import ear_twin as twin
from reference.line_sounds import agrees, band, pink, white

AT_1_KHZ = constants_at([1000.0], "ANSI S3.4")
AT_100_HZ = constants_at([100.0], "ANSI S3.4")
NOISES = {"white": white, "pink": pink}
#: Loudness at absolute threshold: that of a 1 kHz tone at 2.2 dB.
AT_THRESHOLD_SONE = 0.003096


def power(level_db):
    return 10.0 ** (np.asarray(level_db, dtype=np.float64) / 10.0)


def missed(sounds, printed, besides=()):
    """What is not as printed: 1.3 % (2 % near threshold) as computed, 3 % (10 %) in our own form; nothing below."""
    found = []
    forms = ((twin.rectangular_level_db, 0.013, 0.02), (twin.level_per_erb_db, 0.03, 0.10))
    for level, heard, threshold in forms:
        values = twin.partial(sounds, field="free, spline", level=level)
        for value, text in zip(values, printed, strict=False):
            within = heard if float(text) > 0.05 else threshold
            own = level is twin.level_per_erb_db
            if float(text) >= 0.001 and not (own and text in besides) and not agrees(value, text, within):
                found.append((own, value, text))
    return found


# sone per Cam of one ear, noise excitation by signal excitation in dB, at 1 kHz; computed.
SPECIFIC_1_KHZ = """
- 0 3.73 10 20 27 30 40 50 60 70 80 90
none 1.150e-3 5.400e-3 0.01633 0.05490 0.09889 0.1228 0.2318 0.4048 0.6789 1.113 1.802 2.893
10 9.862e-5 6.511e-4 8.927e-3 0.04898 0.09454 0.1192 0.2299 0.4038 0.6784 1.113 1.802 2.893
30 3.168e-9 2.700e-8 9.722e-7 2.332e-4 5.360e-3 0.04205 0.1832 0.3785 0.6654 1.107 1.799 2.892
50 3.216e-14 2.753e-13 1.017e-11 3.205e-9 1.778e-7 9.835e-7 2.356e-4 0.1176 0.5144 1.026 1.757 2.871
70 3.217e-19 2.754e-18 1.017e-16 3.217e-14 1.809e-12 1.017e-11 3.206e-9 9.836e-7 2.356e-4 0.3069 1.346 2.653
90 3.217e-24 2.754e-23 1.017e-21 3.217e-19 1.809e-17 1.017e-16 3.217e-14 1.017e-11 3.206e-9 9.836e-7 2.356e-4 0.7822
"""
SPECIFIC_100_HZ = """
- 10 20 30 40 50 60 70 80
none 4.325e-4 0.01227 0.05198 0.1329 0.2730 0.5103 0.9113 1.589
30 1.564e-8 4.599e-6 7.982e-4 0.07313 0.2416 0.4943 0.9032 1.585
50 1.674e-13 5.288e-11 1.659e-8 4.863e-6 8.269e-4 0.2428 0.7731 1.519
70 1.675e-18 5.296e-16 1.675e-13 5.292e-11 1.660e-8 4.866e-6 8.272e-4 0.7252
"""


@pytest.mark.parametrize(("table", "constants"), [(SPECIFIC_1_KHZ, AT_1_KHZ), (SPECIFIC_100_HZ, AT_100_HZ)])
def test_specific(table, constants):
    """3 % above 1e-6 sone per Cam, and as near below, as far as double precision tells total from noise."""
    (_, *signals), *rows = (line.split() for line in table.strip().split("\n"))
    for noise, *printed in rows:
        at = 0.0 if noise == "none" else power(float(noise))
        for signal, text in zip(signals, printed, strict=True):
            if float(signal) < float(noise if noise != "none" else 0) - 60.0:
                continue
            found = float(twin.partial_loudness(power(float(signal)), at, constants)[0])
            assert agrees(found, text, 0.03), (noise, signal, found, text)


def test_specific_at_high_level():
    """Above 1e10 the exponent is 0.2: the form written down here (own arithmetic), and what was computed within 2.5 %.

    The implementation that computed it divides C by 1.0707^0.5 in one branch, where 1.0707^0.2 joins the law in quiet.
    """
    found = twin.partial_loudness(power([101, 101, 98, 90, 105]), power([60, 95, 98, 101, 101]), AT_1_KHZ)
    np.testing.assert_allclose(found, (4.803, 2.927, 1.130, 1.407e-4, 2.990), rtol=5e-4)
    np.testing.assert_allclose(found, (4.706, 2.868, 1.108, 1.407e-4, 2.929), rtol=0.025)


# Properties of the four branches, at any filter, in any of the constants.

EVERY = {name: constants_at(filter_hz(), name) for name in ("ISO 532-3", "ISO 532-2", "ANSI S3.4")}
some_constants = st.sampled_from(list(EVERY))
offsets_db = st.sampled_from([STRICT_DB, -3.0, CUED_DB])
levels_db = st.floats(-30.0, 125.0)


def masked(noise, c, offset_db):
    return c.masked_ratio * 10.0 ** (offset_db / 10.0) * noise + c.threshold


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, levels_db)
def test_at_masked_threshold_it_is_the_loudness_of_absolute_threshold(name, offset_db, noise_db):
    c = EVERY[name]
    noise = np.full(FILTERS, power(noise_db))
    signal = masked(noise, c, offset_db)
    quiet = twin.specific_loudness(c.threshold, c)
    # From 1e10 on a gain below 1, and the offset A, no longer count: the laws join within 1 % at 500 Hz and up.
    np.testing.assert_allclose(twin.partial_loudness(signal, noise, c, offset_db), quiet, rtol=1e-6)


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, levels_db, st.floats(-30.0, 100.0), st.floats(0.0, 40.0))
def test_grows_with_the_signal(name, offset_db, noise_db, signal_db, more_db):
    c = EVERY[name]
    noise = np.full(FILTERS, power(noise_db))
    lower, upper = (
        twin.partial_loudness(power(x) + 0.0 * noise, noise, c, offset_db) for x in (signal_db, signal_db + more_db)
    )
    assert np.all(upper >= lower * (1.0 - 0.01))


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, levels_db, st.floats(0.0, 40.0), levels_db)
def test_falls_with_the_noise(name, offset_db, noise_db, more_db, signal_db):
    c = EVERY[name]
    signal = np.full(FILTERS, power(signal_db))
    upper, lower = (
        twin.partial_loudness(signal, power(x) + 0.0 * signal, c, offset_db) for x in (noise_db, noise_db + more_db)
    )
    assert np.all(upper >= lower * (1.0 - 0.01))


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, levels_db)
def test_without_noise_it_is_the_loudness_in_quiet(name, offset_db, signal_db):
    c = EVERY[name]
    assume(abs(signal_db - 100.0) > 0.001)  # where the law changes
    signal = np.full(FILTERS, power(signal_db))
    found = twin.partial_loudness(signal, np.zeros(FILTERS), c, offset_db)
    np.testing.assert_allclose(found, twin.specific_loudness(signal, c), rtol=1e-9 if signal_db < 100.0 else 5e-4)
    faint = twin.partial_loudness(signal, np.full(FILTERS, 1e-6), c, offset_db)
    np.testing.assert_allclose(faint, twin.specific_loudness(signal, c), rtol=5e-4)


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, st.floats(0.0, 80.0))
def test_far_above_the_noise_it_tends_to_the_loudness_in_quiet(name, offset_db, noise_db):
    c = EVERY[name]
    noise = np.full(FILTERS, power(noise_db))
    signals = [power(noise_db + above_db) + 0.0 * noise for above_db in (30.0, 60.0, 90.0)]
    ratios = [twin.partial_loudness(s, noise, c, offset_db) / twin.specific_loudness(s, c) for s in signals]
    assert np.all(ratios[0] <= ratios[1] + 0.01)
    assert np.all(ratios[1] <= ratios[2] + 0.01)
    assert np.all(np.abs(ratios[2] - 1.0) < 0.02)


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, levels_db, levels_db)
def test_no_jump_between_branches(name, offset_db, noise_db, signal_db):
    c = EVERY[name]
    noise = np.full(FILTERS, power(noise_db))
    at = masked(noise, c, offset_db)
    below, above = (twin.partial_loudness(at * (1.0 + x), noise, c, offset_db) for x in (-1e-9, 1e-9))
    np.testing.assert_allclose(below, above, rtol=1e-4)
    high = slice(40, None)  # at and above 500 Hz, where G is 1
    signal = np.full(FILTERS, power(min(signal_db, 99.0)))
    noise = 1e10 - signal
    below, above = (twin.partial_loudness(signal, noise * (1.0 + x), c, offset_db)[high] for x in (-1e-9, 1e-9))
    quiet = twin.specific_loudness(signal, c)[high]
    assert np.all(np.abs(below - above) <= 0.01 * quiet)


@settings(deadline=None, max_examples=50)
@given(some_constants, offsets_db, levels_db, levels_db)
def test_the_whole_is_as_loud_as_each_part(name, offset_db, noise_db, signal_db):
    c = EVERY[name]
    signal, noise = np.full(FILTERS, power(signal_db)), np.full(FILTERS, power(noise_db))
    whole = twin.specific_loudness(signal + noise, c)
    assert np.all(twin.partial_loudness(signal, noise, c, offset_db) <= whole * (1.0 + 0.01))


@settings(deadline=None, max_examples=50)
@given(st.floats(0.0, 1e200), st.floats(0.0, 1e200), some_constants)
def test_finite_for_any_excitation(signal, noise, name):
    c = EVERY[name]
    assert np.all(np.isfinite(twin.partial_loudness(np.full(FILTERS, signal), noise, c)))


# Tone of 1 kHz in white noise of 0 to 40 dB/Hz, 50 to 15000 Hz, in sone; computed.
TONE_IN_NOISE = """
- 20 30 40 50 60 70 80 90
0 0.02186 0.2381 0.7749 1.839 3.835 7.578 14.83 31.78
10 0.0001684 0.03402 0.444 1.435 3.371 7.013 14.02 28.63
20 6.07e-07 0.0001598 0.04907 0.7831 2.564 6.061 12.79 26.38
30 1.808e-09 5.618e-07 0.0001489 0.06749 1.352 4.532 10.91 23.71
40 5.203e-12 1.643e-09 5.104e-07 0.0001366 0.08936 2.316 8.038 19.95
"""


@pytest.mark.parametrize("line", TONE_IN_NOISE.split("\n")[2:-1], ids=lambda line: f"{line.split()[0]} dB per Hz")
def test_tone_in_noise(line):
    density_db, *printed = line.split()
    levels = TONE_IN_NOISE.split("\n")[1].split()[1:]
    left = {"40": "18.71", "60": "17.12", "80": "14.63", "90": "11.06"} if density_db == "20" else {}
    for level_db, text in zip(levels, printed, strict=True):
        sounds = (twin.tone(1000.0, float(level_db)), white(float(density_db)))
        assert missed(sounds, (text, left[level_db]) if level_db in left else (text,)) == [], level_db


def test_growth_above_masked_threshold():
    """Steep, then towards the unmasked curve: share of the loudness in quiet, noise of 20 dB/Hz; computed.

    The same shape was found with listeners (Pavel and Iverson 1981).
    """
    shares = []
    for level_db in (40.0, 50.0, 60.0, 70.0, 80.0):
        tone = twin.tone(1000.0, level_db)
        shares.append(twin.partial([tone, white(20.0)])[0] / twin.loudness(tone))
    np.testing.assert_allclose(shares, (0.05, 0.37, 0.62, 0.75, 0.80), atol=0.01)


# Noise, its density (pink: at 1 kHz) and a tone in it; masked threshold in dB SPL; partial loudness and loudness in
# quiet 10 and 20 dB above it, in sone; computed.
MASKED = """
white 20 100 38.4 0.1314 0.2849 0.5967 0.8278
white 20 125 36.8 0.1534 0.367 0.6785 0.9769
white 20 250 34.4 0.2207 0.706 0.9577 1.589
white 20 500 34.5 0.3147 1.187 1.351 2.458
white 20 1000 36.0 0.3866 1.573 1.695 3.18
white 20 2000 38.7 0.5313 2.448 2.321 4.826
white 20 3000 40.3 0.7423 3.716 3.369 7.236
white 20 4000 41.5 0.7925 3.922 3.748 7.631
white 20 6000 43.5 0.5373 2.315 2.441 4.575
white 20 8000 44.6 0.3418 1.377 1.483 2.811
white 20 10000 45.4 0.3327 1.326 1.43 2.686
white 40 100 58.0 0.4793 1.941 2.282 4.327
white 40 125 56.6 0.5217 2.216 2.443 4.777
white 40 250 54.5 0.6783 3.319 3.093 6.64
white 40 500 54.7 0.9268 4.917 4.214 9.577
white 40 1000 56.2 1.135 6.295 5.337 12.29
white 40 2000 58.9 1.521 9.509 7.093 18.9
white 40 3000 60.6 2.185 14.47 10.97 28.63
white 40 4000 61.8 2.386 15.19 13.88 29.43
white 40 6000 64.1 1.72 9.205 8.6 17.39
white 40 8000 65.2 1.062 5.686 4.856 10.58
white 40 10000 65.7 0.986 5.144 4.484 9.233
pink 20 125 45.6 0.2739 0.8771 1.247 2.047
pink 20 500 37.5 0.3697 1.488 1.609 3.024
pink 20 1000 36.0 0.3867 1.573 1.705 3.18
pink 20 4000 35.4 0.5706 2.588 2.648 5.09
pink 20 8000 35.5 0.205 0.6676 0.8752 1.472
pink 40 125 65.6 0.9059 4.432 4.429 9.338
pink 40 500 57.7 1.084 6.005 5.059 11.73
pink 40 1000 56.3 1.165 6.337 5.479 12.37
pink 40 4000 55.8 1.766 10.17 9.589 19.81
pink 40 8000 55.9 0.6374 3.073 2.865 5.946
"""


@pytest.mark.parametrize("line", MASKED.split("\n")[1:-1], ids=lambda line: " ".join(line.split()[:3]))
def test_masked_thresholds(line):
    kind, density_db, hz, threshold_db, *printed = line.split()
    noise = NOISES[kind](float(density_db))
    # The threshold is printed to 0.1 dB, and 10 % of loudness there are 0.2 dB.
    lower, upper = (
        twin.partial([twin.tone(float(hz), float(threshold_db) + x), noise], field="free, spline")[0]
        for x in (-0.2, 0.2)
    )
    assert lower < AT_THRESHOLD_SONE < upper
    for above_db, masked_text, quiet_text in ((10.0, *printed[:2]), (20.0, *printed[2:])):
        tone = twin.tone(float(hz), float(threshold_db) + above_db)
        assert missed((tone, noise), (masked_text,)) == []
        assert agrees(twin.loudness(tone, field="free, spline"), quiet_text, 0.016 if float(hz) < 500.0 else 0.01)


def test_masked_thresholds_in_pink_noise_are_flat():
    """From 1 to 8 kHz, within 1.5 dB: computed, and as measured (from memory: Zwicker and Fastl)."""
    found = [float(line.split()[3]) for line in MASKED.split("\n")[1:-1] if line.startswith("pink 20")]
    assert np.ptp(found[2:]) < 1.5


# Bands A and B of 160 Hz (40 Hz below 500 Hz), lines 4 Hz apart, B shifted by 1 Hz where both centres are one: centres
# in Hz, levels in dB SPL; sone of A in quiet and with B, of B in quiet and with A; computed.
BANDS = """
1000 1000 60 50 4.394 3.45 2.254 0.003748
1000 1000 60 60 4.394 1.36 4.392 1.353
1000 1000 60 70 4.394 0.005186 8.371 6.493
1000 1000 60 80 4.394 3.349e-05 16.1 15.18
1000 500 60 50 4.394 4.298 2.156 2.012
1000 500 60 60 4.394 4.156 4.18 3.818
1000 500 60 70 4.394 3.851 7.866 6.987
1000 500 60 80 4.394 2.892 14.79 12.85
1000 750 60 50 4.394 3.7 2.318 1.382
1000 750 60 60 4.394 3.173 4.489 2.963
1000 750 60 70 4.394 1.871 8.496 5.999
1000 750 60 80 4.394 0.005967 16.2 14.83
1000 1400 60 50 4.394 3.561 2.07 1.356
1000 1400 60 60 4.394 3.28 4.073 3.251
1000 1400 60 70 4.394 2.943 7.821 6.877
1000 1400 60 80 4.394 2.527 15.13 14.17
1000 2000 60 50 4.394 4.218 2.738 2.634
1000 2000 60 60 4.394 4.142 5.337 5.217
1000 2000 60 70 4.394 4.048 10.29 10.2
1000 2000 60 80 4.394 3.927 20.32 20.36
3000 1000 60 50 7.116 7.168 2.255 2.26
3000 1000 60 60 7.116 7.162 4.394 4.398
3000 1000 60 70 7.116 7.098 8.374 8.262
3000 1000 60 80 7.116 6.808 16.1 15.35
250 100 60 50 2.476 2.439 0.3783 0.3147
250 100 60 60 2.476 2.352 1.031 0.8464
250 100 60 70 2.476 2.163 2.397 1.928
250 100 60 80 2.476 1.646 5.173 4.06
100 250 60 50 1.031 0.9142 1.171 1.083
100 250 60 60 1.031 0.8464 2.476 2.352
100 250 60 70 1.031 0.758 4.96 4.806
100 250 60 80 1.031 0.6458 9.772 9.636
4000 4000 60 50 6.918 5.394 3.558 0.004838
4000 4000 60 60 6.918 2.127 6.917 2.124
4000 4000 60 70 6.918 0.007058 13.45 10.42
4000 4000 60 80 6.918 3.673e-05 26.05 24.48
"""


@pytest.mark.parametrize("line", BANDS.split("\n")[1:-1], ids=lambda line: " ".join(line.split()[:4]))
def test_band_in_band(line):
    a_hz, b_hz, a_db, b_db, *printed = line.split()
    a, b = ((float(hz), 40.0 if float(hz) < 500.0 else 160.0, float(db)) for hz, db in ((a_hz, a_db), (b_hz, b_db)))
    sounds = [band(*a, 4.0), band(*b, 4.0)]
    if a_hz == b_hz:
        sounds[1] = (sounds[1][0] + 1.0, sounds[1][1])
    # Where loudness falls 300-fold for 10 dB more of the masker, the form of the levels, worth 0.4 dB, makes 25 %.
    steep = ("0.005967",)
    assert missed(sounds, printed[1::2], besides=steep) == []
    for sound, text in zip(sounds, printed[::2], strict=True):
        assert agrees(twin.loudness(sound, field="free, spline"), text, 0.01)


def harmonics(hz, count, level_db):
    """Harmonics that fall by 6 dB an octave."""
    orders = np.arange(1.0, count + 1.0)
    return hz * orders, orders**-2.0 / np.sum(orders**-2.0) * power(level_db)


def test_three_sounds():
    """A and B harmonics, C pink noise: alone, all three, and without each; computed."""
    a, b, c = harmonics(220.0, 20, 65.0), harmonics(110.0, 40, 65.0), pink(25.0)
    expected = (
        ((a,), ["17.33"]), ((b,), ["15.71"]), ((c,), ["21.56"]), ((a, b, c), ["2.599", "0.9207", "7.772"]),
        ((b, c), ["2.737", "11.73"]), ((a, c), ["4.751", "10.33"]), ((a, b), ["8.029", "2.412"]),
    )  # fmt: skip
    for sounds, printed in expected:
        assert missed(sounds, printed) == []


# A 1 kHz tone in white noise of 20 dB/Hz with the masked threshold moved; own arithmetic, the ear in straight lines.
OFFSETS = """
0 0.000165 0.0509 0.7864 2.564 6.060
-3 0.000729 0.1578 0.9886 2.812 6.348
-6 0.00298 0.2867 1.180 3.036 6.611
-10 0.0390 0.4762 1.424 3.317 6.940
-15 0.1940 0.7311 1.723 3.655 7.343
"""


@pytest.mark.parametrize("line", OFFSETS.split("\n")[1:-1], ids=lambda line: f"{line.split()[0]} dB")
def test_offset_of_the_masked_threshold(line):
    offset_db, *printed = line.split()
    for level_db, text in zip((30.0, 40.0, 50.0, 60.0, 70.0), printed, strict=True):
        found = twin.partial([twin.tone(1000.0, level_db), white(20.0)], float(offset_db))[0]
        assert agrees(found, text, 0.01), (level_db, found)
