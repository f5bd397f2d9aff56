# SPDX-License-Identifier: Apache-2.0
"""The running spectrum of what one ear hears, and the powers of a layer and of the rest of the mix in it."""

from __future__ import annotations

from collections.abc import Sequence

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
        frames = self._frames(audio)
        made = np.empty(frames * self._tables.bins_per_frame, dtype=np.float32) if out is None else out
        t = self._tables
        ear.spectrum(audio, frames, MARGIN, t.shape, t.half_band, t.ear, t.waves, made, self._room)
        return made

    def power(self, bins: np.ndarray, steps: Steps | None = None, out: np.ndarray | None = None) -> np.ndarray:
        """Return the power of every component at the cochlea re that of 1 kHz at 0 dB SPL, float32.

        ``(frames, 134)``, or rows of powers laid out as `steps` say.

        Parameters
        ----------
        bins : ndarray
            from `bins`
        steps : Steps, optional
            by default frames are whole
        out : ndarray, optional
            to write to
        """
        cut, t = steps or whole_frames(), self._tables
        made = _rows(len(bins) // t.bins_per_frame, cut) if out is None else out
        ear.power(bins, t.shape, t.counts, self._scale, cut.parts, made)
        return made

    def powers(
        self,
        audio: Sequence[np.ndarray],
        other: Sequence[np.ndarray],
        steps: Steps | None = None,
        outs: tuple[Sequence[np.ndarray], Sequence[np.ndarray]] | None = None,
    ) -> tuple[Sequence[np.ndarray], Sequence[np.ndarray]]:
        """Return the power of each channel of a sound, as `power` of its bins, and of another sound without this one.

        It is the power of their difference, so that what cancels counts as it sounds.

        Parameters
        ----------
        audio : sequence of arrays
            each as for `bins`
        other : sequence of arrays
            bins of the channels of the other sound
        steps, outs
            as for `power`
        """
        cut, t = steps or whole_frames(), self._tables
        frames = self._frames(audio[0])
        own, rest = outs or ([_rows(frames, cut) for _ in audio], [_rows(frames, cut) for _ in audio])
        ear.powers(
            audio, MARGIN, t.shape, t.half_band, t.ear, t.waves, other, t.counts, self._scale, cut.parts, own, rest,
            self._room,
        )  # fmt: skip
        return own, rest

    def _frames(self, audio: np.ndarray) -> int:
        """Return how many frames audio has between its margins, and make room to work in."""
        frames, left = divmod(len(audio) - 2 * MARGIN, FRAME)
        if left or frames < 0 or frames % 4:
            raise ValueError("the audio must hold a multiple of four frames between its margins")
        if len(self._room) < 3 * len(audio):
            self._room = np.empty(3 * len(audio), dtype=np.float32)
        return frames


def _rows(frames: int, steps: Steps) -> np.ndarray:
    return np.empty((frames, len(steps.component)), dtype=np.float32)
