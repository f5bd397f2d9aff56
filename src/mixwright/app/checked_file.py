# SPDX-License-Identifier: Apache-2.0
"""Everything that is checked of one finished file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from mixwright.delivery.check_lines import (
    AGREED_CHECKS,
    MIX_CHECKS,
    NAME_CHECKS,
    PLAYED_CHECKS,
    SOUND_CHECKS,
    STEREO_CHECKS,
    line,
    lines_of,
)
from mixwright.delivery.file_checks import PART_KINDS, beside_faults, expected_faults, sound_faults, word_faults
from mixwright.delivery.finished.beside_mix import BesideMix, beside_mix
from mixwright.delivery.finished.muted_words import left_words
from mixwright.delivery.name_checks import kind_of_name, name_faults, tag_faults
from mixwright.errors import InputError, SettingError, count, printable
from mixwright.intake.faults import channel_words, header_faults, own_faults
from mixwright.intake.listening import listen
from mixwright.jobs.progress import Cancel, blocks
from mixwright.meter.measure import Meter
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.expected import Expected
from mixwright.model.levels import Levels
from mixwright.model.results import CheckedFile, CheckLine
from mixwright.model.song import changed
from mixwright.model.tags import Tags


@dataclass(frozen=True, eq=False)
class Decoded:
    """A file that could be read: its header, and its sound (frames, channels), mapped."""

    path: Path
    info: AudioInfo
    audio: np.ndarray


@dataclass(frozen=True, eq=False)
class HeldTo:
    """What files are held to: what was agreed, the mix, the voice and where it is muted, whether others have tags."""

    expected: Expected
    mix: Decoded | None
    voice: Decoded | None
    muted_s: tuple[tuple[float, float], ...]
    others_tagged: bool


def checked_file(file: Decoded, tags: Tags | None, held: HeldTo, cancel: Cancel) -> CheckedFile:
    """Return what was found in a decoded file, and every check of it.

    Raises
    ------
    SettingError
        when the voice that it is held to is at another rate
    """
    info, audio = file.info, file.audio
    kind = held.expected.kind or (tags.kind if tags is not None else "") or kind_of_name(file.path.name)
    damage = _damage(audio, info, cancel)
    levels, refused = None, ""
    if not {fault.kind for fault in damage} & {"empty", "non_finite"}:
        try:
            levels = _levels(audio, info.sample_rate_hz, cancel)
        except (InputError, SettingError) as error:
            refused = error.message
    beside = _beside(file, held.mix, cancel)
    part = kind in PART_KINDS or (beside is not None and not beside.whole) or held.expected.parts
    kinds_of_damage = {fault.kind for fault in damage}
    sounds = levels is not None and levels.sample_peak_dbfs is not None and "silent" not in kinds_of_damage
    found = list(damage)
    if levels is not None and sounds:
        found = _with_sound(damage, file, levels, held, cancel, part=part)
    beside_mix_faults = _beside_faults(file, held.mix, beside)
    agreed = expected_faults(info, levels, held.expected)
    left = _left(file, held, cancel)
    named = (*name_faults(file.path.name, info, held.expected), *_tagged(tags, file.path.name, held))
    lines = [
        line("can be read", True, _form(info)),
        _complete(info, len(audio)),
        line("header agrees with the file", not info.disagreements, "; ".join(info.disagreements) or "they agree"),
        *lines_of(SOUND_CHECKS, found),
        *(lines_of(STEREO_CHECKS, found) if info.channels == 2 else ()),
    ]
    if refused:
        lines.append(line("can be measured", False, refused))
    if levels is not None and sounds:
        lines += [*_full_scale(levels, found, held.expected.true_peak_dbtp), *lines_of(PLAYED_CHECKS, found)]
    if held.mix is not None:
        lines += lines_of(MIX_CHECKS, beside_mix_faults)
    if held.expected != Expected():
        lines += lines_of(AGREED_CHECKS, agreed)
    if held.voice is not None:
        lines += lines_of(((frozenset({"word_left"}), "no muted word is left", "none is heard"),), left)
    return CheckedFile(
        file=str(file.path),
        container=info.container,
        encoding=info.encoding,
        sample_rate_hz=info.sample_rate_hz,
        channels=info.channels,
        duration_s=len(audio) / info.sample_rate_hz,
        levels=levels,
        faults=(*header_faults(info), *found, *beside_mix_faults, *agreed, *left, *named),
        checks=(*lines, *lines_of(NAME_CHECKS, named)),
        kind=kind,
    )


def _with_sound(
    damage: Sequence[Fault], file: Decoded, levels: Levels, held: HeldTo, cancel: Cancel, *, part: bool
) -> list[Fault]:
    """Return what damages the file and what is wrong with its sound, as both weigh in a whole mix or in a part."""
    found = list(damage)
    if any(fault.kind == "one_side_dead" for fault in damage):  # what is left there lies on few codes, and looks flat
        found = [fault for fault in found if fault.kind != "clipped"]
    limit = held.expected.true_peak_dbtp
    own = sound_faults(file.audio, file.info, levels, part=part, true_peak_dbtp=limit, cancel=cancel)
    clipped = any(fault.kind == "clipped" for fault in found)
    found += [fault for fault in own if not (clipped and fault.kind == "clipped")]
    return found if part else [_weighed(fault) for fault in found]


def _damage(audio: np.ndarray, info: AudioInfo, cancel: Cancel) -> tuple[Fault, ...]:
    """Return what damages any recording; of a file of more than two channels each with its channel: one may rest."""
    if info.channels <= 2 or not len(audio):
        return own_faults(listen(audio, info.sample_rate_hz, cancel))
    found: list[Fault] = []
    resting: list[Fault] = []
    for channel in range(info.channels):
        name = printable(info.speakers[channel]) if channel < len(info.speakers) else f"channel {channel + 1}"
        for fault in own_faults(listen(audio[:, channel : channel + 1], info.sample_rate_hz, cancel)):
            (resting if fault.kind == "silent" else found).append(changed(fault, detail=f"{name}: {fault.detail}"))
    return (*found, *(resting[:1] if len(resting) == info.channels else ()))


def _weighed(fault: Fault) -> Fault:
    """Return a fault as it weighs in a whole mix: there a mono file in two channels is asked about."""
    if fault.kind != "mono_as_stereo":
        return fault
    return changed(
        fault, severity="look", detail=f"{fault.detail}; export it in stereo, or as one channel if it is meant"
    )


def _levels(audio: np.ndarray, rate_hz: int, cancel: Cancel) -> Levels:
    meter = Meter(rate_hz, audio.shape[1])
    for block in blocks(audio, rate_hz, cancel):
        meter.push(block)
    return meter.result()


def _form(info: AudioInfo) -> str:
    """Return what kind of file it is, and what its channels are for where that is not plain."""
    encoding = f"{info.bits} bit" if info.bits is not None else info.encoding
    channels = f", {channel_words(info.channels, info.speakers)}" if info.channels > 2 else ""
    return f"{info.container}, {encoding}{channels}"


def _complete(info: AudioInfo, frames: int) -> CheckLine:
    if info.header_frames is None:
        return line("complete", True, f"{frames / info.sample_rate_hz:.2f} s, as its header says")
    promised, there = (f"{count(many, 'sample')} a channel" for many in (info.header_frames, frames))
    return line("complete", False, f"its header promises {promised}, the file holds {there}; export it again")


def _full_scale(levels: Levels, faults: Sequence[Fault], limit_dbtp: float) -> tuple[CheckLine, ...]:
    """Return whether samples and true peak stay within full scale."""
    sample, true = levels.sample_peak_dbfs, levels.true_peak_dbtp
    lines = lines_of(
        ((frozenset({"over_full_scale"}), "samples within full scale", f"sample peak {sample:.2f} dBFS"),), faults
    )
    if true is None:
        return lines
    name, told = f"true peak at most {limit_dbtp:g} dBTP", f"true peak {true:.2f} dBTP"
    return (*lines, *lines_of(((frozenset({"true_peak_high"}), name, told),), faults))


def _beside(file: Decoded, mix: Decoded | None, cancel: Cancel) -> BesideMix | None:
    """Return how a file stands beside the mix, where the two can be compared."""
    if mix is None or file.info.sample_rate_hz != mix.info.sample_rate_hz or not len(file.audio) or not len(mix.audio):
        return None
    if max(file.info.channels, mix.info.channels) > 2 or not np.isfinite(np.sum(file.audio, dtype=np.float64)):
        return None
    return beside_mix(mix.audio, file.audio, mix.info.sample_rate_hz, cancel)


def _beside_faults(file: Decoded, mix: Decoded | None, beside: BesideMix | None) -> tuple[Fault, ...]:
    if mix is None:
        return ()
    if file.info.sample_rate_hz != mix.info.sample_rate_hz:
        rates = (file.info.sample_rate_hz / 1000, mix.info.sample_rate_hz / 1000)
        detail = f"{rates[0]:g} kHz, the mix has {rates[1]:g}; deliver both at one rate"
        return (Fault(kind="rate_differs", severity="look", detail=detail),)
    if beside is None:
        return ()
    return beside_faults(beside, len(file.audio), len(mix.audio), mix.info.sample_rate_hz)


def _left(file: Decoded, held: HeldTo, cancel: Cancel) -> tuple[Fault, ...]:
    voice = held.voice
    if voice is None or not len(file.audio):
        return ()
    if voice.info.sample_rate_hz != file.info.sample_rate_hz:
        raise SettingError(
            f"the voice is at {voice.info.sample_rate_hz} Hz, the file at {file.info.sample_rate_hz}",
            where=printable(file.path),
            hint="give a voice at the rate of the file",
        )
    return word_faults(left_words(file.audio, voice.audio, file.info.sample_rate_hz, held.muted_s, cancel))


def _tagged(tags: Tags | None, name: str, held: HeldTo) -> tuple[Fault, ...]:
    return tag_faults(tags, name, held.expected, others_tagged=held.others_tagged)
