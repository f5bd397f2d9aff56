# SPDX-License-Identifier: Apache-2.0
"""Layers as they are heard, in sentences and aligned rows: the fader equivalent first."""

from __future__ import annotations

from mixwright.errors import listed
from mixwright.model.hearing import HeardLayer, HearingResult, Range, TakenBy
from mixwright.model.ranges import OTHERS
from mixwright.report.figures import count, number, with_unit
from mixwright.report.rows import rows, wrapped

#: Said to be inaudible where even the cued reading leaves less, in sone.
INAUDIBLE_SONE = 0.005
#: Where the readings lie further apart, what is left depends on how well the ear can pull the layer out.
DEPENDS_PHON = 5.0
#: Who takes a loss: so many are named; two that differ by less than this part of the first are about equal.
_NAMED, _ALIKE = 2, 0.15
#: Above this, who takes what is a rough guess.
_CORRELATED = 0.5
#: From here on the usual caution is told (common practice; noise at work rules begin at 80 to 85 dB(A) for a day).
_LOUD_DB_SPL = 85.0

FADER_EQUIVALENT = "by how many dB a layer would have to rise in this mix to be heard as loud as it is alone"


def heard_lines(hearing: HearingResult | None) -> list[str]:
    """Return the layers as they are heard, those that would have to rise most first."""
    if hearing is None or not hearing.layers:
        return []
    names = layer_names(hearing)
    told = f"To rise: {FADER_EQUIVALENT}, by the cued reading and by the strict one."
    lines = ["", f"Layers as heard {circumstances(hearing)}.", *wrapped(told)]
    body = [_row(layer, names) for layer in by_equivalent(hearing)]
    lines += rows(
        ("layer", "place", "to rise", "strict", "alone", "in the mix", "most of the loss to"), body, right="234"
    )
    return lines + [line for note in heard_notes(hearing) for line in wrapped(note)]


def heard_notes(hearing: HearingResult) -> list[str]:
    """Return what is to be known beside the figures, one sentence each."""
    known = [layer for layer in hearing.layers if layer.share is not None]
    told = []
    apart = sum(map(depends, known))
    if apart:
        them = "it" if apart == 1 else "them"
        where = f"all {apart} layers" if apart == len(known) > 1 else f"{apart} of {count(len(known), 'layer')}"
        told.append(
            f"For {where} the two readings lie more than {DEPENDS_PHON:g} phon apart: how much is heard depends on how "
            f"well the ear can pull {them} out."
        )
    if hearing.listening_level_db_spl >= _LOUD_DB_SPL:
        told.append("To listen that loud for long harms hearing: work quieter, and rest your ears.")
    return told


def heard_sentence(hearing: HearingResult) -> str:
    """Return how the lead is heard; of a song without one, the layer that would have to rise most."""
    known = [layer for layer in by_equivalent(hearing) if layer.share is not None]
    if not known:
        return "No layer is heard."
    lead = next((layer for layer in known if layer.place == "lead"), None)
    layer = lead or known[0]
    return f"{layer.name}, {'the lead' if lead else 'the most covered layer'}: {equivalent_words(layer)}."


def equivalent_words(layer: HeardLayer) -> str:
    """Return the fader equivalent of a layer in words."""
    if inaudible(layer):
        return "inaudible in the mix"
    found = layer.fader_equivalent_db
    if found is None or found.cued is None:
        return "no fader makes it as loud in the mix as it is alone"
    strict = f"{number(found.strict)} by the strict reading" if found.strict is not None else "beyond any fader, strict"
    return f"it would have to rise by {with_unit(found.cued, 'dB')} to be heard as loud as alone ({strict})"


def circumstances(hearing: HearingResult) -> str:
    """Return at which level, and how, it is heard."""
    how = "on headphones" if hearing.listening == "headphones" else "from loudspeakers"
    return f"at {number(hearing.listening_level_db_spl, 0)} dB SPL {how}"


def by_equivalent(hearing: HearingResult) -> list[HeardLayer]:
    """Return the layers, those that would have to rise most first, those without figures last."""

    def order(layer: HeardLayer) -> tuple[bool, float]:
        found = layer.fader_equivalent_db
        return layer.share is None, -(found.cued if found is not None and found.cued is not None else 100.0)

    return sorted(hearing.layers, key=order)


def layer_names(hearing: HearingResult) -> dict[str, str]:
    """Return the names of the layers by id, of those that are left out, too."""
    return {**hearing.other_layers, **{layer.id: layer.name for layer in hearing.layers}}


def place_word(layer: HeardLayer) -> str:
    """Return what a layer is for; of the return of a send, that it is one."""
    return layer.place if layer.tracks else "return"


def inaudible(layer: HeardLayer) -> bool:
    """Tell whether both readings agree that nothing of a layer is heard; the cued one never leaves less."""
    left = layer.in_mix_sone
    return left is not None and left.cued is not None and left.cued < INAUDIBLE_SONE


def depends(layer: HeardLayer) -> bool:
    """Tell whether the readings of a layer lie far apart."""
    phon = layer.in_mix_phon
    if phon is None or phon.cued is None or phon.strict is None:
        return False
    return phon.cued - phon.strict > DEPENDS_PHON


def left_words(layer: HeardLayer) -> str:
    """Return what the mix leaves of a layer: ``55 to 58 phon``."""
    return "inaudible" if inaudible(layer) else range_words(layer.in_mix_phon, "phon")


def range_words(found: Range | None, unit: str) -> str:
    """Return a figure from the strict to the cued reading, whole: ``55 to 58 phon``."""
    if found is None:
        return "-"
    low, high = number(found.strict, 0), number(found.cued, 0)
    return f"{high} {unit}" if low == high else f"{low} to {high} {unit}"


def takers_words(taken: tuple[TakenBy, ...], names: dict[str, str], correlated: float = 0.0) -> str:
    """Return who takes most of a loss: ``keys 40 %, pad 25 %``."""
    most = [one for one in taken if one.track != OTHERS][:_NAMED]
    # Of one that is not told of itself, as with `--track`, only the id is known.
    told = listed([f"{names.get(one.track, one.track)} {100 * one.fraction:.0f} %" for one in most], _NAMED)
    if len(most) > 1 and most[1].fraction > (1.0 - _ALIKE) * most[0].fraction:
        told += " (about equal)"
    return told + (" (a rough guess)" if told and correlated > _CORRELATED else "")


def _row(layer: HeardLayer, names: dict[str, str]) -> tuple[str, ...]:
    if layer.share is None:
        return layer.name, place_word(layer), "-", "-", "-", "-", layer.why
    found = layer.fader_equivalent_db or Range(cued=None, strict=None)
    figures = with_unit(found.cued, "dB"), number(found.strict), with_unit(layer.alone_phon, "phon", 0)
    taken = takers_words(layer.taken_by, names, layer.correlated)
    return layer.name, place_word(layer), *figures, left_words(layer), taken
