# SPDX-License-Identifier: Apache-2.0
"""Keyed processors in plain Python, whole signals at a time: the slow twin of csrc/dip.c, duck.c and peaks.c.

Band-passes are made by scipy from their analogue prototypes, high-passes and low-passes are those of the strip; what
is decided from look to look is written out per band.
"""

from __future__ import annotations

import math

import numpy as np
from scipy import signal

from mixwright.core.filters import design_high_pass, design_low_pass
from mixwright.model.filters import Pass

LOOK = 32
PACES = {"word": (8.0, 30.0, 120.0, 20.0), "phrase": (15.0, 400.0, 350.0, 100.0)}


def dip(insert, rate_hz, audio, key, against=None):
    """Return what comes out of a dip, and its gains; `against`: what else is in the way."""
    late = round(insert.look_ahead_ms * rate_hz / 1000)
    sections = [band_pass(band.hz, band.q, rate_hz) for band in insert.bands]
    whole = Gate(rate_hz, 10 ** (insert.key_above_db / 10), insert.near_db)
    heard = [
        Listener(
            insert, band, rate_hz, powers(s, audio) + (0 if against is None else powers(s, against)), powers(s, key)
        )
        for band, s in zip(insert.bands, sections, strict=True)
    ]
    level, dips = 0.0, []
    for k, power in enumerate(powers(between(80.0, None, rate_hz, 2), key)):
        level += part(10, rate_hz) * (power - level)
        sounds = whole.sounds(level)
        dips.append([one.look(k, sounds) for one in heard])
    return lowered(audio, late, sections, gains(dips, len(audio), len(sections)))


class Listener:
    """One band of a dip."""

    def __init__(self, insert, band, rate_hz, victim, key):
        attack, hold, release, fall = PACES[band.pace or "word"]
        attack = attack if band.attack_ms is None else band.attack_ms
        hold = hold if band.hold_ms is None else band.hold_ms
        release = release if band.release_ms is None else band.release_ms
        self.insert, self.most, self.gate = insert, band.most_db, Gate(rate_hz, 0.0, insert.near_db + 10)
        look_ms = 1000 * LOOK / rate_hz
        self.up, self.down = band.most_db * look_ms / attack, band.most_db * look_ms / release
        frames = round(insert.look_ahead_ms * rate_hz / 1000) + round(hold * rate_hz / 1000)
        self.hold, self.left = round(frames / LOOK), 0
        self.moment, self.rise, self.fall = part(10, rate_hz), part(5, rate_hz), part(fall, rate_hz)
        self.powers = victim, key
        self.victim = self.key = self.now = self.dip = 0.0

    def look(self, k, whole):
        victim, key = self.powers[0][k], self.powers[1][k]
        self.victim += (self.rise if victim > self.victim else self.fall) * (victim - self.victim)
        self.now += self.moment * (key - self.now)
        sounds = self.gate.sounds(self.now) and whole
        if sounds:
            self.key += (self.rise if key > self.key else self.fall) * (key - self.key)
        wanted = 0.0
        if sounds or self.left > 0:
            if self.insert.form == "excess":
                over = db(self.victim) - db(self.key) + self.insert.margin_db
            else:
                over = db(self.key) - self.insert.threshold_db
            wanted = min(max(over, 0.0), self.most)
        self.left = self.hold if sounds else max(self.left - 1, 0)
        self.dip = stepped(self.dip, wanted, self.up, self.down)
        return self.dip


def duck(insert, rate_hz, audio, key):
    """Return what comes out of a duck, and its gains."""
    late = round(insert.look_ahead_ms * rate_hz / 1000)
    columns = [_rule(rule, late, rate_hz, key) for rule in insert.rules]
    sections = [between(rule.low_hz, rule.high_hz, rate_hz) for rule in insert.rules]
    return lowered(audio, late, sections, gains(list(zip(*columns, strict=True)), len(audio), len(sections)))


def _rule(rule, late, rate_hz, key):
    gate = Gate(rate_hz, 10 ** (rule.above_db / 10), rule.near_db)
    hold = round((late + round(rule.hold_ms * rate_hz / 1000)) / LOOK)
    look_ms = 1000 * LOOK / rate_hz
    level = before = dip_db = 0.0
    rest = left = 0
    dips = []
    for power in powers(between(rule.key_low_hz, rule.key_high_hz, rate_hz, 2), key):
        if rule.by == "level":
            level += part(10, rate_hz) * (power - level)
            now = gate.sounds(level)
        else:
            level = max(power, level * (1 - part(20, rate_hz)))
            now = gate.sounds(level) and rest == 0 and level > before * 10 ** (rule.rise_db / 10)
            followed = before + part(50, rate_hz) * (level - before)
            before = level if now or (rest > 0 and level > followed) else followed
            rest = round(round(0.05 * rate_hz) / LOOK) if now else max(rest - 1, 0)
        wanted = rule.depth_db if now or left > 0 else 0.0
        left = hold if now else max(left - 1, 0)
        steps = rule.depth_db * look_ms / rule.attack_ms, rule.depth_db * look_ms / rule.release_ms
        dip_db = stepped(dip_db, wanted, *steps)
        dips.append(dip_db)
    return dips


