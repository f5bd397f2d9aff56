# SPDX-License-Identifier: Apache-2.0
"""One fault per finished file, planted by code: how each kind is made, and which faults may be told of it.

Every planter writes files into a folder and says what `check` is asked and what it must find. Sizes are drawn over the
range in which a mixing engineer would send a file back; where a fault must be audible to be one (clicks), a measure of
its own decides, not the detector.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
import soxr
from finished_material import Piece
from scipy import signal

from mixwright.io.write import write_wav
from mixwright.model.expected import Expected
from mixwright.model.tags import Tags

TITLE, ARTIST = "Invented Song", "Nobody"


@dataclass
class Planted:
    """What `check` is asked, the file that holds the fault, and the kinds of fault that may be told of it.

    The first of `kinds` is the planted one; the others are what it cannot come without. None: a clean set. `also`:
    what the piece itself has, and may be told of it or not.
    """

    files: list[Path]
    faulty: Path | None
    kinds: tuple[str, ...]
    against: Path | None = None
    expected: Expected = field(default_factory=Expected)
    voice: Path | None = None
    muted_s: tuple[tuple[float, float], ...] = ()
    also: tuple[str, ...] = ()


def write(path: Path, audio: np.ndarray, rate_hz: int, depth: str, rng: np.random.Generator) -> Path:
    """Write audio: "16" and "24" with triangular dither, "float" as it is, "plain16" rounded without dither."""
    if depth == "float":
        soundfile.write(path, audio.astype(np.float32), rate_hz, subtype="FLOAT")
        return path
    bits = 16 if depth == "plain16" else int(depth)
    top = 2 ** (bits - 1)
    dither = 0.0 if depth == "plain16" else rng.uniform(-0.5, 0.5, audio.shape) + rng.uniform(-0.5, 0.5, audio.shape)
    codes = np.clip(np.rint(audio * top + dither), -top, top - 1).astype(np.int32)
    soundfile.write(path, codes << (32 - bits), rate_hz, subtype=f"PCM_{bits}")
    return path


def tagged(path: Path, audio: np.ndarray, rate_hz: int, tags: Tags) -> Path:
    """Write a 24-bit WAV file with tags."""
    frames, channels = audio.shape
    write_wav(path, [audio], rate_hz=rate_hz, channels=channels, frames=frames, sample_format="pcm24", tags=tags)
    return path


Plant = Callable[[Piece, Path, str, np.random.Generator], Planted]


def _name(stem: str, piece: Piece, depth: str, kind: str = "Main") -> str:
    told = {"16": "16", "plain16": "16", "24": "24", "float": "32f"}[depth]
    return f"{stem}_{kind}_{piece.rate_hz // 1000}k{told}.wav"


def _plain(
    piece: Piece,
    folder: Path,
    stem: str,
    rng: np.random.Generator,
    audio: np.ndarray,
    *kinds: str,
    depth: str = "24",
    **asked: object,
) -> Planted:
    path = write(folder / _name(stem, piece, depth), audio, piece.rate_hz, depth, rng)
    return Planted([path], path, kinds, **asked)  # type: ignore[arg-type]


def truncated(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    found = _plain(piece, folder, stem, rng, piece.mix, "truncated", "cut_end")
    path = found.files[0]
    path.write_bytes(path.read_bytes()[: -int(rng.integers(2000, path.stat().st_size // 2))])
    return found


def over_full_scale(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = piece.mix * 10 ** (rng.uniform(0.1, 6.0) / 20) / np.abs(piece.mix).max()
    return _plain(piece, folder, stem, rng, audio, "over_full_scale", "true_peak_high", depth="float")


def true_peak_high(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """Samples below full scale, the wave between them above: a short high tone whose samples straddle its peaks."""
    audio = 0.7 * piece.mix / np.abs(piece.mix).max()
    n = round(0.05 * piece.rate_hz)
    at = int(rng.integers(len(audio) // 4, len(audio) // 2))
    audio[at : at + n] *= (1.0 - signal.windows.tukey(n, 0.5))[:, None]
    tone = np.sin(np.pi * np.arange(n) / 2 + np.pi / 4) * signal.windows.tukey(n, 0.4)
    audio[at : at + n] += (rng.uniform(1.05, 1.35) * tone)[:, None]
    return _plain(piece, folder, stem, rng, audio, "true_peak_high")


def _driven(piece: Piece, rng: np.random.Generator) -> np.ndarray:
    """Return a mix driven over full scale by 3 to 9 dB, and farther until ten tops of four frames are cut off."""
    audio = piece.mix * 10 ** (rng.uniform(3.0, 9.0) / 20) / np.abs(piece.mix).max()
    while True:
        over = (np.abs(audio) >= 1.0).astype(np.float64)
        if sum(np.count_nonzero(np.convolve(side, np.ones(4)) == 4.0) for side in over.T) >= 10:
            return audio
        audio = audio * 1.1


def clipped(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = np.clip(_driven(piece, rng), -1.0, 1.0 - 2.0**-23)
    return _plain(piece, folder, stem, rng, audio, "clipped", "true_peak_high", depth=str(rng.choice(["16", "24"])))


def clipped_lowered(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = np.clip(_driven(piece, rng), -1.0, 1.0) * 10 ** (-rng.uniform(3.0, 12.0) / 20)
    if rng.uniform() < 0.4:
        audio *= np.linspace(1.0, rng.uniform(0.3, 0.8), len(audio))[:, None]
    depth = str(rng.choice(["16", "24", "float"]))
    return _plain(piece, folder, stem, rng, audio, "clipped", "true_peak_high", depth=depth)


def dc_offset(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = 0.7 * piece.mix + rng.choice([-1, 1]) * 10 ** (rng.uniform(-38.0, -26.0) / 20)
    # An offset begins and ends with a step.
    return _plain(piece, folder, stem, rng, audio, "dc_offset", "cut_start", "cut_end", "click")


def silent_file(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = np.zeros_like(piece.mix) if rng.uniform() < 0.5 else 1e-5 * rng.uniform(-1, 1, piece.mix.shape)
    return _plain(piece, folder, stem, rng, audio, "silent")


def near_silent(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    return _plain(piece, folder, stem, rng, piece.mix * 10 ** (-rng.uniform(58.0, 64.0) / 20), "near_silent")


def silence_before(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = np.concatenate((np.zeros((round(rng.uniform(4.0, 9.0) * piece.rate_hz), 2)), piece.mix))
    return _plain(piece, folder, stem, rng, audio, "silence_before")


def silence_after(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = np.concatenate((piece.mix, np.zeros((round(rng.uniform(11.0, 16.0) * piece.rate_hz), 2))))
    return _plain(piece, folder, stem, rng, audio, "silence_after")


def _loud_place(audio: np.ndarray, rate_hz: int, rng: np.random.Generator, length: int) -> int:
    """Return where sound is louder than -34 dBFS on both ends of a length, the last second and the first left out."""
    while True:
        at = int(rng.integers(rate_hz, len(audio) - rate_hz - length))
        ends = (audio[at - 240 : at], audio[at + length : at + length + 240])
        if min(np.abs(end).max(axis=0).min() for end in ends) > 0.02:
            return at


def dropout(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """From 2 ms to half a second of nothing, or of the last value, in both sides or one."""
    audio = piece.mix.copy()
    length = round(10 ** rng.uniform(-2.7, -0.3) * piece.rate_hz)
    at = _loud_place(audio, piece.rate_hz, rng, length)
    sides = [slice(None), slice(0, 1), slice(1, 2)][int(rng.integers(3))]
    audio[at : at + length, sides] = audio[at - 1, sides] if rng.uniform() < 0.3 else 0.0
    path = folder / _name(stem, piece, "24")
    soundfile.write(path, audio, piece.rate_hz, subtype="PCM_24")  # as a recorder leaves it: nothing is added to zeros
    return Planted([path], path, ("dropout",))


def one_side_dead(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = piece.mix.copy()
    audio[:, int(rng.integers(2))] *= 0.0 if rng.uniform() < 0.5 else 0.003
    return _plain(piece, folder, stem, rng, audio, "one_side_dead")


def _stands_out(audio: np.ndarray, rate_hz: int, at: int) -> float:
    """Return how far the step into a frame stands out of all steps within 60 ms to either side of it."""
    near = round(0.06 * rate_hz)
    steps = np.abs(np.diff(audio[at - near - 1 : at + near], axis=0)).max(axis=1)
    around = np.delete(steps, slice(near - 3, near + 4))
    return float(steps[near] / max(around.max(), 1e-9))


def click(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """A piece taken out without a cross-fade; the step at the cut is three times any other within 60 ms."""
    mix, rate_hz = piece.mix, piece.rate_hz
    for _ in range(3000):
        a = int(rng.integers(rate_hz, len(mix) // 2))
        b = a + int(rng.integers(rate_hz // 20, len(mix) // 3))
        if np.abs(mix[a - 1] - mix[b]).max() < 0.02:
            continue
        audio = np.concatenate((mix[:a], mix[b:]))
        if _stands_out(audio, rate_hz, a) > 3.0:
            return _plain(piece, folder, stem, rng, audio, "click", "true_peak_high")
    raise LookupError(f"{piece.name}: no cut is heard")


def cut_start(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """The beginning is missing: the file starts in the midst of sound."""
    mix = piece.mix
    while True:
        at = int(rng.integers(piece.rate_hz // 2, len(mix) // 2))
        if np.abs(mix[at]).max() > 0.01:
            return _plain(piece, folder, stem, rng, mix[at:], "cut_start")


def cut_end(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """The tail is missing, and in half of the files silence stands in its place."""
    mix = piece.mix
    at = _loud_place(mix, piece.rate_hz, rng, 480)
    while np.abs(mix[at - 1]).max() < 0.25 * np.abs(mix[at - 240 : at]).max():
        at += 1
    if rng.uniform() < 0.5:
        return _plain(piece, folder, stem, rng, mix[:at], "cut_end")
    path = folder / _name(stem, piece, "24")
    audio = np.concatenate((mix[:at], np.zeros((piece.rate_hz * 2, 2))))
    soundfile.write(path, audio, piece.rate_hz, subtype="PCM_24")
    return Planted([path], path, ("cut_end",))


def word_left(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """A clean edit in which a word is still heard, 3 to 20 dB down: a room or a double that nobody muted."""
    if piece.voice not in piece.parts:
        raise LookupError(f"{piece.name} has no voice")
    voice, rate_hz = piece.parts[piece.voice], piece.rate_hz
    power = signal.fftconvolve(np.square(voice).sum(axis=1), np.ones(rate_hz // 2), mode="same")
    loud = np.flatnonzero(power > 0.2 * power.max())
    middle = float(loud[int(rng.integers(len(loud)))]) / rate_hz
    start_s = float(np.clip(middle - 0.3, 0.5, len(voice) / rate_hz - 1.5))
    end_s = start_s + float(rng.uniform(0.4, 0.9))
    gain = np.ones(len(voice))
    muted = slice(round(start_s * rate_hz), round(end_s * rate_hz))
    # What lies 26 dB below all else is not heard, and no fault.
    heard_db = 10 * np.log10(np.mean(voice[muted] ** 2) / np.mean((piece.mix - voice)[muted] ** 2))
    if heard_db < -20.0:
        raise LookupError(f"{piece.name}: the voice is hardly heard there")
    gain[muted] = 10 ** (-rng.uniform(3.0, min(20.0, 26.0 + heard_db)) / 20)
    smooth = np.hanning(480)
    gain = signal.fftconvolve(np.pad(gain, 240, mode="edge"), smooth / smooth.sum(), mode="same")[240:-240]
    audio = piece.mix - voice * (1.0 - gain)[:, None]
    alone = write(folder / f"{stem}_Voice.wav", voice, rate_hz, "24", rng)
    return _plain(piece, folder, stem, rng, audio, "word_left", voice=alone, muted_s=((start_s, end_s),))


def out_of_phase(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    if np.corrcoef(piece.mix.T)[0, 1] < 0.35:
        raise LookupError(f"{piece.name}: sides that share nothing are never against one another")
    return _plain(piece, folder, stem, rng, piece.mix * np.array([1.0, -1.0]), "out_of_phase")


def mono_as_stereo(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    one = piece.mix[:, :1] if rng.uniform() < 0.5 else piece.mix.mean(axis=1, keepdims=True)
    both = np.repeat(one, 2, axis=1)
    if rng.uniform() < 0.3:
        return _plain(piece, folder, stem, rng, both, "mono_as_stereo")  # dither differs
    path = folder / _name(stem, piece, "24")
    soundfile.write(path, both, piece.rate_hz, subtype="PCM_24")
    return Planted([path], path, ("mono_as_stereo",))


def depth_unused(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """16 bits in 24 or in floating point, as they are or at another level."""
    dither = rng.uniform(-0.5, 0.5, piece.mix.shape) + rng.uniform(-0.5, 0.5, piece.mix.shape)
    audio = np.clip(np.rint(piece.mix * 2**15 + dither), -(2**15), 2**15 - 1) / 2**15
    if rng.uniform() < 0.4:
        audio = audio * 10 ** (-rng.uniform(0.5, 6.0) / 20)
    depth = str(rng.choice(["24", "float"]))
    path = folder / _name(stem, piece, depth)
    soundfile.write(path, audio, piece.rate_hz, subtype={"24": "PCM_24", "float": "FLOAT"}[depth])
    return Planted([path], path, ("depth_unused",))


def no_dither(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    fade = np.linspace(1.0, 0.0, round(rng.uniform(2.0, 4.0) * piece.rate_hz))[:, None] ** 2
    audio = piece.mix.copy()
    audio[-len(fade) :] *= fade
    return _plain(piece, folder, stem, rng, audio, "no_dither", depth="plain16")


def upsampled(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """Brought up to 48, 88.2, 96 or 192 kHz; what sounds reaches half its own rate, as recordings do."""
    audio = piece.mix + 3e-4 * rng.standard_normal(piece.mix.shape)
    old = piece.rate_hz
    if old == 48_000 and rng.uniform() < 0.5:
        old = 44_100
        audio = soxr.resample(audio, piece.rate_hz, old, quality="VHQ")
    new = int(rng.choice([48_000, 96_000, 88_200, 192_000])) if old == 44_100 else int(rng.choice([96_000, 192_000]))
    audio = soxr.resample(audio, old, new, quality=str(rng.choice(["HQ", "VHQ"])))
    audio *= np.minimum(1.0, np.minimum(np.arange(len(audio)), np.arange(len(audio))[::-1]) / 2000.0)[:, None]
    path = folder / f"{stem}_Main_{new // 1000}k24.wav"
    return Planted([write(path, 0.9 * audio, new, "24", rng)], path, ("upsampled",))


def lossy_source(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """Coded as MP3 of 112 to 192 kbit/s, decoded, and written as if it were none; what has no top loses nothing."""
    top = signal.sosfilt(signal.butter(4, (13_500, 16_000), "band", fs=piece.rate_hz, output="sos"), piece.mix, axis=0)
    if piece.coded or np.sqrt(np.mean(top**2)) < 10 ** (-80 / 20):
        raise LookupError(f"{piece.name}: nothing up there, or cut off before")
    file = io.BytesIO()
    how = {"format": "MP3", "subtype": "MPEG_LAYER_III", "bitrate_mode": "CONSTANT"}
    soundfile.write(file, piece.mix, piece.rate_hz, compression_level=float(rng.uniform(0.4, 0.7)), **how)
    file.seek(0)
    audio, _ = soundfile.read(file, always_2d=True)
    ends = np.minimum(1.0, np.minimum(np.arange(len(audio)), np.arange(len(audio))[::-1]) / 500.0)[:, None]
    # Coding raises peaks.
    audio *= ends * 0.9 / max(0.9, np.abs(audio).max())
    depth = str(rng.choice(["16", "24", "float"]))
    return _plain(piece, folder, stem, rng, audio, "lossy_source", "true_peak_high", depth=depth)


def rate_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    other = 96_000 if piece.rate_hz == 48_000 else 48_000
    return _plain(piece, folder, stem, rng, piece.mix, "rate_differs", expected=Expected(rate_hz=other))


def depth_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    depth, agreed = [("16", "24"), ("24", "float"), ("float", "24")][int(rng.integers(3))]
    wanted = Expected(depth=agreed)  # type: ignore[arg-type]
    return _plain(piece, folder, stem, rng, piece.mix, "depth_differs", depth=depth, expected=wanted)


def loudness_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    from pyebur128 import get_loudness_global_multiple, R128State, MeasurementMode  # noqa: F401, I001

    state = R128State(2, piece.rate_hz, MeasurementMode.MODE_I)
    state.add_frames(np.ascontiguousarray(piece.mix.ravel()), len(piece.mix))
    from pyebur128 import get_loudness_global

    agreed = get_loudness_global(state) + float(rng.choice([-1, 1])) * rng.uniform(0.8, 5.0)
    return _plain(piece, folder, stem, rng, piece.mix, "loudness_differs", expected=Expected(loudness_lufs=agreed))


def _of_mix(piece: Piece, rng: np.random.Generator) -> tuple[str, np.ndarray]:
    """Return the whole mix, or the louder of its first two parts."""
    if rng.uniform() < 0.4:
        return "Main", piece.mix.copy()
    name = max(list(piece.parts)[:2], key=lambda one: np.sum(np.square(piece.parts[one])))
    return name, piece.parts[name].copy()


def _beside(
    piece: Piece, folder: Path, stem: str, rng: np.random.Generator, kind: str, audio: np.ndarray, *also: str
) -> Planted:
    mix = write(folder / f"{stem}_Mix.wav", piece.mix, piece.rate_hz, "24", rng)
    path = write(folder / f"{stem}_Part.wav", audio, piece.rate_hz, "24", rng)
    return Planted([path], path, (kind, *also), against=mix)


def start_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """One frame to two seconds late, at the right length."""
    _, audio = _of_mix(piece, rng)
    late = round(10 ** rng.uniform(0.0, 4.9))
    return _beside(
        piece, folder, stem, rng, "start_differs", np.concatenate((np.zeros((late, 2)), audio))[: len(audio)], "cut_end"
    )


def length_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    _, audio = _of_mix(piece, rng)
    frames = round(10 ** rng.uniform(0.0, 4.0))
    if rng.uniform() < 0.5:
        return _beside(piece, folder, stem, rng, "length_differs", np.concatenate((audio, np.zeros((frames, 2)))))
    return _beside(piece, folder, stem, rng, "length_differs", audio[:-frames], "cut_end")


def polarity(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    return _beside(piece, folder, stem, rng, "polarity", -_of_mix(piece, rng)[1])


def sides_changed(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """Left and right changed over, of the part with the most in its sides or of the mix."""
    wide = max(piece.parts.values(), key=lambda one: np.sum(np.square(one[:, 0] - one[:, 1])))
    audio = piece.mix if rng.uniform() < 0.5 else wide
    return _beside(piece, folder, stem, rng, "sides_changed", audio[:, ::-1])


def gain_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    audio = piece.mix * 10 ** (float(rng.choice([-1, 1])) * rng.uniform(0.1, 3.0) / 20)
    return _beside(piece, folder, stem, rng, "gain_differs", 0.9 * audio / max(1.0, np.abs(audio).max()))


def _set(
    piece: Piece,
    folder: Path,
    stem: str,
    rng: np.random.Generator,
    changed: dict[str, np.ndarray],
    kind: str,
    name: str,
) -> Planted:
    mix = write(folder / f"{stem}_Mix.wav", piece.mix, piece.rate_hz, "24", rng)
    files = {
        part: write(folder / f"{stem}_{part}.wav", audio, piece.rate_hz, "24", rng) for part, audio in changed.items()
    }
    faulty = files.get(name)
    return Planted(list(files.values()), faulty, (kind, "cut_end"), against=mix, expected=Expected(parts=True))


def _some_part(piece: Piece, rng: np.random.Generator) -> str:
    return str(rng.choice(list(piece.parts)))


def part_late(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    name = _some_part(piece, rng)
    late = round(10 ** rng.uniform(0.0, 3.5)) * int(rng.choice([-1, 1]))
    parts = {**piece.parts, name: np.roll(piece.parts[name], late, axis=0)}
    return _set(piece, folder, stem, rng, parts, "start_differs", name)


def part_turned_over(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    name = _some_part(piece, rng)
    return _set(piece, folder, stem, rng, {**piece.parts, name: -piece.parts[name]}, "polarity", name)


def part_at_another_level(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    name = _some_part(piece, rng)
    gain = 10 ** (-rng.uniform(0.1, 6.0) / 20)
    return _set(piece, folder, stem, rng, {**piece.parts, name: gain * piece.parts[name]}, "gain_differs", name)


def part_missing(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    name = _some_part(piece, rng)
    parts = {part: audio for part, audio in piece.parts.items() if part != name}
    return _set(piece, folder, stem, rng, parts, "does_not_add_up", "")


def name_unsafe(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    odd = ["{} mix.wav", "{}ä.wav", "{}#2.wav", "{}.final.wav", "{}" + "x" * 60 + ".wav", "{} .wav", "{}&co.wav"]
    path = folder / str(rng.choice(odd)).format(stem)
    return Planted([write(path, piece.mix, piece.rate_hz, "24", rng)], path, ("name_unsafe",))


def name_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """A name that says another rate or depth, or stands beside the template."""
    way = int(rng.integers(3))
    if way < 2:
        path = folder / f"{stem}_Main_{['96k24', f'{piece.rate_hz // 1000}k16'][way]}.wav"
        return Planted([write(path, piece.mix, piece.rate_hz, "24", rng)], path, ("name_differs",))
    path = folder / f"{stem}-Main.wav"
    wanted = Expected(template="{title}_{print}_{rate}{depth}")
    return Planted([write(path, piece.mix, piece.rate_hz, "24", rng)], path, ("name_differs",), expected=wanted)


def tags_missing(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    return _plain(piece, folder, stem, rng, piece.mix, "tags_missing", expected=Expected(title=TITLE))


def tag_differs(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """Another song's title, another artist, or the tags of another print."""
    right = Tags(title=TITLE, artist=ARTIST, kind="main", print="Main")
    wrong = [
        Tags(title="Another Invention", artist=ARTIST, kind="main", print="Main"),
        Tags(title=TITLE, artist="Somebody", kind="main", print="Main"),
        Tags(title=TITLE, artist=ARTIST, kind="instrumental", print="Instrumental"),
    ][int(rng.integers(3))]
    assert wrong != right
    path = tagged(folder / _name(stem, piece, "24"), piece.mix, piece.rate_hz, wrong)
    return Planted([path], path, ("tag_differs",), expected=Expected(title=TITLE, artist=ARTIST))


PLANTS: tuple[Plant, ...] = (
    *(truncated, over_full_scale, true_peak_high, clipped, clipped_lowered, dc_offset, silent_file, near_silent),
    *(silence_before, silence_after, dropout, one_side_dead, click, cut_start, cut_end, word_left, out_of_phase),
    *(mono_as_stereo, depth_unused, no_dither, upsampled, lossy_source, rate_differs, depth_differs, loudness_differs),
    *(start_differs, length_differs, polarity, sides_changed, gain_differs),
    *(part_late, part_turned_over, part_at_another_level, part_missing),
    *(name_unsafe, name_differs, tags_missing, tag_differs),
)
