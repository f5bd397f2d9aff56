# SPDX-License-Identifier: Apache-2.0
"""Rough mix and finished records of the demo: as loud, as lively and as bright as such records are."""

import numpy as np
from scipy import signal

from demo_audio import RATE_HZ, db, read

#: Peak to loudness of dense mixes before mastering, and range of loudness of songs: common practice, no source.
ROUGH_PLR_DB = (12.0, 18.0)
ROUGH_RANGE_LU = (4.0, 12.0)


def weighted_energy(audio: np.ndarray) -> np.ndarray:
    """Running sum of the K-weighted square of both channels: filters of ITU-R BS.1770-5 Annex 1, Tables 1 and 2."""
    shelf = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
    high_pass = ([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621])
    weighted = signal.lfilter(*high_pass, signal.lfilter(*shelf, audio, axis=0), axis=0)
    return np.concatenate(([0.0], np.cumsum(np.sum(weighted**2, axis=1))))


def integrated_lufs(audio: np.ndarray) -> float:
    """Integrated loudness by ITU-R BS.1770-5 Annex 1: blocks of 400 ms every 100 ms, its two gates."""
    total = weighted_energy(audio)
    first = np.arange(0, len(audio) - 19_200 + 1, 4_800)
    power = (total[first + 19_200] - total[first]) / 19_200
    loudness = -0.691 + 10.0 * np.log10(power + 1e-20)
    gate = -0.691 + 10.0 * np.log10(power[loudness > -70.0].mean()) - 10.0
    return float(-0.691 + 10.0 * np.log10(power[loudness > max(gate, -70.0)].mean()))


def loudness_range_lu(audio: np.ndarray) -> float:
    """Loudness range by EBU Tech 3342: 3 s windows, gates at -70 LUFS and 20 LU below the mean, 10th to 95th."""
    total = weighted_energy(audio)
    first = np.arange(0, len(audio) - 144_000 + 1, 4_800)
    power = (total[first + 144_000] - total[first]) / 144_000
    loudness = -0.691 + 10.0 * np.log10(power + 1e-20)
    gate = -0.691 + 10.0 * np.log10(power[loudness > -70.0].mean()) - 20.0
    return float(np.subtract(*np.percentile(loudness[loudness > max(gate, -70.0)], [95, 10])))


def third_octaves(audio: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Centres from 100 Hz to 5 kHz and levels in dB."""
    hz, density = signal.welch(audio, RATE_HZ, nperseg=16_384, axis=0)
    density = density.mean(axis=1)
    centres = 1000.0 * 10.0 ** (np.arange(-10, 8) / 10.0)
    levels = np.array([density[(hz >= c * 10**-0.05) & (hz < c * 10**0.05)].sum() for c in centres])
    return centres, 10.0 * np.log10(levels)


def deviation_from_records_db(audio: np.ndarray) -> np.ndarray:
    """Third-octave levels 100 Hz to 5 kHz minus the mean curve of 12 345 popular tracks, aligned 200 Hz to 2 kHz.

    Curve: Elowsson and Friberg, "Long-term average spectrum in popular music and its relation to the level of the
    percussion", AES 142nd Convention (2017), fitted equations (quoted second-hand).
    """
    centres, levels = third_octaves(audio)
    x = 1.0 + 60.0 * np.log2(centres / 30.0)
    curve = -0.000183 * x**2 + 0.0213 * x - 16.735 + 10.0 * np.log10(centres)
    difference = levels - curve
    return difference - difference[(centres > 190.0) & (centres < 2100.0)].mean()


def deviation_from_slope_db(audio: np.ndarray) -> np.ndarray:
    """Third-octave levels minus the straight line of the same paper: -4.53 dB/octave of density, 89 Hz to 4.5 kHz."""
    centres, levels = third_octaves(audio)
    difference = levels + (4.53 - 10.0 * np.log10(2.0)) * np.log2(centres / 1000.0)
    return difference - difference.mean()


def test_rough_mix_is_a_plausible_dense_mix(demo):
    rough = read(demo.rough)
    peak = np.abs(rough).max()
    assert 0.25 < peak < 0.95
    assert ROUGH_PLR_DB[0] < db(peak) - integrated_lufs(rough) < ROUGH_PLR_DB[1]
    assert ROUGH_RANGE_LU[0] < loudness_range_lu(rough) < ROUGH_RANGE_LU[1]
    assert np.abs(deviation_from_records_db(rough)).max() < 6.0
    assert np.abs(deviation_from_slope_db(rough)).max() < 6.0


def test_finished_records_are_louder_denser_and_unclipped(demo):
    rough = read(demo.rough)
    for path in demo.references:
        record = read(path)
        assert np.abs(record).max() < 0.95
        assert integrated_lufs(record) > integrated_lufs(rough) + 3.0
        assert db(np.abs(record).max()) - integrated_lufs(record) < db(np.abs(rough).max()) - integrated_lufs(rough)
        assert np.abs(deviation_from_records_db(record)).max() < 6.0
        assert db(np.abs(record[-480:]).max()) < -60.0


def test_records_differ_in_what_the_artist_likes_them_for(demo):
    def side_to_mid_db(audio: np.ndarray) -> float:
        return 10.0 * np.log10(np.mean((audio[:, 0] - audio[:, 1]) ** 2) / np.mean((audio[:, 0] + audio[:, 1]) ** 2))

    punch, width = (read(path) for path in demo.references)
    assert side_to_mid_db(width) > side_to_mid_db(punch) + 1.5
    plr = [db(np.abs(audio).max()) - integrated_lufs(audio) for audio in (punch, width)]
    assert plr[0] > plr[1] + 1.0
