# SPDX-License-Identifier: Apache-2.0
"""What harms a song, drawn by number and scaled until its victim is buried. See recovery.py."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from planting import RATE_HZ
from recovery_songs import Excerpt
from scipy import fft
from scipy.signal import freqz_sos, sosfilt

from mixwright.core.filters import design_band
from mixwright.hearing.components import components
from mixwright.hearing.fader import Sketch, loudness
from mixwright.hearing.heard import ACTIVE_SONE, ALONE
from mixwright.hearing.kernels import FRAME, MARGIN
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.places import WORKING_DB_SPL, calibration_db
from mixwright.hearing.spectrum import RunningSpectrum
from mixwright.ledger.findings import cued_db
from mixwright.ledger.rise import Rise
from mixwright.ledger.tolerances import WHOLE
from mixwright.model.filters import EqBand
from mixwright.model.words import Role

KINDS = ("band boost", "low end", "too loud", "wet return", "lead too low", "same tilt")
#: A victim falls by at least so many phon, by no more than so many dB of harm.
LEAST_PHON, MOST_DB = 4.0, 18.0
FADE_S = 0.02
#: A section is sketched by so many moments; a layer needs so many in which it sounds; FEW are asked who is
#: hurt most. Draws of a trial, at most.
MOMENTS, FEW, LEAST_MOMENTS, DRAWS = 160, 48, 12, 60
LOW_ROLES: tuple[Role, ...] = ("pad", "synth", "strings", "organ", "keys")


@dataclass(frozen=True)
class Harm:
    """What was done to which layers in the section, and whom it hurts; `hz`, `q`: of the filter, else 0."""

    number: int
    kind: str
    song: str
    section: str
    harmed: tuple[str, ...]
    victim: str
    amount_db: float
    hz: float = 0.0
    q: float = 0.0

    def __str__(self) -> str:
        where = f" at {self.hz:.0f} Hz" + (f", Q {self.q:.1f}" if self.kind == "band boost" else "") if self.hz else ""
        by = " and ".join(self.harmed)
        return (
            f"{self.number:3} {self.kind}: {by} by {self.amount_db:.1f} dB{where} in {self.song}; victim {self.victim}"
        )


def harmed(excerpt: Excerpt, harm: Harm, *, throughout: bool = False) -> Excerpt:
    """Return the excerpt with the harm done to it, faded over 20 ms at the edges of the section; or all of it."""
    cut = slice(0, len(excerpt.whole)) if throughout else excerpt.cut
    frames = cut.stop - cut.start
    edge = (np.minimum(np.arange(frames), np.arange(frames)[::-1]) + 0.5) / (FADE_S * RATE_HZ)
    fade = np.clip(edge, 0.0, 1.0)[:, None]
    changed = {}
    for id_ in harm.harmed:
        audio = np.array(excerpt.layers[id_])
        through = _through(harm, audio[: cut.stop])[cut]
        audio[cut] += (fade * (through - audio[cut])).astype(np.float32)
        changed[id_] = audio
    return excerpt.with_layers(changed)


def _through(harm: Harm, audio: np.ndarray) -> np.ndarray:
    gain, rows = _gain_and_filter(harm)
    return gain * (audio if rows is None else np.asarray(sosfilt(rows, audio, axis=0)))


def gains_db(harm: Harm, hz: np.ndarray) -> np.ndarray:
    """Return what the harm does to its layers at some frequencies."""
    gain, rows = _gain_and_filter(harm)
    found = np.full(len(hz), 20.0 * np.log10(gain))
    return found if rows is None else found + 20.0 * np.log10(np.abs(freqz_sos(rows, hz, fs=RATE_HZ)[1]))


def _gain_and_filter(harm: Harm) -> tuple[float, np.ndarray | None]:
    amount_db = harm.amount_db
    if harm.kind in ("too loud", "wet return", "lead too low"):
        return 10.0 ** ((-amount_db if harm.kind == "lead too low" else amount_db) / 20.0), None
    band = {
        "band boost": EqBand(kind="bell", hz=harm.hz, gain_db=amount_db, q=max(harm.q, 0.1)),
        "low end": EqBand(kind="low_shelf", hz=harm.hz, gain_db=amount_db, q=0.7071),
        "same tilt": EqBand(kind="tilt", hz=harm.hz, gain_db=-amount_db),
    }[harm.kind]
    sections = design_band(band, RATE_HZ)
    return 1.0, np.concatenate([sections[:, :3], np.ones((len(sections), 1)), sections[:, 3:]], axis=1)


class Sketched:
    """The layers of an excerpt at moments of its section, by which a harm is scaled before anything is heard anew.

    Powers are those of `hearing.spectrum` at MOMENTS frames of 4 ms, spread evenly; filters add to them, what layers
    have in common is kept as far as gains tell.
    """

    def __init__(self, excerpt: Excerpt) -> None:
        self.excerpt = excerpt
        self._spectrum = RunningSpectrum(calibration_db(excerpt.lufs(), WORKING_DB_SPL, "headphones"))
        frames = (excerpt.cut.stop - excerpt.cut.start) // FRAME // 4 * 4
        self._frames = np.unique(np.linspace(0, frames - 1, MOMENTS).astype(int))
        self._span = excerpt.cut.start - MARGIN, excerpt.cut.start + frames * FRAME + MARGIN
        self._hz, weights = _k_weights()
        mix = _spectrum_of(excerpt.whole)
        self._whole = float(np.sum(weights * _banded(mix, mix)))
        inside = {id_: _spectrum_of(_only(audio, excerpt.cut)) for id_, audio in excerpt.layers.items()}
        self._common = {id_: weights * _banded(one, mix) for id_, one in inside.items()}
        self._energy = {id_: weights * _banded(one, one) for id_, one in inside.items()}
        self._sounds: dict[str, np.ndarray] = {}
        self.mix = self.power(excerpt.whole)
        self.layers = {id_: self.power(audio) for id_, audio in excerpt.layers.items()}
        self.rest = {id_: self.power(excerpt.whole - excerpt.layers[id_]) for id_ in excerpt.judged}

    def power(self, audio: np.ndarray) -> np.ndarray:
        """Return the powers of audio at the moments, float32 (2, MOMENTS, 134)."""
        start, end = self._span
        before, after = max(0, -start), max(0, end - len(audio))
        part = np.pad(audio[max(0, start) : end], ((before, after), (0, 0)))
        sides = (np.ascontiguousarray(part[:, k], dtype=np.float32) for k in range(2))
        return np.stack([self._spectrum.power(self._spectrum.bins(one))[self._frames] for one in sides])

    def shift_db(self, harm: Harm) -> float:
        """Return by how much the mix must be turned up to be as loud as it was, about: phases of filters left out."""
        gain = 10.0 ** (gains_db(harm, self._hz) / 20.0) - 1.0
        more = sum(2.0 * gain * self._common[id_] + gain**2 * self._energy[id_] for id_ in harm.harmed)
        return float(-10.0 * np.log10(max(self._whole + float(np.sum(more)), 1e-12) / self._whole))

    def sketch(self, layer: str, changed: Mapping[str, np.ndarray], shift_db: float = 0.0) -> Sketch:
        """Return a layer at the moments in which it sounds; `changed`: powers of some layers, `shift_db`: of all."""
        own = changed.get(layer, self.layers[layer])
        rest = self.rest[layer] + sum(
            (power - self.layers[id_] for id_, power in changed.items() if id_ != layer), np.zeros(1, np.float32)
        )
        # What a layer has in common with the rest grows with its amplitude.
        common = self.mix - self.layers[layer] - self.rest[layer]
        common = common * np.sqrt(np.maximum(own, 1e-12) / np.maximum(self.layers[layer], 1e-12))
        mix = np.maximum(own + np.maximum(rest, 0.0) + common, 0.0)
        powers = (np.maximum(one, 0.0).astype(np.float32) for one in (own, rest, mix))
        found = Sketch(*powers, at_s=self._frames * FRAME / RATE_HZ, seconds=np.ones(len(self._frames)))
        found = found.louder(shift_db)
        if layer not in self._sounds:
            self._sounds[layer] = loudness(found)[ALONE] > ACTIVE_SONE
        sounds = self._sounds[layer]
        parts = (one[:, sounds] for one in (found.layer, found.rest, found.mix))
        return Sketch(*parts, at_s=found.at_s[sounds], seconds=found.seconds[sounds])

    def phon(self, sketch: Sketch) -> float:
        """Return the cued loudness of a sketched layer in the mix."""
        if len(sketch) < LEAST_MOMENTS:
            return 0.0
        alone, _, cued = sketch.mean(loudness(sketch).astype(np.float64))
        return float(phon_from_sone(min(alone, cued)))


def _k_weights() -> tuple[np.ndarray, np.ndarray]:
    """Return the middles of bands, twelve an octave, and what K-weighting makes of power there (ITU-R BS.1770-5)."""
    hz = 20.0 * 2.0 ** ((np.arange(120) + 0.5) / 12.0)
    shelf = np.array([1.53512485958697, -2.69169618940638, 1.19839281085285, 1.0, -1.69065929318241, 0.73248077421585])
    pass_ = np.array([1.0, -2.0, 1.0, 1.0, -1.99004745483398, 0.99007225036621])
    return hz, np.abs(freqz_sos(np.stack([shelf, pass_]), hz, fs=48000)[1]) ** 2


def _only(audio: np.ndarray, cut: slice) -> np.ndarray:
    found = np.zeros_like(audio)
    found[cut] = audio[cut]
    return found


def _spectrum_of(audio: np.ndarray) -> np.ndarray:
    return np.asarray(fft.rfft(audio, axis=0))


def _banded(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Return what two spectra have in common in every band of `_k_weights`."""
    at = 20.0 * 2.0 ** (np.arange(121) / 12.0) / RATE_HZ * 2.0 * (len(one) - 1)
    common = np.sum((one * other.conj()).real, axis=1)
    return np.add.reduceat(common, np.round(at).astype(int))[:-1]


