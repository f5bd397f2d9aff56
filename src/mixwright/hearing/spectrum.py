# SPDX-License-Identifier: Apache-2.0
"""The running spectrum of what one ear hears, and the powers of a layer and of the rest of the mix in it."""

from __future__ import annotations

import numpy as np

from mixwright.hearing.ear_filter import Field
from mixwright.hearing.kernels import FRAME, MARGIN, Steps, spectrum_tables, whole_frames
from mixwright.native import ear


class RunningSpectrum:
    """Bins of frames of 4 ms at 48 kHz; holds no state, only room to work in, so each thread needs its own.

    Parameters
    ----------
    offset_db : float
        level in dB SPL of a signal whose mean square is 1
    field : {"free", "diffuse", "eardrum"}
    """

    def __init__(self, offset_db: float, field: Field = "free") -> None:
        self._tables = spectrum_tables(field)
        self._scale = (self._tables.scale * 10.0 ** (offset_db / 10.0)).astype(np.float32)
        self._room = np.empty(0, dtype=np.float32)

    def bins(self, audio: np.ndarray, out: np.ndarray | None = None) -> np.ndarray:
        """Return the bins of all frames in `audio`, float32, for `power`.

        Parameters
        ----------
        audio : ndarray, float32, (samples,)
            C-contiguous, with MARGIN samples before the middle of the first frame and after the end of the last;
            what lies between is a multiple of four frames
        out : ndarray, optional
            float32 of the right length to write to
        """
        frames, left = divmod(len(audio) - 2 * MARGIN, FRAME)
        if left or frames < 0 or frames % 4:
            raise ValueError("the audio must hold a multiple of four frames between its margins")
        made = np.empty(frames * self._tables.bins_per_frame, dtype=np.float32) if out is None else out
        if len(self._room) < 3 * len(audio):
            self._room = np.empty(3 * len(audio), dtype=np.float32)
        t = self._tables
        ear.spectrum(audio, frames, MARGIN, t.shape, t.half_band, t.ear, t.waves, made, self._room)
        return made

    def power(
        self,
        bins: np.ndarray,
        other: np.ndarray | None = None,
        steps: Steps | None = None,
        out: np.ndarray | None = None,
    ) -> np.ndarray:
        """Return the power of every component at the cochlea re that of 1 kHz at 0 dB SPL, float32.

        ``(frames, 134)``, or rows of powers laid out as `steps` say.

        Parameters
        ----------
        bins : ndarray
            from `bins`
        other : ndarray, optional
            bins of another signal: then it is the power of `other` minus this one, so that what cancels counts as it
            sounds
        steps : Steps, optional
            by default frames are whole
        out : ndarray, optional
            to write to
        """
        frames = len(bins) // self._tables.bins_per_frame
        cut, t = steps or whole_frames(), self._tables
        made = np.empty((frames, len(cut.component)), dtype=np.float32) if out is None else out
        ear.power(bins, other, t.shape, t.counts, self._scale, cut.parts, made)
        return made
