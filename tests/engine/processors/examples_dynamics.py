# SPDX-License-Identifier: Apache-2.0
"""Inserts that follow levels, and the same in plain Python, in dB, one frame at a time.

Written from the equations of D. Giannoulis, M. Massberg, J. D. Reiss, "Digital dynamic range compressor design: a
tutorial and analysis", J. Audio Eng. Soc. 60(6), 2012, and the docstrings of the settings.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.signal import butter, lfilter, sosfilt

from mixwright.core.filters import strip_sections
from mixwright.meter.loudness import k_weighting
from mixwright.model.dynamics_inserts import (
    Clipper,
    Compressor,
    DeEsser,
    Detector,
    Expander,
    LevelRange,
    Levels,
    Transients,
)
from mixwright.model.filters import EqBand, Pass
from mixwright.model.strip import Strip
from reference.dynamics_twin import OCTAVE_DB, compressed_db
from reference.oversample_twin import LATE, down, up


def left_of(milliseconds, rate_hz):
    """What one frame leaves of a difference with this time constant."""
    return math.exp(-1000.0 / (milliseconds * rate_hz))


def one_pole(values, keeps):
    out, state = [], 0.0
    for value in values:
        state = keeps * state + (1.0 - keeps) * float(value)
        out.append(state)
    return np.array(out)


def multiplied(audio, *octets):
    """Audio times gains given in dB, one list for both channels or one each, rounded to float32."""
    gains = [np.float64(np.float32([10.0 ** (db / 20.0) for db in gain])) for gain in octets]
    return audio * np.stack([gains[min(k, len(gains) - 1)] for k in range(audio.shape[1])], axis=1)


def filtered(sections, audio):
    sos = np.insert(np.reshape(sections, (-1, 5)), 3, 1.0, axis=1)
    return sosfilt(sos, audio, axis=0) if len(sos) else audio


def levels_db(detector, rate_hz, audio, key):
    """Levels of each lane, and of both together: ``(frames,)`` each; one lane where the channels are linked."""
    heard = np.float64(audio if key is None else key)
    heard = filtered(strip_sections(Strip(high_pass=detector.high_pass, eq=detector.bands), rate_hz), heard)
    if detector.kind == "loudness":
        *shelf, a1, a2 = k_weighting(rate_hz)
        heard = filtered([*shelf, 1.0, -2.0, 1.0, a1, a2], heard)
    power = heard**2
    if detector.kind != "peak":
        power = np.stack([one_pole(x, left_of(detector.rms_ms, rate_hz)) for x in power.T], axis=1)
    together = power.sum(axis=1) if detector.kind == "loudness" else power.max(axis=1)
    lanes = list(power.T) if audio.shape[1] == 2 and detector.link < 1.0 else [together]
    offset = -0.691 if detector.kind == "loudness" else 0.0
    with np.errstate(divide="ignore"):
        return [10.0 * np.log10(x) + offset for x in lanes], 10.0 * np.log10(together) + offset


def compressor_twin(insert, rate_hz, audio, key):
    def wanted(levels):
        static = [x - compressed_db(x, insert.threshold_db, insert.ratio, insert.knee_db) for x in levels]
        finite = [0.0 if math.isnan(x) else x for x in static]
        return np.minimum(finite, math.inf if insert.range_db is None else insert.range_db)

    lanes, together = levels_db(insert.detector, rate_hz, audio, key)
    both = wanted(together)
    attack, release = left_of(insert.attack_ms, rate_hz), left_of(insert.release_ms, rate_hz)
    slow = 1.0 if insert.slow_release_ms is None else left_of(insert.slow_release_ms, rate_hz)
    gains = []
    for lane in lanes:
        released = mean = 0.0
        tops = []
        for own, all_of_them in zip(wanted(lane), both, strict=True):
            ask = (1.0 - insert.detector.link) * own + insert.detector.link * all_of_them
            released = max(ask, release * released + (1.0 - release) * ask)
            mean += (1.0 - slow) * (released - mean)
            tops.append(max(released, mean))
        gains.append(-one_pole(tops, attack))
    return multiplied(audio, *gains)


def expander_twin(insert, rate_hz, audio, key):
    lanes, together = levels_db(insert.detector, rate_hz, audio, key)
    attack, release = left_of(insert.attack_ms, rate_hz), left_of(insert.release_ms, rate_hz)
    hold, floor_db = round(insert.hold_ms * rate_hz / 1000.0), -6000.0
    gains = []
    for lane in lanes:
        released, since_lower, since_open = 0.0, hold + 1, math.inf  # frames
        tops = []
        for own, of_both in zip(lane, together, strict=True):
            level = (1.0 - insert.detector.link) * max(own, floor_db) + insert.detector.link * max(of_both, floor_db)
            opened = level >= insert.threshold_db or since_open <= hold
            threshold = insert.threshold_db - (insert.hysteresis_db if opened else 0.0)
            since_open = 0 if opened and level >= threshold else since_open + 1
            # The compressor's curve upside down: what lies so far above the threshold as this below.
            mirrored = 2.0 * threshold - level
            bent = (mirrored - compressed_db(mirrored, threshold, math.inf, insert.knee_db)) * (insert.ratio - 1.0)
            ask = min(bent, insert.range_db)
            since_lower = 0 if ask <= released else since_lower + 1
            if ask <= released:
                released = ask
            elif since_lower > hold:
                released = release * released + (1.0 - release) * ask
            tops.append(released)
        gains.append(-one_pole(tops, attack))
    return multiplied(audio, *gains)


def held_peaks(values, keeps):
    """The smooth decoupled peak detector without its attack."""
    out, state = [], 0.0
    for value in values:
        state = max(float(value), keeps * state + (1.0 - keeps) * float(value))
        out.append(state)
    return np.array(out)


def transients_twin(insert, rate_hz, audio, key):
    def smooth_step(above, below):
        x = np.clip(20.0 * np.log10(np.maximum(above, 1e-30) / np.maximum(below, 1e-30)) / (1.5 * OCTAVE_DB), 0.0, 1.0)
        return x**2 * (3.0 - 2.0 * x)

    loudest = np.abs(audio).max(axis=1)
    short, long = (held_peaks(loudest, left_of(ms, rate_hz)) for ms in (60.0, insert.sustain_ms))
    fast, slow, lasting = (
        one_pole(peaks, left_of(ms, rate_hz)) for peaks, ms in ((short, 1.0), (short, insert.attack_ms), (long, 1.0))
    )
    attack, sustain = insert.attack_db * smooth_step(fast, slow), insert.sustain_db * smooth_step(lasting, fast)
    return multiplied(audio, attack + sustain)


def de_esser_twin(insert, rate_hz, audio, key):
    # Audio EQ Cookbook, band-pass of unit gain, with alpha for a width in octaves.
    w = 2.0 * math.pi * insert.hz / rate_hz
    octaves = 2.0 * math.asinh(0.5 / insert.q) / math.log(2.0)
    alpha = math.sin(w) * math.sinh(math.log(2.0) / 2.0 * octaves * w / math.sin(w))
    band_pass = [alpha, 0.0, -alpha], [1.0 + alpha, -2.0 * math.cos(w), 1.0 - alpha]
    in_band = lfilter(*band_pass, audio, axis=0)
    listens = left_of(3.0, rate_hz)
    band, whole = (
        np.max([one_pole(x**2, listens) for x in heard.T], axis=0)
        for heard in (lfilter(*band_pass, in_band, axis=0), audio)
    )
    rises, falls, voice = left_of(200.0, rate_hz), left_of(3000.0, rate_hz), 0.0
    beside = []
    for power in whole:
        keeps = rises if power > voice else falls
        voice = keeps * voice + (1.0 - keeps) * power
        beside.append(max(power, voice))
    level = 10.0 * np.log10(np.maximum(band, 1e-300) / (np.array(beside) if insert.relative else 1.0))
    asked = [min(x - compressed_db(x, insert.threshold_db, math.inf, 6.0), insert.range_db) for x in level.tolist()]
    reduction = one_pole(held_peaks(asked, left_of(insert.release_ms, rate_hz)), left_of(insert.attack_ms, rate_hz))
    if insert.mode == "wide":
        return multiplied(audio, -reduction)
    return audio - in_band + multiplied(in_band, -reduction)


def ranges_of(hz, rate_hz, audio):
    """A crossover of Linkwitz and Riley: Butterworth low-pass and high-pass twice; what lies below a split passes the
    all-pass that the sum of its two sides is."""
    ranges, rest = [], audio
    for one in hz:
        low, high = (butter(2, one, kind, fs=rate_hz, output="sos") for kind in ("low", "high"))
        twice = [sosfilt(side, sosfilt(side, rest, axis=0), axis=0) for side in (low, high)]
        ranges = [sum(sosfilt(side, sosfilt(side, x, axis=0), axis=0) for side in (low, high)) for x in ranges]
        ranges.append(twice[0])
        rest = twice[1]
    return [*ranges, rest]


def levels_twin(insert, rate_hz, audio, key):
    total = 0.0
    for part, one in zip(ranges_of(insert.hz, rate_hz, audio), insert.ranges, strict=True):
        power = np.max([one_pole(x**2, left_of(insert.rms_ms, rate_hz)) for x in part.T], axis=0)
        gain, gains = 0.0, []
        for level in (10.0 * np.log10(np.maximum(power, 1e-300))).tolist():
            asked = one.target_db - level
            if asked > 0.0:
                asked = min(asked, one.raise_db, max(0.0, level - one.floor_db))
            asked = max(asked, -one.lower_db)
            keeps = left_of(one.attack_ms if asked < gain else one.release_ms, rate_hz)
            gain = keeps * gain + (1.0 - keeps) * asked
            gains.append(gain)
        total = total + multiplied(part, np.array(gains))
    return total


def clipper_twin(insert, rate_hz, audio, key):
    ceiling, begins = 10.0 ** (insert.ceiling_db / 20.0), 10.0 ** (-insert.knee_db / 20.0)
    out = np.empty_like(audio)
    for channel, x in enumerate(audio.T):
        u = up(x, insert.oversampling)
        t = np.abs(u) / ceiling
        knee = np.abs(t - 1.0) < 1.0 - begins
        clipped = np.minimum(t, 1.0)
        clipped[knee] = (t - (t - begins) ** 2 / (4.0 * max(1.0 - begins, 1e-9)))[knee]
        gains = np.float64(np.float32(np.where(t > 1e-9, clipped / np.maximum(t, 1e-9), 1.0)))
        late = LATE[insert.oversampling]
        out[:, channel] = np.concatenate([np.zeros(late), x])[: len(x)] + down(u * (gains - 1.0), insert.oversampling)
    return out


EXAMPLES = [
    (Compressor(threshold_db=-30, ratio=3), compressor_twin),
    (Compressor(threshold_db=-40, ratio=20, knee_db=0, attack_ms=0.1, release_ms=5, range_db=9), compressor_twin),
    (
        Compressor(
            threshold_db=-36,
            ratio=4,
            attack_ms=5,
            release_ms=5,
            slow_release_ms=50,
            detector=Detector(
                kind="rms", rms_ms=2, link=0.4, high_pass=Pass(hz=150), bands=(EqBand(hz=3e3, gain_db=9),)
            ),
        ),
        compressor_twin,
    ),
    (
        Compressor(threshold_db=-36, ratio=2, detector=Detector(kind="loudness", rms_ms=10, link=0), key="kick"),
        compressor_twin,
    ),
    (Compressor(threshold_db=-36, ratio=2, detector=Detector(kind="loudness"), attack_ms=1), compressor_twin),
    (Expander(threshold_db=-20, attack_ms=0.1, hold_ms=2, release_ms=5), expander_twin),
    (
        Expander(threshold_db=-12, ratio=100, range_db=60, knee_db=0, hold_ms=0, detector=Detector(link=0.5)),
        expander_twin,
    ),
    (
        Expander(
            threshold_db=-24, ratio=3, hold_ms=5, detector=Detector(kind="loudness", rms_ms=1, link=0), key="kick"
        ),
        expander_twin,
    ),
    (Transients(attack_db=6, sustain_db=-4), transients_twin),
    (Transients(attack_db=-9, sustain_db=12, attack_ms=5, sustain_ms=100), transients_twin),
    (DeEsser(threshold_db=-20, attack_ms=0.5, release_ms=10), de_esser_twin),
    (DeEsser(mode="wide", hz=4000, q=2, relative=False, threshold_db=-40, range_db=12), de_esser_twin),
    (
        Levels(
            hz=(200, 3000),
            ranges=(
                LevelRange(target_db=-30),
                LevelRange(target_db=-30, raise_db=12, floor_db=-60),
                LevelRange(target_db=-20, lower_db=3, attack_ms=1, release_ms=5),
            ),
            rms_ms=5,
        ),
        levels_twin,
    ),
    (
        Levels(hz=(90, 400, 1500, 6000), ranges=tuple(LevelRange(target_db=db) for db in (-40, -35, -30, -25, -20))),
        levels_twin,
    ),
    (Clipper(ceiling_db=-20), clipper_twin),
    (Clipper(ceiling_db=-12, knee_db=0, oversampling=8), clipper_twin),
]