def drawn(
    names: Sequence[str],
    sketched_of: Callable[[str], Sketched],
    inside: Callable[[str], Sequence[str]],
    rng: np.random.Generator,
    number: int,
    kind: str,
) -> Iterator[tuple[Sketched, Harm]]:
    """Yield harms of a kind that MOST_DB of would bury somebody, from so many draws; not yet scaled.

    Parameters
    ----------
    names : sequence of str
        of excerpts
    sketched_of : callable
        returns the sketch of the excerpt of a name
    inside : callable
        returns of the excerpt of a name who can be a victim: leads and supports that lie inside their tolerance
    rng : Generator
    number : int
        of the trial
    kind : str
        of KINDS
    """
    for _ in range(DRAWS):
        sketched = sketched_of(str(rng.choice(names)))
        victims = inside(sketched.excerpt.name)
        harm = _drawn(sketched.excerpt, victims, rng, number, kind)
        victim = "" if harm is None else _victim(sketched, harm, victims)
        if harm is not None and victim:
            yield sketched, replace(harm, victim=victim)


def _drawn(excerpt: Excerpt, victims: Sequence[str], rng: np.random.Generator, number: int, kind: str) -> Harm | None:
    sounding = [
        id_ for id_ in excerpt.layers if np.sqrt(np.mean(np.square(excerpt.inside(excerpt.layers[id_])))) > 1e-3
    ]
    lead = next(id_ for id_ in excerpt.layers if excerpt.places[id_] == "lead")
    harm = Harm(number, kind, excerpt.name, excerpt.section.name, (), "", MOST_DB)
    if kind == "lead too low":
        return replace(harm, harmed=(lead,), victim=lead) if lead in victims else None
    if kind == "wet return":
        return replace(harm, harmed=(excerpt.wet,)) if excerpt.wet in sounding else None
    if kind == "same tilt":
        pair = [id_ for role in ("kick", "bass") for id_ in sounding if excerpt.roles[id_] == role]
        order = rng.permutation(2)
        hz = float(np.exp(rng.uniform(np.log(100.0), np.log(400.0))))
        if len(pair) < 2 or pair[order[1]] not in victims:
            return None
        return replace(harm, harmed=(pair[order[0]],), victim=pair[order[1]], hz=hz)
    roles = LOW_ROLES if kind == "low end" else ()
    maskers = [id_ for id_ in sounding if id_ not in (lead, excerpt.wet) and (not roles or excerpt.roles[id_] in roles)]
    if not maskers:
        return None
    chosen = str(rng.choice(maskers))
    low, high = (120.0, 500.0) if kind == "low end" else (120.0, 6000.0)
    hz = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    octaves = float(rng.uniform(1.0 / 3.0, 1.0))
    q = 2.0 ** (octaves / 2.0) / (2.0**octaves - 1.0)
    if kind == "too loud":
        return replace(harm, harmed=(chosen,))
    return replace(harm, harmed=(chosen,), hz=hz, q=q if kind == "band boost" else 0.0)


