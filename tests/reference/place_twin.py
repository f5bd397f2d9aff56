# SPDX-License-Identifier: Apache-2.0
"""Lanes, pan law and placing in plain Python, one frame at a time: the slow twin of csrc/place.c."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np


def lane_value(points, frame):
    """Return the value of a lane, points ``(frame, value)`` in order, at a frame."""
    if frame < points[0][0]:
        return points[0][1]
    value = points[-1][1]
    for (f0, v0), (f1, v1) in pairwise(points):
        if f0 <= frame < f1:
            value = v0 + (v1 - v0) * (frame - f0) / (f1 - f0)
    return value


def pan_gains(pan_law_db, position):
    """Return the gains into left and right of a source at a position from -1 to 1."""
    return _near_left(pan_law_db, position), _near_left(pan_law_db, -position)


def _near_left(pan_law_db, position):
    if position == 1.0:
        return 0.0
    cosine = math.cos((1.0 + position) * math.pi / 4.0)
    if pan_law_db >= 3.0 or position <= 0.0:
        return cosine ** (pan_law_db / 3.0)
    return cosine * 2.0 ** ((1.0 - pan_law_db / 3.0) / 2.0)


def place(audio, frame, lanes, pan_law_db, scale):
    """Return stereo audio: `lanes` are points of level, pan, left, right, width."""
    out = np.zeros((len(audio), 2))
    for i, samples in enumerate(audio):
        level, pan, left, right, width = (lane_value(points, frame + i) for points in lanes)
        gain = 10.0 ** (level / 20.0) * scale
        if len(samples) == 1:
            sides = ((float(samples[0]), pan),)
        else:
            middle = (float(samples[0]) + float(samples[1])) / 2.0
            side = (float(samples[0]) - float(samples[1])) / 2.0 * width
            sides = ((middle + side, left), (middle - side, right))
        for value, position in sides:
            to_left, to_right = pan_gains(pan_law_db, position)
            out[i] += (value * gain * to_left, value * gain * to_right)
    return out
