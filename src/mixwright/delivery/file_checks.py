# SPDX-License-Identifier: Apache-2.0
"""What is wrong with the sound of one finished file, in the words of faults; thresholds lie with what finds them."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixwright.delivery.finished.beside_mix import BesideMix
from mixwright.delivery.finished.clicks import clicks
from mixwright.delivery.finished.coded_top import coded_top_hz
from mixwright.delivery.finished.dropouts import dropouts
from mixwright.delivery.finished.edges import Edges, edges
from mixwright.delivery.finished.flat_tops import flat_tops
from mixwright.delivery.finished.mono_sum import LASTING_S, LOW, LOW_HZ, SECOND, WHOLE, mono_sum
from mixwright.delivery.finished.muted_words import LeftWord
from mixwright.delivery.finished.old_rate import old_rate_hz
from mixwright.delivery.finished.window_powers import window_powers
from mixwright.delivery.finished.word_length import word_length
from mixwright.delivery.print_set import PARTS
from mixwright.errors import count
from mixwright.jobs.progress import Cancel
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.expected import Expected
from mixwright.model.levels import Levels
from mixwright.model.words import FaultKind, Severity
from mixwright.units import ratio_from_db

#: Kinds of prints that are a part of the mix: they may be silent for long, mono, or hold one side alone.
PART_KINDS = frozenset({*PARTS, "a_cappella"})
#: A file that starts or ends above this has been cut (common practice, no source).
CUT_LIMIT_DBFS = -50.0
#: More silence before or after the sound is asked about (common practice, no source).
LONGEST_BEFORE_S, LONGEST_AFTER_S = 3.0, 10.0
#: A finished file below this is no mix (common practice, no source).
NEAR_SILENT_LUFS = -60.0
#: Loudness that was agreed holds within this (R 128 asks for 0.5 LU of programmes whose level is fixed afterwards).
LOUDNESS_LU = 0.5
#: The whole mix at another level: told from here on.
_GAIN_DB = 0.05
#: Flat tops that are clipping: one of four frames and more, or three within the file (see intake: runs of 3 a second).
_FLAT_TOPS = 3
#: Rounding of the figures shown; a peak is over only beyond it.
_ROUNDING_DB = 0.0005
_SHOWN = 3


def sound_faults(
    audio: npt.NDArray[np.float32],
    info: AudioInfo,
    levels: Levels,
    *,
    part: bool = False,
    true_peak_dbtp: float = 0.0,
    cancel: Cancel | None = None,
) -> tuple[Fault, ...]:
    """Return what is wrong with the sound of a decoded file that is not silent, beside what damages any recording.

    Parameters
    ----------
    audio : (frames, channels) array
        May be mapped; it is read several times, in blocks.
    levels : Levels
        Of the whole file.
    part : bool
        Whether it is only a part of a mix.
    true_peak_dbtp : float
        The highest that is allowed.
    """
    rate_hz = info.sample_rate_hz
    peak = float(ratio_from_db(levels.sample_peak_dbfs if levels.sample_peak_dbfs is not None else -200.0))
    ends = edges(audio, rate_hz, peak, cancel)
    faults = [
        *_peaks(levels, true_peak_dbtp),
        *_flat_tops(audio, info, cancel),
        *_word_length(audio, info, cancel),
        *_bandwidth(audio, info, cancel, part=part),
        *_ends(ends, len(audio), rate_hz, part=part),
        *_breaks(audio, ends, rate_hz, cancel),
    ]
    if info.channels == 2 and not part:
        faults += _sides(audio, rate_hz, cancel)
    if not part and (levels.integrated_lufs is None or levels.integrated_lufs < NEAR_SILENT_LUFS):
        told = "too quiet or too short for a loudness" if levels.integrated_lufs is None else "below any mix"
        faults.append(_fault("near_silent", f"{told}; export it again"))
    return tuple(faults)


def _fault(kind: FaultKind, detail: str, at_s: float | None = None) -> Fault:
    return Fault(kind=kind, severity="look", detail=detail, at_s=at_s)


def _peaks(levels: Levels, limit_dbtp: float) -> list[Fault]:
    faults = []
    sample_db, true_db = levels.sample_peak_dbfs, levels.true_peak_dbtp
    if sample_db is not None and sample_db > _ROUNDING_DB:
        detail = f"sample peak {sample_db:.2f} dBFS; lower it by {_up(sample_db)} dB before it becomes 16 or 24 bit"
        faults.append(_fault("over_full_scale", detail))
    if true_db is not None and true_db > limit_dbtp + _ROUNDING_DB:
        detail = f"true peak {true_db:.2f} dBTP; lower it by {_up(true_db - limit_dbtp)} dB"
        faults.append(_fault("true_peak_high", detail))
    return faults


def _up(decibels: float) -> str:
    """Return decibels rounded up to a tenth, so that following the advice is enough."""
    return f"{math.ceil(decibels * 10.0 - 1e-9) / 10.0:.1f}"


def _flat_tops(audio: npt.NDArray[np.float32], info: AudioInfo, cancel: Cancel | None) -> list[Fault]:
    bits = min(24, info.bits or 24)
    found = flat_tops(audio, info.sample_rate_hz, 2.0 ** (1 - bits), cancel)
    if found.first_frame is None or found.count < _FLAT_TOPS:
        return []
    detail = f"{count(found.count, 'flat top')}, the longest {found.longest} samples; export it before what clips"
    return [_fault("clipped", detail, found.first_frame / info.sample_rate_hz)]


def _word_length(audio: npt.NDArray[np.float32], info: AudioInfo, cancel: Cancel | None) -> list[Fault]:
    """Return unused bits, and rounding without dither; compressed files have no word length."""
    if _is_compressed(info):
        return []
    floating = info.encoding.startswith("float")
    found = word_length(audio, info.sample_rate_hz, cancel)
    faults = []
    used = found.bits if found.grid_bits is None else found.grid_bits
    promised = "floating-point samples" if floating else f"{info.bits} bits a sample"
    coarse = found.grid_bits is not None or (used is not None and used <= 16)
    if coarse and (floating or (info.bits or 0) > 16):
        where = "" if found.grid_bits is None else " at another level"
        detail = f"{promised}, of which {used} are used{where}: a shorter word was brought up; "
        faults.append(_fault("depth_unused", detail + "export it from the mix itself"))
    if info.bits is not None and info.bits <= 16 and found.rounded_plainly:
        detail = f"quiet parts are rounded to {info.bits} bits without dither; export it with dither"
        faults.append(_fault("no_dither", detail))
    return faults


def _is_compressed(info: AudioInfo) -> bool:
    return info.bits is None and not info.encoding.startswith("float")


def _bandwidth(audio: npt.NDArray[np.float32], info: AudioInfo, cancel: Cancel | None, *, part: bool) -> list[Fault]:
    """Return a rate that was brought up, or a top that a coder cut off; compressed files are cut off by their own.

    A part may be made of what came at another rate, or coded: that is good to know, and no fault of the part.
    """
    if _is_compressed(info):
        return []
    rate_hz = info.sample_rate_hz
    powers = window_powers(audio, cancel)
    severity: Severity = "note" if part else "look"
    if (old := old_rate_hz(powers, rate_hz)) is not None:
        detail = f"{rate_hz / 1000:g} kHz, but nothing above {old / 2000:g} kHz: brought up from {old / 1000:g} kHz"
        advice = "" if part else f"; deliver it at {old / 1000:g} kHz"
        return [Fault(kind="upsampled", severity=severity, detail=detail + advice)]
    if (top_hz := coded_top_hz(powers, rate_hz)) is not None:
        detail = f"it ends at {top_hz / 1000:.1f} kHz as if cut: it may come from a coded file (MP3 and the like)"
        advice = "" if part else "; export it from the mix itself"
        return [Fault(kind="lossy_source", severity=severity, detail=detail + advice)]
    return []


def _ends(ends: Edges, frames: int, rate_hz: int, *, part: bool) -> list[Fault]:
    faults = []
    before_s, after_s = ends.sounds_from / rate_hz, (frames - ends.sounds_to) / rate_hz
    if before_s > LONGEST_BEFORE_S and not part:
        faults.append(_fault("silence_before", f"{before_s:.2f} s of silence before it starts; cut it", 0.0))
    if after_s > LONGEST_AFTER_S and not part:
        detail = f"{after_s:.2f} s of silence after it ends; cut it"
        faults.append(_fault("silence_after", detail, ends.sounds_to / rate_hz))
    if ends.first_dbfs is not None and ends.first_dbfs > CUT_LIMIT_DBFS:
        detail = f"first sample at {ends.first_dbfs:.1f} dBFS: it may be cut; fade it, or export it whole"
        faults.append(_fault("cut_start", detail, 0.0))
    if ends.tail_dbfs is not None and ends.tail_dbfs > CUT_LIMIT_DBFS:
        detail = f"last 10 ms at {ends.tail_dbfs:.1f} dBFS: it may be cut; fade it, or export it whole"
        faults.append(_fault("cut_end", detail, frames / rate_hz))
    elif ends.breaks_off:
        detail = "the sound breaks off, silence follows: its tail is cut; export it whole"
        faults.append(_fault("cut_end", detail, ends.end_frame / rate_hz))
    return faults


def _breaks(audio: npt.NDArray[np.float32], ends: Edges, rate_hz: int, cancel: Cancel | None) -> list[Fault]:
    """Return dropouts, clicks that are none of their edges, and clicks where sound begins after silence."""
    faults = []
    lost = dropouts(audio, rate_hz, cancel)
    if lost:
        first = lost[0]
        whole = len({one.channel for one in lost}) == audio.shape[1]
        side = "" if whole else f" in the {_side(first.channel)}"
        places = count(len({one.frame for one in lost}), "dropout")
        detail = f"{places}{side}, the first {1000.0 * first.frames / rate_hz:.1f} ms; export it again"
        faults.append(_fault("dropout", detail, first.frame / rate_hz))
    near = round(0.002 * rate_hz)
    taken = [frame for one in lost for frame in (one.frame, one.frame + one.frames)]
    found = [one for one in clicks(audio, rate_hz, cancel) if all(abs(one.frame - frame) > near for frame in taken)]
    at_start = [one for one in found if ends.first_frame > 0 and abs(one.frame - ends.first_frame) <= near]
    inside = [
        one
        for one in found
        if one.frame > ends.first_frame + near and one.frame < min(ends.end_frame, len(audio)) - near
    ]
    if at_start:
        detail = "it begins in the midst of sound, with a click; fade it, or export it whole"
        faults.append(_fault("cut_start", detail, ends.first_frame / rate_hz))
    if inside:
        at_s = sorted({round(one.frame / rate_hz, 2) for one in inside})
        more = f" and {len(at_s) - _SHOWN} more" if len(at_s) > _SHOWN else ""
        places = ", ".join(f"{place:.2f} s" for place in at_s[:_SHOWN])
        detail = f"{count(len(at_s), 'click')} at {places}{more}; cross-fade the cut"
        faults.append(_fault("click", detail, inside[0].frame / rate_hz))
    return faults


def _side(channel: int) -> str:
    return ("left", "right")[channel] if channel < 2 else f"channel {channel + 1}"


def _sides(audio: npt.NDArray[np.float32], rate_hz: int, cancel: Cancel | None) -> list[Fault]:
    found = mono_sum(audio, rate_hz, cancel)
    if found.whole is not None and found.whole < WHOLE:
        lost = "all" if found.loss_db is None else f"{-found.loss_db:.1f} dB"
        detail = f"left and right move against one another (correlation {found.whole:.2f}); mono loses {lost}; "
        return [_fault("out_of_phase", detail + "turn one side over")]
    if found.low is not None and found.low < LOW:
        detail = f"below {LOW_HZ:.0f} Hz left and right move against one another (correlation {found.low:.2f}); "
        return [_fault("out_of_phase", detail + "turn over one side of what lies there")]
    if found.lasting_from_s is not None:
        detail = f"left and right move against one another (correlation below {SECOND:g}) for {LASTING_S} s and more; "
        return [_fault("out_of_phase", detail + "turn over one side of what sounds there", found.lasting_from_s)]
    return []


def expected_faults(info: AudioInfo, levels: Levels | None, expected: Expected) -> tuple[Fault, ...]:
    """Return where a file is not what was agreed: rate, depth, channels, length, loudness."""
    faults = []
    rate_hz = info.sample_rate_hz
    if expected.rate_hz is not None and expected.rate_hz != rate_hz:
        detail = f"{rate_hz / 1000:g} kHz, agreed are {expected.rate_hz / 1000:g}"
        faults.append(_fault("rate_differs", detail))
    depth = "float" if info.encoding.startswith("float") else str(info.bits or info.encoding)
    if expected.depth is not None and expected.depth != depth:
        faults.append(_fault("depth_differs", f"{_depth(depth)}, agreed are {_depth(expected.depth)}"))
    if expected.channels not in (None, info.channels):
        faults.append(_fault("depth_differs", f"{count(info.channels, 'channel')}, agreed are {expected.channels}"))
    if expected.length_s is not None and abs(info.frames / rate_hz - expected.length_s) * rate_hz > 1.0:
        detail = f"{info.frames / rate_hz:.3f} s, agreed are {expected.length_s:.3f}"
        faults.append(_fault("length_differs", detail))
    loudness = None if levels is None else levels.integrated_lufs
    if expected.loudness_lufs is not None and loudness is not None:
        off = loudness - expected.loudness_lufs
        if abs(off) > LOUDNESS_LU:
            detail = f"{loudness:.1f} LUFS, agreed are {expected.loudness_lufs:.1f}; change it by {-off:+.1f} dB"
            faults.append(_fault("loudness_differs", detail))
    return tuple(faults)


def _depth(depth: str) -> str:
    return "floating point" if depth == "float" else f"{depth} bits" if depth.isdigit() else depth


def beside_faults(found: BesideMix, frames: int, mix_frames: int, rate_hz: int) -> tuple[Fault, ...]:
    """Return where a file does not stand as the mix does: length, start, polarity, sides, level of the whole."""
    faults = []
    if frames != mix_frames:
        word = "longer" if frames > mix_frames else "shorter"
        detail = f"{count(abs(frames - mix_frames), 'sample')} {word} than the mix"
        faults.append(_fault("length_differs", detail, min(frames, mix_frames) / rate_hz))
    if found.late_frames:
        word = "late" if found.late_frames > 0 else "early"
        frames_off = abs(found.late_frames)
        detail = (
            f"{count(frames_off, 'sample')} ({1000.0 * frames_off / rate_hz:.2f} ms) {word} beside the mix; move it"
        )
        faults.append(_fault("start_differs", detail))
    if found.turned_over:
        faults.append(_fault("polarity", "it moves against the mix; turn it over"))
    if found.sides_changed_over:
        faults.append(_fault("sides_changed", "left is where the mix has right; change them over"))
    gain_db = found.gain_db
    if gain_db is not None and abs(gain_db) > _GAIN_DB and not found.turned_over:
        word = "above" if gain_db > 0.0 else "below"
        detail = f"{abs(gain_db):.2f} dB {word} the mix; change it by {-gain_db:+.2f} dB"
        faults.append(_fault("gain_differs", detail))
    return tuple(faults)


def word_faults(left: Sequence[LeftWord]) -> tuple[Fault, ...]:
    """Return what is left of muted words."""
    return tuple(
        _fault(
            "word_left",
            f"the voice is heard {-word.level_db:.0f} dB down in what is muted from {word.start_s:.2f} to "
            f"{word.end_s:.2f} s; mute it in every track that holds it",
            word.start_s,
        )
        for word in left
    )