def _victim(sketched: Sketched, harm: Harm, victims: Sequence[str]) -> str:
    """Return whom a harm of MOST_DB hurts most, "" where nobody falls as far as asked."""
    if harm.kind == "lead too low":
        return harm.victim
    asked = [harm.victim] if harm.victim else [id_ for id_ in victims if id_ not in harm.harmed]
    before = {id_: sketched.sketch(id_, {}).thinned(FEW) for id_ in asked}
    after = _hurt(sketched, replace(harm, amount_db=MOST_DB), asked)
    falls = {
        id_: sketched.phon(before[id_]) - sketched.phon(after[id_].thinned(FEW))
        for id_ in asked
        if len(after[id_]) >= LEAST_MOMENTS
    }
    victim = max(falls, key=lambda id_: falls[id_], default="")
    return victim if falls.get(victim, 0.0) >= LEAST_PHON else ""


def _hurt(sketched: Sketched, harm: Harm, layers: Sequence[str]) -> dict[str, Sketch]:
    changed = {id_: 10.0 ** (gains_db(harm, components().hz) / 10.0) * sketched.layers[id_] for id_ in harm.harmed}
    shift_db = sketched.shift_db(harm)
    return {id_: sketched.sketch(id_, changed, shift_db) for id_ in layers}


def scaled(sketched: Sketched, harm: Harm, least_phon: float) -> Harm | None:
    """Return the harm by the least amount at which its victim falls by so much, by sketch; None where MOST_DB is not.

    A lead that is too low is told as a whole, so it falls as far as that takes.
    """
    victim = harm.victim
    plain = sketched.phon(sketched.sketch(victim, {}))
    # It falls further beyond its tolerance where it is asked to fall by more phon.
    least_rise_db = WHOLE["lead"].db + least_phon - LEAST_PHON

    def buried(amount_db: float) -> bool:
        one = _hurt(sketched, replace(harm, amount_db=amount_db), [victim])[victim]
        if plain - sketched.phon(one) < least_phon:
            return False
        return harm.kind != "lead too low" or cued_db(Rise(one).db()) > least_rise_db

    low, high = 0.0, MOST_DB
    if not buried(high):
        return None
    while high - low > 0.3:
        middle = (low + high) / 2.0
        low, high = (low, middle) if buried(middle) else (middle, high)
    return replace(harm, amount_db=float(np.ceil(10.0 * high) / 10.0))


def raised_db(sketched: Sketched, harm: Harm, missing_phon: float) -> float:
    """Return by how many dB the victim must rise in the harmed song to miss no more than so much, by sketch."""
    one = _hurt(sketched, harm, [harm.victim])[harm.victim]
    wanted = sketched.phon(sketched.sketch(harm.victim, {})) - missing_phon
    low, high = 0.0, 24.0
    while high - low > 0.1:
        middle = (low + high) / 2.0
        low, high = (low, middle) if sketched.phon(one.raised(middle)) >= wanted else (middle, high)
    return high
