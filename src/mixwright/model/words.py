# SPDX-License-Identifier: Apache-2.0
"""The fixed words of documents and settings; `docs/words.md` explains each."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, get_args

Place = Literal["lead", "support", "bed"]
Role = Literal[
    "kick",
    "snare",
    "toms",
    "hats",
    "cymbals",
    "overheads",
    "room",
    "drums",
    "percussion",
    "loop",
    "bass",
    "acoustic guitar",
    "electric guitar",
    "keys",
    "organ",
    "pad",
    "synth",
    "strings",
    "brass",
    "lead vocal",
    "double",
    "backing vocal",
    "effects",
    "return",
    "other",
    "unknown",
]
MoveKind = Literal[
    "level",
    "pan",
    "band_limit",
    "shape",
    "tilt",
    "dip",
    "duck",
    "width",
    "send",
    "even_out",
    "colour",
]
MoveState = Literal["proposed", "accepted", "refused"]
Severity = Literal["note", "look", "unusable"]
FaultKind = Literal[
    "unreadable",
    "needs_decoder",
    "over_limit",
    "empty",
    "truncated",
    "header_differs",
    "silent",
    "non_finite",
    "out_of_range",
    "clipped",
    "dc_offset",
    "mono_as_stereo",
    "one_side_dead",
    "length_differs",
    "rate_differs",
    "exact_duplicate",
    "starts_late",
    "start_unknown",
    "polarity",
    "too_many_channels",
    "depth_unused",
    "upsampled",
    "lossy_source",
    "no_dither",
    "over_full_scale",
    "true_peak_high",
    "near_silent",
    "silence_before",
    "silence_after",
    "dropout",
    "click",
    "cut_start",
    "cut_end",
    "word_left",
    "out_of_phase",
    "start_differs",
    "gain_differs",
    "sides_changed",
    "name_unsafe",
    "name_differs",
    "tags_missing",
    "tag_differs",
    "depth_differs",
    "loudness_differs",
]
PrintKind = Literal[
    "main",
    "vocal_up",
    "vocal_down",
    "instrumental",
    "a_cappella",
    "tv",
    "clean",
    "performance",
    "for_mastering",
    "stem",
    "layer",
    "dry",
    "wet",
    "group",
    "return",
    "preview",
]
#: Bits of a sample, or 32-bit float.
Depth = Literal["16", "24", "float"]
#: Whether voices that are left out of a print still move what listens to them.
Keys = Literal["held", "released"]
#: Rates that prints may have, in Hz; that of the song is allowed beside them.
PRINT_RATES_HZ = (44100, 48000, 88200, 96000, 176400, 192000)
#: What artist or engineer ask for beyond what is held against tolerances anyhow.
Ask = Literal["dark backing voices"]
FileUse = Literal["track", "reference", "rough", "mix_print"]

#: The kinds of faults as they are said.
FAULT_WORDS: dict[FaultKind, str] = {
    "unreadable": "unreadable",
    "needs_decoder": "needs a decoder",
    "over_limit": "over a limit",
    "empty": "empty",
    "truncated": "cut short",
    "header_differs": "header and file differ",
    "silent": "silent",
    "non_finite": "damaged samples",
    "out_of_range": "damaged samples",
    "clipped": "clipped",
    "dc_offset": "DC offset",
    "mono_as_stereo": "mono as stereo",
    "one_side_dead": "one side dead",
    "length_differs": "another length",
    "rate_differs": "another sample rate",
    "exact_duplicate": "a duplicate",
    "starts_late": "may start late",
    "start_unknown": "start not certain",
    "polarity": "polarity",
    "too_many_channels": "too many channels",
    "depth_unused": "bits that are not used",
    "upsampled": "brought up from a lower rate",
    "lossy_source": "from a coded file",
    "no_dither": "not dithered",
    "over_full_scale": "over full scale",
    "true_peak_high": "true peak too high",
    "near_silent": "next to silent",
    "silence_before": "silence before it starts",
    "silence_after": "silence after it ends",
    "dropout": "a dropout",
    "click": "a click",
    "cut_start": "cut at its start",
    "cut_end": "cut at its end",
    "word_left": "a muted word is left",
    "out_of_phase": "its sides cancel",
    "start_differs": "another start",
    "gain_differs": "another level",
    "sides_changed": "left and right changed over",
    "name_unsafe": "a name that is not portable",
    "name_differs": "a name that says otherwise",
    "tags_missing": "without tags",
    "tag_differs": "a tag that says otherwise",
    "depth_differs": "another depth",
    "loudness_differs": "another loudness",
}

PLACES: tuple[Place, ...] = get_args(Place)
ROLES: tuple[Role, ...] = get_args(Role)
DRUM_ROLES: frozenset[Role] = frozenset({"kick", "snare", "toms", "hats", "cymbals", "overheads", "room", "drums"})
VOICE_ROLES: frozenset[Role] = frozenset({"lead vocal", "double", "backing vocal"})


def first_place(places: Iterable[Place]) -> Place:
    """Return the place of a layer whose tracks have these: the one that asks for most; bed where there are none."""
    return min(places, key=PLACES.index, default="bed")
