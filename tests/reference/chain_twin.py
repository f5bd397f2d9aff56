# SPDX-License-Identifier: Apache-2.0
"""Chains in plain Python, one frame at a time: the slow twin of csrc/chain.c."""

from __future__ import annotations

import numpy as np

from mixwright.engine.chain import Delay, Gain, Reverberation, Sections
from reference import reverb_twin


def process(operations, audio):
    """Return float64 audio ``(frames, channels)`` after the operations; states begin at zero."""
    out = np.array(audio, dtype=np.float64)
    for operation in operations:
        if isinstance(operation, Reverberation):
            fed = process([Sections(operation.sections), Delay(operation.pre_delay_frames)], out)
            out = reverb_twin.process(operation.network, fed)
            continue
        for channel in range(out.shape[1]):
            x = [float(value) for value in out[:, channel]]
            if isinstance(operation, Gain):
                y = [value * operation.factor for value in x]
            elif isinstance(operation, Delay):
                y = ([0.0] * operation.frames + x)[: len(x)]
            else:
                y = x
                for section in operation.sections:
                    y = _section([float(c) for c in section], y)
            out[:, channel] = y
    return out


def _section(c, x):
    b0, b1, b2, a1, a2 = c
    s1 = s2 = 0.0
    y = []
    for frame, value in enumerate(x):
        result = b0 * value + s1
        s1 = (b1 * value + s2) - a1 * result
        s2 = b2 * value - a2 * result
        y.append(result)
        if (frame + 1) % 256 == 0:
            s1 = 0.0 if abs(s1) < 1e-30 else s1
            s2 = 0.0 if abs(s2) < 1e-30 else s2
    return y
