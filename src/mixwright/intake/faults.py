# SPDX-License-Identifier: Apache-2.0
"""Faults of received files, from what listening found and from what the other files are like.

Thresholds without a source beside them are common practice.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from mixwright.errors import InputError, LimitError, NoDecoderError, SettingError, count, printable
from mixwright.intake.listening import Clipping, Listening
from mixwright.model.audio import AudioInfo, Fault
from mixwright.model.words import FaultKind, Severity
from mixwright.units import db_from_power, db_from_ratio

SILENT_DBFS = -90.0
DC_NOTE_DBFS = -60.0
DC_LOOK_DBFS = -40.0
MONO_IDENTICAL_DB = -90.0
MONO_WITH_NOISE_DB = -60.0
DEAD_SIDE_DB = 40.0
#: Runs above which a clean file should be asked for.
CLIPPED_BADLY = 10
#: A file shorter than the others by this, and sounding from its first frames, was not printed from the start.
_CUT_S = 0.5
_AT_ONCE_S = 0.05
#: Of a song; files of higher rates are brought to it.
HIGHEST_SONG_RATE_HZ = 384_000
#: A header that promises more is not believed: a week.
_NO_TRACK_S = 7 * 86400.0


def problem_kind(error: InputError | SettingError) -> FaultKind:
    """Return the fault of a file that an error kept from being read."""
    if isinstance(error, NoDecoderError):
        return "needs_decoder"
    return "over_limit" if isinstance(error, LimitError) else "unreadable"


def header_faults(info: AudioInfo) -> tuple[Fault, ...]:
    """Return where the header of a file and what it holds do not go together."""
    faults: list[Fault] = []
    rate_hz, held_s = info.sample_rate_hz, info.frames / info.sample_rate_hz
    if info.header_frames is not None and info.header_frames != info.frames:
        promised_s = info.header_frames / rate_hz
        promised = f"{promised_s:.2f} s" if promised_s < _NO_TRACK_S else "more than any file holds"
        if info.header_frames > info.frames:
            detail = f"its header promises {promised}, the file holds {held_s:.2f} s: the end is missing"
            faults.append(Fault(kind="truncated", severity="look", detail=detail, at_s=held_s))
        else:
            detail = f"its header promises {promised}, the file holds {held_s:.2f} s: all of it is read"
            faults.append(Fault(kind="header_differs", severity="look", detail=detail, at_s=promised_s))
    if info.disagreements:
        faults.append(Fault(kind="header_differs", severity="look", detail="; ".join(info.disagreements)))
    if not info.start_known:
        detail = f"{info.container} does not say how much silence its encoder put in front, often 20 to 50 ms: "
        faults.append(Fault(kind="start_unknown", severity="look", detail=detail + "it may start late; ask for WAV"))
    return tuple(faults)


def channel_words(channels: int, speakers: Sequence[str]) -> str:
    """Return how many channels a file has, and which speaker each is for, or its name, as far as its header says."""
    told = count(channels, "channel")
    if not speakers:
        return told
    speakers = [printable(name) for name in speakers]
    if len(speakers) < channels:
        return f"{told} ({', '.join(speakers)}; {channels - len(speakers)} without a name)"
    if "front left" not in speakers:  # names that a person gave, not a layout
        return f"{told} ({', '.join(speakers)})"
    low, top = speakers.count("low frequency"), sum(name.startswith("top ") for name in speakers)
    layout = f"{channels - low - top}.{low}" + (f".{top}" if top else "")
    return f"{told} ({layout}: {', '.join(speakers)})"


def own_faults(heard: Listening, speakers: Sequence[str] = ()) -> tuple[Fault, ...]:
    """Return the faults of one file, seen alone; `speakers` are those that its header names."""
    if heard.frames == 0:
        return (Fault(kind="empty", severity="unusable", detail="the file holds no audio"),)
    if heard.channels > 2:
        detail = f"{channel_words(heard.channels, speakers)}; only mono and stereo are mixed"
        return (Fault(kind="too_many_channels", severity="unusable", detail=detail),)
    if heard.not_finite:
        at_s = (heard.not_finite_frame or 0) / heard.rate_hz
        detail = f"{count(heard.not_finite, 'sample')} without a value (NaN or infinite): a fault of the export"
        return (Fault(kind="non_finite", severity="unusable", detail=detail, at_s=at_s),)
    if heard.out_of_range:
        at_s = (heard.out_of_range_frame or 0) / heard.rate_hz
        detail = f"{count(heard.out_of_range, 'sample')} above +60 dBFS, up to {db_from_ratio(heard.peak):+.0f} dBFS: "
        detail += "no recording holds such, the file is damaged"
        return (Fault(kind="out_of_range", severity="unusable", detail=detail, at_s=at_s),)
    peak_dbfs = db_from_ratio(heard.peak)
    if peak_dbfs is None or peak_dbfs < SILENT_DBFS or heard.constant:
        detail = "it holds one constant value" if heard.constant else f"nothing above {SILENT_DBFS:.0f} dBFS"
        return (Fault(kind="silent", severity="unusable", detail=detail),)
    found = (_clipped(heard.clipping, heard.rate_hz), _dc_offset(heard.dc), _sides(heard))
    return tuple(fault for fault in found if fault is not None)


def _clipped(clipping: Clipping, rate_hz: int) -> Fault | None:
    if clipping.first_frame is None or not (clipping.longest >= 4 or clipping.dense):
        return None
    what = "flat run" if clipping.runs == 1 else "flat runs"
    detail = f"{clipping.runs} {what} at the peaks, the longest {clipping.longest} samples"
    return Fault(kind="clipped", severity="look", detail=detail, at_s=clipping.first_frame / rate_hz)


def clipped_badly(heard: Listening) -> bool:
    """Return whether so much is clipped that a clean file should be asked for."""
    return heard.clipping.runs > CLIPPED_BADLY


def _dc_offset(dc: Sequence[float]) -> Fault | None:
    dbfs = db_from_ratio(max((abs(value) for value in dc), default=0.0))
    if dbfs is None or dbfs <= DC_NOTE_DBFS:
        return None
    severity: Severity = "look" if dbfs > DC_LOOK_DBFS else "note"
    return Fault(
        kind="dc_offset", severity=severity, detail=f"a constant offset of {dbfs:.1f} dBFS, which a high-pass removes"
    )


def _sides(heard: Listening) -> Fault | None:
    if heard.channels != 2:
        return None
    left, right, mid, side = heard.powers
    if min(left, right) == 0.0 or abs((db_from_power(left / right)) or 0.0) > DEAD_SIDE_DB:
        name = "left" if left < right else "right"
        return Fault(kind="one_side_dead", severity="look", detail=f"the {name} side holds next to nothing")
    if heard.sides_equal:
        return Fault(kind="mono_as_stereo", severity="note", detail="both sides are equal: a mono file as stereo")
    side_db = db_from_power(side / mid) if mid > 0.0 else None
    if side_db is not None and side_db < MONO_WITH_NOISE_DB:
        what = "equal" if side_db < MONO_IDENTICAL_DB else "equal but for noise"
        detail = f"both sides are {what} (side {-side_db:.0f} dB below mid): a mono file as stereo"
        return Fault(kind="mono_as_stereo", severity="note", detail=detail)
    return None


def common_rate_hz(heard: Sequence[Listening]) -> int:
    """Return the rate of most track time; of equal ones the higher, and none that a song cannot have."""
    seconds: Counter[int] = Counter()
    for one in heard:
        seconds[one.rate_hz] += round(1000.0 * one.frames / one.rate_hz)
    return min(HIGHEST_SONG_RATE_HZ, max(seconds, key=lambda rate: (seconds[rate], rate)))


def common_length_s(heard: Sequence[Listening]) -> float | None:
    """Return the length that most files share (to a millisecond), or None if no two files share one."""
    lengths = Counter(round(one.frames / one.rate_hz, 3) for one in heard)
    length, files = max(lengths.items(), key=lambda item: (item[1], item[0]))
    return length if files > 1 or len(heard) == 1 else None


def stamp_faults(infos: Sequence[AudioInfo | None]) -> list[tuple[Fault, ...]]:
    """Return, for every file, whether its time stamp puts its start after that of the earliest file with one.

    Stamps further apart than the longest file lasts tell of sessions, not of places in a song: they say nothing here.
    """
    stamps_s = [
        None if info is None or info.time_stamp_frames is None else info.time_stamp_frames / info.sample_rate_hz
        for info in infos
    ]
    given_s = [stamp_s for stamp_s in stamps_s if stamp_s is not None]
    longest_s = max((info.frames / info.sample_rate_hz for info in infos if info is not None), default=0.0)
    first_s = min(given_s, default=0.0)
    if max(given_s, default=0.0) - first_s >= longest_s:
        return [()] * len(infos)
    faults: list[tuple[Fault, ...]] = []
    for info, stamp_s in zip(infos, stamps_s, strict=True):
        late_s = 0.0 if stamp_s is None else stamp_s - first_s
        # One frame more or less is rounding between rates, not a difference.
        if info is None or late_s <= 1.5 / info.sample_rate_hz:
            faults.append(())
            continue
        detail = f"its time stamp says that it starts {late_s:.3f} s after the earliest file"
        faults.append((Fault(kind="starts_late", severity="look", detail=detail),))
    return faults


def delivery_faults(
    heard: Sequence[Listening | None], names: Sequence[str], rate_hz: int, telling: Sequence[float] = ()
) -> list[tuple[Fault, ...]]:
    """Return, for every file, the faults that show only beside the other files.

    Parameters
    ----------
    heard : sequence of Listening or None
        In the order of the delivery; None for files that are left out.
    names : sequence of str
        What the files are called in the detail.
    rate_hz : int
        Rate of the song.
    telling : sequence of float, optional
        How much the name of each tells: of equal files the most telling one stays, else the first.
    """
    known = [one for one in heard if one is not None]
    length_s = common_length_s(known) if known else None
    longest_s = max((one.frames / one.rate_hz for one in known), default=0.0)
    kept = _kept_of_equal(heard, telling or [0.0] * len(heard))
    result: list[tuple[Fault, ...]] = []
    for i, one in enumerate(heard):
        faults: list[Fault] = []
        if one is not None:
            faults += _length(one, length_s, longest_s)
            if one.rate_hz != rate_hz:
                detail = f"{one.rate_hz / 1000:g} kHz, brought to the song's {rate_hz / 1000:g} kHz"
                faults.append(Fault(kind="rate_differs", severity="note", detail=detail))
            if one.content_sha256 and kept[one.content_sha256] != i:
                detail = f"the same audio as {names[kept[one.content_sha256]]}"
                faults.append(Fault(kind="exact_duplicate", severity="look", detail=detail))
        result.append(tuple(faults))
    return result


def _kept_of_equal(heard: Sequence[Listening | None], telling: Sequence[float]) -> dict[str, int]:
    """Return, for every content, which file stays."""
    kept: dict[str, int] = {}
    for i, one in enumerate(heard):
        if one is not None and telling[i] > telling[kept.setdefault(one.content_sha256, i)]:
            kept[one.content_sha256] = i
    return kept


def _length(one: Listening, length_s: float | None, longest_s: float) -> list[Fault]:
    own_s = one.frames / one.rate_hz
    common_s = longest_s if length_s is None else length_s
    # One frame more or less is rounding between rates, not a difference.
    if abs(own_s - common_s) <= 1.5 / one.rate_hz + 0.0005:
        return []
    word = "shorter" if own_s < common_s else "longer"
    others = "the longest" if length_s is None else "most others"
    detail = f"{own_s:.2f} s, {abs(own_s - common_s):.2f} s {word} than {others}"
    faults = [Fault(kind="length_differs", severity="note", detail=detail)]
    begins_s = (one.sounds_from_frame or 0) / one.rate_hz
    if one.sounds_from_frame is not None and begins_s < _AT_ONCE_S and own_s < common_s - _CUT_S:
        detail = "shorter than the song and sounding from its first frame: perhaps not printed from the song's start"
        faults.append(Fault(kind="starts_late", severity="look", detail=detail))
    return faults
