# SPDX-License-Identifier: Apache-2.0
"""Chains in plain Python, one frame at a time: the slow twin of csrc/chain.c."""

from __future__ import annotations

import numpy as np

from mixwright.engine.operation import Blended, Delay, Gain, Reverberation, Sections, Stage
from mixwright.native import chain as native
from reference import reverb_twin


def process(operations, audio):
    """Return float64 audio ``(frames, channels)`` after the operations; states begin at zero."""
    out = np.array(audio, dtype=np.float64)
    for operation in operations:
        if isinstance(operation, Reverberation):
            fed = process([Sections(operation.sections), Delay(operation.pre_delay_frames)], out)
            out = reverb_twin.process(operation.network, fed)
            continue
        if isinstance(operation, Blended):
            wet, dry = process(operation.operations, out), process([Delay(operation.latency_frames)], out)
            out = dry + operation.part * (wet - dry)
            continue
        if isinstance(operation, Stage):
            out = _on(operation, out)
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


def _on(stage, audio):
    """Sections on one of the channels, on middle or on side."""
    sections = [Sections(stage.coefficients.reshape(-1, 5))]
    if stage.on == native.BOTH or audio.shape[1] == 1:
        return audio if stage.on in (native.SIDE, native.RIGHT) else process(sections, audio)
    left, right = audio[:, :1], audio[:, 1:]
    if stage.on == native.LEFT:
        return np.concatenate([process(sections, left), right], axis=1)
    if stage.on == native.RIGHT:
        return np.concatenate([left, process(sections, right)], axis=1)
    middle, side = 0.5 * (left + right), 0.5 * (left - right)
    if stage.on == native.MIDDLE:
        middle = process(sections, middle)
    else:
        side = process(sections, side)
    return np.concatenate([middle + side, middle - side], axis=1)
