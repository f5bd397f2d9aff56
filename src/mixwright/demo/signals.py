# SPDX-License-Identifier: Apache-2.0
"""Raw material of the instruments: noise, tones, filters, fades.

All sounds are one-dimensional float64 arrays at `RATE_HZ`. Noise comes from counter-based generators
seeded by name, so a sound is the same whoever makes it and in whatever order.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable

import numpy as np

RATE_HZ = 48_000

#: Complex gain as a function of frequency in Hz.
Response = Callable[[np.ndarray], np.ndarray]

_HOP = 480
_WINDOW = 2 * _HOP
_SIZE = 2048
_BATCH = 256


def generator(name: str) -> np.random.Generator:
    """Return the random generator that belongs to a name."""
    return np.random.Generator(np.random.Philox(zlib.crc32(name.encode())))


def noise(name: str, frames: int) -> np.ndarray:
    """Return white noise of unit variance."""
    return generator(name).standard_normal(frames, dtype=np.float32).astype(np.float64)


def seconds(frames: int) -> np.ndarray:
    """Return the time of every frame in s."""
    return np.arange(frames) / RATE_HZ


def hz_from_midi(midi: float) -> float:
    """Return the frequency of a note number in equal temperament, 69 = 440 Hz."""
    return float(440.0 * 2.0 ** ((midi - 69.0) / 12.0))


def decay(frames: int, time_constant_s: float) -> np.ndarray:
    """Return an envelope that falls from 1 to 1/e in the time constant."""
    return np.exp(seconds(frames) * (-1.0 / time_constant_s))


def faded(sound: np.ndarray, in_s: float = 0.0, out_s: float = 0.0) -> np.ndarray:
    """Return the sound with raised-cosine fades at its ends, so that no note starts or stops with a click."""
    result = np.array(sound)
    for length_s, end in ((in_s, slice(None)), (out_s, slice(None, None, -1))):
        count = min(len(result), round(length_s * RATE_HZ))
        if count:
            result[end][:count] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / count)
    return result


def saturated(sound: np.ndarray, drive: float) -> np.ndarray:
    """Return the sound through a soft symmetrical saturation, small signals unchanged in level."""
    return np.tanh(drive * sound) / drive


def low_pass(hz: float, order: int = 2) -> Response:
    """Return an analogue Butterworth low-pass."""
    poles = np.exp(1j * np.pi * (2 * np.arange(1, order + 1) + order - 1) / (2 * order))

    def response(frequency_hz: np.ndarray) -> np.ndarray:
        s = 1j * frequency_hz / hz
        result = np.ones(len(s), dtype=np.complex128)
        for pole in poles:
            result /= s - pole
        return result

    return response


def high_pass(hz: float, order: int = 2) -> Response:
    """Return an analogue Butterworth high-pass."""
    as_low_pass = low_pass(hz, order)

    def response(frequency_hz: np.ndarray) -> np.ndarray:
        return as_low_pass(frequency_hz) * (1j * frequency_hz / hz) ** order

    return response


def bell(hz: float, gain_db: float, q: float = 1.0) -> Response:
    """Return an analogue second-order bell."""
    root = 10.0 ** (gain_db / 40.0)

    def response(frequency_hz: np.ndarray) -> np.ndarray:
        s = 1j * frequency_hz / hz
        return np.asarray((s * s + s * (root / q) + 1.0) / (s * s + s / (root * q) + 1.0))

    return response


def filtered(sound: np.ndarray, *responses: Response, tail_s: float = 0.0) -> np.ndarray:
    """Return the sound through filters in series, longer by `tail_s` (they ring, at most a third of a second)."""
    from scipy import fft

    frames = len(sound) + round(tail_s * RATE_HZ)
    longest = RATE_HZ // 3
    size = fft.next_fast_len(min(frames, longest) + longest, real=True)
    frequency_hz = fft.rfftfreq(size, 1.0 / RATE_HZ)
    gains = np.ones(len(frequency_hz), dtype=np.complex128)
    for response in responses:
        gains *= response(frequency_hz)
    gains[0] = gains[0].real
    if frames > longest:
        impulse_response = faded(fft.irfft(gains, size)[:longest], 0.0, 0.1)
        return convolved(np.append(sound, np.zeros(frames - len(sound))), impulse_response)[:frames]
    return fft.irfft(fft.rfft(sound, size) * gains, size)[:frames]


def convolved(sound: np.ndarray, impulse_response: np.ndarray) -> np.ndarray:
    """Return the sound in a room given by its impulse response, full length; long sounds block by block."""
    from scipy import fft

    reach = len(impulse_response) - 1
    size = fft.next_fast_len(min(len(sound), 3 * reach + 2048) + reach, real=True)
    block = size - reach
    gains = fft.rfft(impulse_response, size)
    result = np.zeros(-(-len(sound) // block) * block + reach)
    for first in range(0, len(sound), block):
        result[first : first + size] += fft.irfft(fft.rfft(sound[first : first + block], size) * gains, size)
    return result[: len(sound) + reach]


def moving(
    sound: np.ndarray, response_at: Callable[[np.ndarray, np.ndarray], np.ndarray], highest_hz: float = 0.5 * RATE_HZ
) -> np.ndarray:
    """Return the sound through a filter that changes, by overlapping windows of 20 ms.

    Parameters
    ----------
    sound : ndarray (frames,)
    response_at : callable
        From times in s, shape (n, 1), and frequencies in Hz, shape (1, bins), to gains, shape (n, bins).
        Asked up to `highest_hz`; nothing passes above.
    highest_hz : float

    Returns
    -------
    ndarray (frames,)
    """
    from scipy import fft

    count = len(sound) // _HOP + 2
    padded = np.zeros((count + 1) * _HOP, dtype=np.float32)
    padded[_HOP : _HOP + len(sound)] = sound
    windows = np.lib.stride_tricks.sliding_window_view(padded, _WINDOW)[::_HOP]
    shape = (0.5 - 0.5 * np.cos(np.pi * (np.arange(_WINDOW) + 0.5) / _HOP)).astype(np.float32)
    bins = int(highest_hz * _SIZE / RATE_HZ) + 1
    frequency_hz = fft.rfftfreq(_SIZE, 1.0 / RATE_HZ)[np.newaxis, :bins]
    pieces = -(-_SIZE // _HOP)
    result = np.zeros((count + pieces, _HOP), dtype=np.float32)
    for first in range(0, count, _BATCH):
        batch = windows[first : first + _BATCH] * shape
        times_s = (np.arange(first, first + len(batch))[:, np.newaxis] * _HOP) / RATE_HZ
        spectrum = fft.rfft(batch, _SIZE, axis=1)[:, :bins]
        spectrum *= response_at(times_s, frequency_hz)
        blocks = np.zeros((len(batch), pieces * _HOP), dtype=np.float32)
        blocks[:, :_SIZE] = fft.irfft(spectrum, _SIZE, axis=1)
        for piece in range(pieces):
            columns = slice(piece * _HOP, (piece + 1) * _HOP)
            result[first + piece : first + piece + len(batch)] += blocks[:, columns]
    return result.ravel()[_HOP : _HOP + len(sound)].astype(np.float64)


def decaying_tone(
    cycles: np.ndarray, hz: float, amplitudes: np.ndarray, decay_s: np.ndarray | float, phases: np.ndarray | None = None
) -> np.ndarray:
    """Return a harmonic tone whose partials die away each at its own pace, like a string or a bar.

    One period of the wave is made for every period of the tone and read along `cycles`.

    Parameters
    ----------
    cycles : ndarray (frames,)
        Phase of the fundamental in cycles, from 0, never falling.
    hz : float
        Nominal frequency; sets how many partials fit below 20 kHz and how time maps to cycles.
    amplitudes, phases : ndarray (partials,)
        Of partials 1, 2, ... at the start; phases in rad (sine at 0).
    decay_s : ndarray (partials,) or float
        Time constants (to 1/e).

    Returns
    -------
    ndarray (frames,)
    """
    from scipy import fft

    partials = min(len(amplitudes), int(20_000 / hz))
    size = 16 * 2 ** max(2, int(np.ceil(np.log2(partials))))
    periods = int(cycles[-1]) + 2
    rates = np.broadcast_to(1.0 / np.asarray(decay_s), len(amplitudes))[:partials]
    spectrum = np.zeros((periods, size // 2 + 1), dtype=np.complex64)
    start = amplitudes[:partials] * (-0.5j * size)
    if phases is not None:
        start = start * np.exp(1j * phases[:partials])
    spectrum[:, 1 : partials + 1] = start * np.exp(-np.arange(periods)[:, np.newaxis] / hz * rates)
    return _read(fft.irfft(spectrum, size, axis=1).ravel(), cycles * size)


def steady_tone(cycles: np.ndarray, amplitudes: np.ndarray, phases: np.ndarray) -> np.ndarray:
    """Return a harmonic tone of constant spectrum read along `cycles` (in cycles, from 0, any length)."""
    from scipy import fft

    size = 16 * 2 ** int(np.ceil(np.log2(len(amplitudes))))
    spectrum = np.zeros(size // 2 + 1, dtype=np.complex128)
    spectrum[1 : len(amplitudes) + 1] = amplitudes * (-0.5j * size) * np.exp(1j * phases)
    table = fft.irfft(spectrum, size)
    return _read(np.append(table, table[0]), (cycles - np.floor(cycles)) * size)


def _read(table: np.ndarray, position: np.ndarray) -> np.ndarray:
    """Read a table between its points."""
    index = position.astype(np.int64)
    low = table[index]
    return np.asarray(low + (position - index) * (table[index + 1] - low), dtype=np.float64)


def band_of_noise(name: str, centres_hz: np.ndarray, levels: np.ndarray, width: float, frames: int) -> np.ndarray:
    """Return narrow bands of noise around given frequencies: many players on the same notes, ensemble-like.

    Parameters
    ----------
    name : str
        Seeds the phases.
    centres_hz, levels : ndarray (bands,)
    width : float
        Standard deviation of each band as a fraction of its centre.
    frames : int

    Returns
    -------
    ndarray (frames,)
        Loops without a seam.
    """
    from scipy import fft

    bins = frames // 2 + 1
    magnitude = np.zeros(bins)
    for centre_hz, level in zip(centres_hz, levels, strict=True):
        centre = centre_hz * frames / RATE_HZ
        spread = max(1.0, centre * width)
        low, high = max(1, int(centre - 4 * spread)), min(bins, int(centre + 4 * spread) + 2)
        if low < high:
            magnitude[low:high] += (
                level / np.sqrt(spread) * np.exp(-0.5 * ((np.arange(low, high) - centre) / spread) ** 2)
            )
    phase = generator(name).random(bins) * (2.0 * np.pi)
    return np.asarray(fft.irfft(magnitude * np.exp(1j * phase), frames) * np.sqrt(frames))