def peaks(insert, rate_hz, audio, key):
    """Return what comes out of a tamer of peaks, and its gains."""
    late = round(insert.look_ahead_ms * rate_hz / 1000)
    count, octaves = insert.bands, math.log2(insert.high_hz / insert.low_hz)
    width = octaves / count
    q = 1 / (2 * math.sinh(math.log(2) / 2 * width))
    sections = [band_pass(insert.low_hz * 2 ** ((k + 0.5) * width), q, rate_hz) for k in range(count)]
    heard = np.array([powers(section, audio if key is None else key) for section in sections])
    around = max(1, round(insert.width_oct / width))
    look_ms = 1000 * LOOK / rate_hz
    level, dip_db, dips = np.zeros(count), [0.0] * count, []
    for k in range(heard.shape[1]):
        level += part(30, rate_hz) * (heard[:, k] - level)
        levels = 10 * np.log10(level + 1e-12)
        for b in range(count):
            n, over = min(around, b, count - 1 - b), 0.0
            if n:
                others = [*levels[b - n : b], *levels[b + 1 : b + n + 1]]
                over = levels[b] - sum(others) / len(others) - insert.allowed_db
            wanted = min(max(over, 0.0), insert.most_db)
            steps = insert.most_db * look_ms / insert.attack_ms, insert.most_db * look_ms / insert.release_ms
            dip_db[b] = stepped(dip_db[b], wanted, *steps)
        dips.append(list(dip_db))
    logged = gains(dips, len(audio), count)
    dry = delayed(audio, late)
    out = dry + sum((logged[:, [b]] - 1) * signal.lfilter(*s, dry, axis=0) for b, s in enumerate(sections))
    return out, logged


class Gate:
    """Whether a level sounds beside its own recent maximum."""

    def __init__(self, rate_hz, least, near_db):
        self.look_s, self.least, self.near = LOOK / rate_hz, least, 10 ** (-near_db / 10)
        self.most, self.open = 0.0, False

    def sounds(self, power):
        db_a_second = 1.0 if self.open else 0.1 if power > self.least else 0.0
        self.most = max(self.most * 10 ** (-db_a_second * self.look_s / 10), power)
        self.open = power > max(self.most * self.near, self.least) * (10**-0.4 if self.open else 1)
        return self.open


def lowered(audio, late, sections, logged):
    out = delayed(audio, late)
    for k, section in enumerate(sections):
        out = out + (logged[:, [k]] - 1) * signal.lfilter(*section, out, axis=0)
    return out, logged


def gains(dips, frames, count):
    """Gains of each frame: a line to what a look makes of the frames before it, over the frames after it."""
    at = np.arange(len(dips) + 2) * LOOK - 1
    values = np.concatenate([np.ones((2, count)), 10 ** (-np.reshape(dips, (-1, count)) / 20)])
    lines = [np.interp(np.arange(frames), at, values[:, k]) for k in range(count)]
    return np.stack(lines, axis=1).astype(np.float32).astype(np.float64)


def powers(section, audio):
    y = signal.lfilter(*section, np.asarray(audio, np.float64), axis=0)
    looks = len(y) // LOOK
    return np.mean(y[: looks * LOOK].reshape(looks, -1) ** 2, axis=1)


def band_pass(hz, q, rate_hz):
    """Bilinear, with a Q by which the band is as many octaves wide as the analogue one (Audio EQ Cookbook: BW)."""
    turn, w = 2 * math.pi * hz / rate_hz, 2 * rate_hz * math.tan(math.pi * hz / rate_hz)
    q = 0.5 / math.sinh(turn / math.sin(turn) * math.asinh(0.5 / q))
    return signal.bilinear([w / q, 0], [1, w / q, w * w], rate_hz)


def between(low_hz, high_hz, rate_hz, order=1):
    if low_hz is None and high_hz is None:
        return [1.0], [1.0]
    if low_hz is None:
        return _one(design_low_pass(Pass(hz=high_hz, slope_db_oct=6 * order), rate_hz))
    if high_hz is None:
        return _one(design_high_pass(Pass(hz=low_hz, slope_db_oct=6 * order), rate_hz))
    middle = math.sqrt(low_hz * high_hz)
    return band_pass(middle, middle / (high_hz - low_hz), rate_hz)


def delayed(audio, late):
    return np.concatenate([np.zeros((late, audio.shape[1])), audio])[: len(audio)]


def part(ms, rate_hz):
    return 1 - math.exp(-LOOK / (ms / 1000 * rate_hz))


def db(power):
    return 10 * math.log10(power + 1e-20)


def stepped(now, wanted, up, down):
    return min(now + up, wanted) if now < wanted else max(now - down, wanted)


def _one(sections):
    (section,) = sections
    return section[:3], [1.0, *section[3:]]
