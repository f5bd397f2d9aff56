# SPDX-License-Identifier: Apache-2.0
"""Late reverberation from the settings of a send."""

from __future__ import annotations

import math

import numpy as np

from mixwright.core.filters import design_high_pass, design_low_pass
from mixwright.engine.operation import Reverberation
from mixwright.errors import SettingError
from mixwright.model.filters import Pass
from mixwright.model.strip import Reverb
from mixwright.native import reverb as native

#: A tail that keeps what lies above this share of the rate keeps everything.
_HIGHEST = 0.45


def reverberation(reverb: Reverb, rate_hz: int) -> Reverberation:
    """Return the reverb of a send, wet alone.

    What comes in runs through a high-pass at `low_hz` and a low-pass at `high_hz` (12 dB an octave), waits for the
    pre-delay, is diffused and fed back through 16 lines of prime lengths. It falls by 60 dB in `decay_s` at low and
    middle frequencies and in half of that at `high_hz`. Steady noise with equal power in every third of an octave
    returns 14 LU below what comes in, whatever the settings. Both sides of the return are uncorrelated; of the kind
    `instruments`, each opens with what came in on its own side.

    Parameters
    ----------
    reverb : Reverb
    rate_hz : int

    Raises
    ------
    SettingError
        where it would keep nothing: `low_hz` not below `high_hz` or half the rate

    Source
    ------
    Feedback delay network and decay filters: Jot & Chaigne 1991, "Digital delay networks for designing artificial
    reverberators" (AES 90th convention). Level: De Man, McNally & Reiss 2017, -14 LU lies between too wet and too dry.
    """
    if reverb.low_hz >= min(reverb.high_hz, rate_hz / 2):
        raise SettingError(
            f"a reverb from {reverb.low_hz:g} to {reverb.high_hz:g} Hz keeps nothing of a song of {rate_hz} Hz",
            hint="set low_hz below high_hz and below half the rate",
        )
    parts = [design_high_pass(Pass(hz=reverb.low_hz), rate_hz)]
    if reverb.high_hz < _HIGHEST * rate_hz:
        parts.append(design_low_pass(Pass(hz=reverb.high_hz), rate_hz))
    sections = np.concatenate(parts)
    kind = native.VOICE if reverb.kind == "voice" else native.INSTRUMENTS
    network = native.design(kind, rate_hz, reverb.decay_s, reverb.high_hz, sections)
    pre_delay = round(reverb.pre_delay_ms * rate_hz / 1000.0)
    stages = network[native.DIFFUSION :].reshape(native.STAGES, native.LINES)
    slowest = network[native.LENGTH : native.FEEDBACK].max() + stages.max(axis=1).sum()
    rings = pre_delay + slowest + reverb.decay_s * rate_hz * 100.0 / 60.0
    return Reverberation(sections, pre_delay, network, math.ceil(rings / 1024) * 1024)
