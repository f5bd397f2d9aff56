# SPDX-License-Identifier: Apache-2.0
"""A mix beside its references in sentences and rows of text: how far, where, in words; inside, silence."""

from __future__ import annotations

import shlex

from mixwright.errors import count, listed, with_and
from mixwright.model.comparison import ComparedReference, ComparedRow, CompareResult
from mixwright.model.profile import FIGURES, Unit
from mixwright.model.results import ReferencesResult
from mixwright.model.song import changed
from mixwright.reference.stretches import Stretch, stretches
from mixwright.report.figures import capital, hertz, number
from mixwright.report.rows import rows, wrapped
from mixwright.report.spectrum import nominal

#: Of a section, so many figures are told in the text.
_MOST_TOLD = 6
_UNITS: dict[Unit, str] = {"db": "dB", "lu": "LU", "db_oct": "dB", "percent": "%", "ratio": ""}
#: What a figure is called, and what a mix is above and below the interval.
FIGURE_WORDS: dict[str, tuple[str, str, str]] = {
    "low_end_db": ("low end beside the middle", "fuller", "leaner"),
    "low_octaves_db": ("low end by octave", "more", "less"),
    "top_end_db": ("top end beside the middle", "brighter", "duller"),
    "slope_db_oct": ("slope per octave", "brighter", "darker"),
    "third_octaves_db": ("level by third of an octave", "more", "less"),
    "side_to_mid_db": ("side beside middle", "wider", "narrower"),
    "side_to_mid_octaves_db": ("side beside middle by octave", "wider", "narrower"),
    "correlation": ("correlation", "closer to mono", "further apart"),
    "mono_loss_db": ("loss in mono", "more lost", "less lost"),
    "plr_db": ("peaks above loudness", "more open", "more limited"),
    "psr_db": ("peaks, by the moment", "more open", "more limited"),
    "loudness_range_lu": ("loudness range", "more", "less"),
    "crest_octaves_db": ("crest by octave", "more open", "more compressed"),
    "attack_db": ("jump at hits", "harder", "softer"),
    "percussion_percent": ("share of what strikes", "more", "less"),
    "filled_time_percent": ("middle filled in time", "fuller", "sparser"),
    "filled_bands_percent": ("middle filled in frequency", "fuller", "thinner"),
    "contrast_loudness_lu": ("contrast of sections: loudness", "more", "less"),
    "contrast_width_db": ("contrast of sections: width", "more", "less"),
    "contrast_brightness_db": ("contrast of sections: brightness", "more", "less"),
    "contrast_filled_percent": ("contrast of sections: density", "more", "less"),
    "lead_re_mix_lu": ("lead beside the whole", "louder", "softer"),
}
ATTRIBUTE_WORDS: dict[str, str] = {
    "low_end": "low end",
    "top_end": "top end",
    "spectrum": "spectrum",
    "width": "width",
    "dynamics": "dynamics",
    "density": "density",
    "contrast": "contrast",
    "lead": "lead",
}


def lead_sentence(result: CompareResult) -> str:
    """Return how much lies inside, and what the furthest outside."""
    used = [one for one in result.references if any(row.references for row in result.rows) and one.gain_db is not None]
    if not result.rows:
        asked = f" for {with_and([ATTRIBUTE_WORDS.get(a, a) for a in result.only])}" if result.only else ""
        if all(one.gain_db is None for one in result.references):
            return f"No reference can be used{asked}: see what is said of each."
        return f"Nothing to compare{asked}: see what each reference is used for."
    beside = f"Beside {count(len(used), 'reference')} at equal loudness, "
    whole = [row for row in result.rows if not row.section] or list(result.rows)
    outside = [row for row in whole if row.outside]
    if not outside:
        parts = sorted({row.section for row in result.rows if row.outside and row.section}, key=result.sections.index)
        more = f"; some figures of {with_and(parts)} do not" if parts else ""
        return f"{beside}all {len(whole)} figures of the whole lie inside what they span{more}."
    kinds = list(dict.fromkeys(one.furthest.attribute for one in stretches(outside)))
    inside = f"{len(whole) - len(outside)} of {len(whole)} figures of the whole lie inside what they span"
    named = with_and([ATTRIBUTE_WORDS[kind] for kind in kinds])
    return f"{beside}{inside}; outside, first the furthest of what is heard: {named}."


def attribute_sentences(result: CompareResult) -> list[str]:
    """Return for each attribute its first figure outside, of the whole, in the order of :func:`stretches`."""
    whole = stretches([row for row in result.rows if not row.section])
    first: dict[str, Stretch] = {}
    for one in whole:
        first.setdefault(one.furthest.attribute, one)
    return [f"{capital(ATTRIBUTE_WORDS[one.furthest.attribute])}: {stretch_words(one)}." for one in first.values()]


def stretch_words(one: Stretch, *, named: bool = True) -> str:
    """Return how far outside, which way and where: ``1.2 to 1.8 dB more at 2.5 to 4 kHz (level by third ...)``.

    `named`: with what the figure is called.
    """
    row = one.furthest
    title, above, below = FIGURE_WORDS[row.figure]
    band = f" at {band_words_of(one)}" if one.low_hz is not None else ""
    section = f", {row.section}" if row.section else ""
    unit = "points" if row.unit == "percent" else _UNITS[row.unit]
    ends = dict.fromkeys(number(far, 2 if row.unit == "ratio" else 1) for far in (one.least, one.most))
    far = f"{' to '.join(ends)} {unit}".rstrip()
    return f"{far} {above if row.outside > 0 else below}{band}{section}" + (f" ({title})" if named else "")


