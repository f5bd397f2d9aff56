# SPDX-License-Identifier: Apache-2.0
"""Reverberation in plain Python, one frame at a time: the slow twin of csrc/reverb.c."""

from __future__ import annotations

from collections import deque

import numpy as np

from mixwright.native.reverb import DAMPING, DIFFUSION, EARLY, FEEDBACK, GAIN, LENGTH, LINES, STAGES, WIDTH

# (-1)^(x1 x2 + x3 x4) of the bits of the line
SIGN = [(-1.0) ** ((i & 1) * (i >> 1 & 1) + (i >> 2 & 1) * (i >> 3 & 1)) for i in range(LINES)]


def process(network, audio):
    """Return float64 audio ``(frames, channels)`` after the network; states begin at zero."""
    c = [float(value) for value in network]
    stages = [[_ring(c[DIFFUSION + LINES * stage + i]) for i in range(LINES)] for stage in range(STAGES)]
    lines = [_ring(c[LENGTH + i]) for i in range(LINES)]
    damped = [0.0] * LINES
    channels = audio.shape[1]
    out = np.zeros(audio.shape)
    for frame in range(len(audio)):
        sides = [float(audio[frame, 0]), float(audio[frame, channels - 1])]
        new = [SIGN[i] * sides[i >= LINES // 2] for i in range(LINES)]
        for rings in stages:
            new = _hadamard([_late(ring, value) for ring, value in zip(rings, new, strict=True)], int(c[WIDTH]))
        for i in range(LINES):
            damped[i] = c[FEEDBACK + i] * lines[i][0] + c[DAMPING + i] * damped[i]
        back = _hadamard(damped, LINES)
        for i in range(LINES):
            value = back[i] + new[i]
            lines[i].append(0.0 if abs(value) < 1e-30 else value)
        heard = [SIGN[i] * (back[i] + c[EARLY] * new[i]) for i in range(LINES)]
        for channel in range(channels):
            total = 0.0
            for value in heard[LINES // 2 * channel : LINES // 2 * (channel + 1)]:
                total += value
            out[frame, channel] = c[GAIN] * total
        if (frame + 1) % 256 == 0:
            damped = [0.0 if abs(value) < 1e-30 else value for value in damped]
    return out


def _ring(length):
    return deque([0.0] * int(length), maxlen=int(length))


def _late(ring, value):
    if not ring.maxlen:
        return value
    late = ring[0]
    ring.append(value)
    return late


def _hadamard(x, width):
    """Sum all lines of a group, each with the sign of the Walsh function."""
    x = list(x)
    step = 1
    while step < width:
        for i in range(LINES):
            if not i & step:
                x[i], x[i + step] = x[i] + x[i + step], x[i] - x[i + step]
        step *= 2
    return x