def band_words_of(one: Stretch) -> str:
    """Return a range of bands by the middles of its first and last thirds or octaves, as they are called."""
    figure = FIGURES[one.furthest.figure]
    if one.low_hz is None or one.high_hz is None:
        return ""
    half = {"thirds": 10.0**0.05, "octaves": 10.0**0.15}.get(figure.bands, 1.0)
    low, high = (nominal(hz) for hz in (one.low_hz * half, one.high_hz / half))
    first, last = hertz(low), hertz(high)
    if low == high:
        return first
    return f"{first.partition(' ')[0]} to {last}" if first[-3:] == last[-3:] else f"{first} to {last}"


def amount(row: ComparedRow, value: float, *, sign: bool = False) -> str:
    """Return a value of a row with its unit."""
    unit = _UNITS[row.unit]
    return f"{number(value, 2 if row.unit == 'ratio' else 1, sign=sign)} {unit}".rstrip()


def span_words(row: ComparedRow) -> str:
    """Return the interval of a row."""
    digits = 2 if row.unit == "ratio" else 1
    return f"{number(row.low, digits)} to {amount(row, row.high)}"


def outside_words(row: ComparedRow) -> str:
    """Return how far outside a row lies, or nothing."""
    if not row.outside:
        return ""
    _, above, below = FIGURE_WORDS[row.figure]
    return f"{amount(row, row.outside, sign=True)}, {above if row.outside > 0 else below}"


def reference_sentence(one: ComparedReference) -> str:
    """Return how a reference was used, and what is wrong with it."""
    words = with_and([ATTRIBUTE_WORDS.get(word, word) for word in one.use_for]) or "everything"
    level = f", turned by {number(one.gain_db, sign=True)} dB to match" if one.gain_db is not None else ""
    weak = f"; {'; '.join(one.weak)}" if one.weak else ""
    return f"{one.id} for {words}{level}{weak}"


def compare_text(result: CompareResult) -> list[str]:
    """Return the sentence, what lies outside by attribute, the figures of the whole, then what differs by section."""
    lines = wrapped(lead_sentence(result))
    lines += [line for told in attribute_sentences(result) for line in wrapped(told, "  ", "    ")]
    whole = [row for row in result.rows if not row.section]
    body = [
        (FIGURE_WORDS[row.figure][0], amount(row, row.value), span_words(row), outside_words(row))
        for row in whole
        if row.low_hz is None
    ]
    lines += ["", "Whole:", *rows(("", "mix", "references span", ""), body, right="12")] if body else []
    banded: dict[str, list[str]] = {}
    for one in stretches(whole):
        if one.low_hz is not None:
            banded.setdefault(one.furthest.figure, []).append(stretch_words(one, named=False))
    if banded:
        lines += ["", "By band, outside, first what is heard:"]
        told = (f"{capital(FIGURE_WORDS[figure][0])}: {'; '.join(words)}." for figure, words in banded.items())
        lines += [line for words in told for line in wrapped(words, "  ", "    ")]
    lines += _section_lines(result)
    lines += ["", "References, as they were used:"]
    lines += [line for one in result.references for line in wrapped(f"{reference_sentence(one)}.", "  ", "    ")]
    lines += [line for note in result.notes for line in wrapped(note)]
    if result.excerpts:
        lines += ["", f"To listen to, start low: {count(len(result.excerpts), 'file')}, from {result.excerpts[0].file}"]
    return lines


def references_text(result: ReferencesResult, song: str) -> list[str]:
    """Return what each reference stands for."""
    lines = [f"{count(len(result.references), 'reference')}:" if result.references else "The song has no reference."]
    for one in result.references:
        words = with_and([ATTRIBUTE_WORDS.get(word, word) for word in one.use_for]) or "everything"
        voice = f"; its voice alone: {one.voice}" if one.voice else ""
        parts = "".join(f"; {part} beside {name}" for name, part in one.beside.items())
        lines += wrapped(f"{one.id}: for {words}{voice}{parts} ({one.file})", "  ", "    ")
    return [*lines, "", f"Next: mixwright compare {shlex.quote(song)}"]


def _section_lines(result: CompareResult) -> list[str]:
    lines: list[str] = []
    quiet, alone = [], []
    for name in result.sections:
        alone += [] if any(name in one.beside for one in result.references) else [name]
        told = stretches([row for row in result.rows if row.section == name])
        if not told:
            quiet += [name] if any(row.section == name for row in result.rows) else []
            continue
        beside = with_and([f"{one.beside[name][0]} of {one.id}" for one in result.references if name in one.beside])
        lines += ["", *wrapped(f"{capital(name)}, beside {beside}:")]
        best: dict[str, Stretch] = {}
        for one in told:
            best.setdefault(one.furthest.figure, one)
        words = [stretch_words(one._replace(furthest=changed(one.furthest, section=""))) for one in best.values()]
        lines += [line for said in words[:_MOST_TOLD] for line in wrapped(f"{said}.", "  ", "    ")]
        if len(words) > _MOST_TOLD:
            lines += [f"  and {len(words) - _MOST_TOLD} more, less far or less heard."]
    lines += ["", f"Inside in everything: {listed(quiet)}."] if quiet else []
    lines += (
        ["", *wrapped(f"Not compared, for nothing in the references is like it: {listed(alone)}.")] if alone else []
    )
    return lines
