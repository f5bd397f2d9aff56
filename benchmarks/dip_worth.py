# SPDX-License-Identifier: Apache-2.0
"""What a dip gives its key for what it takes from its victim, beside a static cut and other ways to take as much.

    python benchmarks/dip_worth.py [--stems FOLDER] [--no-demo]

The victim is one layer of a mix, or a group of them that is dipped as one; the key is the lead. *Given* is the fader
equivalent: by how many dB the lead would have to rise in the mix as it was to be heard as loud (mean partial loudness
over the time in which both sound, cued) as it is with the victim lowered. *Lost* is what the victim lost, in dB of
energy over the song. All ways but the first and the last take the same energy from the same victim:

- nothing: an empty baseline;
- dip: up to 4 bands, where the victim takes most of the lead's loudness (cued, half an octave to either side), by at
  most 6 dB each, so that the key stands 12 dB above the victim there;
- cut: the same bands with one gain each for all of the song, in proportion to the mean dips in dB;
- fader: the victim turned down, for all of the song;
- duck: the victim turned down while the key sounds, by the gains of the dip's deepest band, scaled;
- elsewhen: the dip's gains half a song later, scaled: such moves, but not when they are needed;
- mute: all there is to be given.

*Null* is the largest difference between the victim and itself dipped where the key is silent: its root mean square
over 10 ms is below -60 dBFS, and was for as long as hold and release last, and is for as long as the dip looks ahead.
It must be below -90 dBFS. Mixes are those of planted.py: the demo song in the faders of its rough mix, and seven stems.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from planting import RATE_HZ, Mix, demo, stems

from mixwright.engine.chain import Chain
from mixwright.engine.processors.keyed import PACES, dip
from mixwright.hearing.bands import PLACES
from mixwright.hearing.fader import Fader, Sketch
from mixwright.hearing.feed import held
from mixwright.hearing.hear import hear
from mixwright.hearing.heard import ACTIVE_SONE, ALONE, CELL_S, CUED, Hearing
from mixwright.hearing.scale import filter_hz
from mixwright.model.keyed_inserts import Dip, DipBand, Pace

SILENT_DBFS, NULL_DBFS, ALL_DB = -60.0, -90.0, 100.0
#: Bands of a dip, how far apart they are at least, and what the least of them takes, as a part of what the first does.
MOST_BANDS, APART_OCT, LEAST_TAKEN = 4, 0.8, 0.1


@dataclass(frozen=True, eq=False)
class Case:
    """Lead, victim and all the rest of a mix, float32 (frames, 2) each."""

    name: str
    lead: np.ndarray
    victim: np.ndarray
    rest: np.ndarray
    offset_db: float
    pace: Pace = "word"


@dataclass(frozen=True)
class Worth:
    """What one way gave and took."""

    way: str
    given_db: float
    lost_db: float


def case(name: str, mix: Mix, lead: str, victims: Sequence[str], pace: Pace = "word") -> Case:
    """Return a mix with some of its layers as the victim."""
    parts = [mix.layers[lead], np.sum([mix.layers[one] for one in victims], axis=0)]
    return Case(name, parts[0], parts[1], mix.whole - parts[0] - parts[1], mix.offset_db, pace)


def listened(one: Case, victim: np.ndarray) -> Hearing:
    """Return the lead, another victim and the rest as heard."""
    return hear(
        {id_: held(audio) for id_, audio in (("lead", one.lead), ("victim", victim), ("rest", one.rest))},
        rate_hz=RATE_HZ,
        frames=len(one.lead),
        offset_db=one.offset_db,
        leads=["lead"],
    )


def taken_hz(hearing: Hearing) -> list[float]:
    """Return the middles of the bands in which the victim takes most from the lead."""
    lengths = [stretch.length_s for stretch in hearing.stretches]
    taken = sum(length * part.cued[0, 1] for length, part in zip(lengths, hearing.taken, strict=True))
    octaves = np.log2(filter_hz()).reshape(PLACES, -1).mean(axis=1)
    near = np.array([taken[np.abs(octaves - middle) <= 0.5].sum() for middle in octaves])
    free, found = np.ones(len(near), dtype=bool), []
    while len(found) < MOST_BANDS and (near * free).max() > LEAST_TAKEN * near.max():
        found.append(int(np.argmax(near * free)))
        free &= np.abs(octaves - octaves[found[-1]]) > APART_OCT
    return sorted(float(2.0 ** octaves[k]) for k in found)


def insert(one: Case, middles_hz: Sequence[float]) -> Dip:
    """Return the dip."""
    return Dip(key="lead", bands=tuple(DipBand(hz=hz, most_db=6, pace=one.pace) for hz in middles_hz))


def gains_of(one: Case, bands: Dip) -> np.ndarray:
    """Return the dip's gains, as late as it says."""
    chain = Chain(dip(bands, RATE_HZ), 2)
    audio, key = (_longer(part, chain.latency_frames) for part in (one.victim, one.lead))
    gains = np.empty((len(audio), chain.gains), dtype=np.float32)
    chain.process(audio.astype(np.float64), np.ascontiguousarray(key[:, None]), gains)
    return gains


def lowered(one: Case, bands: Dip, gains: np.ndarray) -> np.ndarray:
    """Return the victim with these gains in the bands of the dip."""
    chain = Chain(dip(bands, RATE_HZ), 2, replay=True)
    audio = _longer(one.victim, chain.latency_frames).astype(np.float64)
    chain.process(audio, None, np.ascontiguousarray(gains, dtype=np.float32))
    return audio[chain.latency_frames :].astype(np.float32)


def ways(one: Case, bands: Dip, gains: np.ndarray) -> Iterator[tuple[str, np.ndarray]]:
    """Yield each way to lower the victim, with what it makes of it."""
    yield "nothing", one.victim
    dipped = lowered(one, bands, gains)
    yield "dip", dipped
    wanted = energy(dipped)
    mean_db = np.mean(20.0 * np.log10(gains), axis=0)

    def cut(scale: float) -> np.ndarray:
        return lowered(one, bands, np.repeat(10.0 ** (scale * mean_db[None] / 20.0), len(gains), axis=0))

    yield "cut", matched(cut, wanted, 60.0 / max(-float(mean_db.min()), 1e-3))
    yield "fader", one.victim * np.float32(np.sqrt(wanted / energy(one.victim)))
    late = len(gains) - len(one.victim)
    deepest = gains[late:].min(axis=1, keepdims=True).astype(np.float64)
    yield "duck", matched(lambda scale: (one.victim * deepest**scale).astype(np.float32), wanted, 4.0)
    other = np.roll(gains, len(gains) // 2, axis=0).astype(np.float64)
    yield "elsewhen", matched(lambda scale: lowered(one, bands, other**scale), wanted, 10.0)
    yield "mute", np.zeros_like(one.victim)


def matched(way: Callable[[float], np.ndarray], wanted: float, most: float) -> np.ndarray:
    """Return what a way makes of a victim at the scale that leaves as much energy as wanted."""
    low, high = 0.0, most
    for _ in range(20):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if energy(way(middle)) > wanted else (low, middle)
    return way(0.5 * (low + high))


def energy(audio: np.ndarray) -> float:
    """Return the sum of squares."""
    return float(np.sum(np.square(audio, dtype=np.float64)))


def worths(one: Case) -> tuple[list[Worth], str, bool]:
    """Return what each way gives, what is said of dip and null, and whether all holds that must."""
    hearing = listened(one, one.victim)
    bands = insert(one, taken_hz(hearing))
    gains = gains_of(one, bands)
    lead, victim = hearing.layers["lead"], hearing.layers["victim"]
    both = (lead.total[ALONE] > ACTIVE_SONE) & (victim.total[ALONE] > ACTIVE_SONE)
    drawn = lead.sketch
    then = both[np.minimum((drawn.at_s / CELL_S).astype(int), len(both) - 1)]
    powers = (part[:, then] for part in (drawn.layer, drawn.rest, drawn.mix))
    fader, found = Fader(Sketch(*powers, at_s=drawn.at_s[then], seconds=drawn.seconds[then])), []
    plain = float(lead.total[CUED, both].mean(dtype=np.float64))
    for way, changed in ways(one, bands, gains):
        after = hearing if changed is one.victim else listened(one, changed)
        now = float(after.layers["lead"].total[CUED, both].mean(dtype=np.float64))
        # Against the sketch's own reading of the mix as it is, which is near to that of all cells.
        given = fader.equivalent_db(fader.loudness(0.0, CUED) * now / plain, CUED)
        left = max(energy(changed) / energy(one.victim), 1e-12)
        found.append(Worth(way, np.nan if given is None else given, -10.0 * np.log10(left) + 0.0))
    part, null = nulled(one, lowered(one, bands, gains))
    where = ", ".join(f"{band.hz:.0f}" for band in bands.bands)
    text = f"bands at {where} Hz; both sound in {100.0 * both.mean():.0f} % of the song; "
    text += f"key silent in {100.0 * part:.0f} %, null there {null:.0f} dBFS"
    each = {worth.way: worth.given_db / max(worth.lost_db, 1e-9) for worth in found}
    return found, text, null < NULL_DBFS and each["dip"] > each["cut"]


def nulled(one: Case, dipped: np.ndarray) -> tuple[float, float]:
    """Return in which part of the song the key is silent for long enough, and the largest difference there in dBFS."""
    _, hold, release, _ = PACES[one.pace]
    look = RATE_HZ // 100
    power = np.mean(np.square(one.lead[: len(one.lead) // look * look].reshape(-1, 2 * look), dtype=np.float64), axis=1)
    loud = power > 10.0 ** (SILENT_DBFS / 10.0)
    before = int(np.ceil((hold + release) / 10.0)) + 6  # 60 ms: the key's smoothed level falls by 26 dB
    reached = np.convolve(loud, np.ones(before + 2), mode="full")[1 : len(loud) + 1] > 0.5  # one look ahead of it, too
    silent = np.repeat(~reached, look)
    apart = np.abs(dipped[: len(silent)] - one.victim[: len(silent)])[silent]
    largest = float(apart.max(initial=0.0))
    return float(silent.mean()), 20.0 * np.log10(max(largest, 1e-15))


def _longer(audio: np.ndarray, frames: int) -> np.ndarray:
    return np.concatenate([audio, np.zeros((frames, 2), audio.dtype)])


def table(one: Case) -> bool:
    """Print what there is of a case; return whether all holds that must."""
    found, text, met = worths(one)
    print(f"\n{one.name}, pace {one.pace}: {text}")
    print(f"{'':12}{'given, dB':>10}{'lost, dB':>10}{'given per dB lost':>20}")
    for worth in found:
        each = f"{worth.given_db / worth.lost_db:.2f}" if 1e-6 < worth.lost_db < ALL_DB else "-"
        lost = f"{worth.lost_db:.2f}" if worth.lost_db < ALL_DB else "all"
        print(f"{worth.way:12}{worth.given_db:10.2f}{lost:>10}{each:>20}", flush=True)
    return met


def cases(folder: Path | None, with_demo: bool) -> Iterator[Case]:
    """Yield all cases."""
    if with_demo:
        mix = demo()
        lead = next(id_ for id_, place in mix.places.items() if place == "lead")
        kinds = ("pad", "guitar", "synth", "keys", "organ", "strings", "pluck", "piano")
        victims = [id_ for id_ in mix.layers if any(kind in id_ for kind in kinds)]
        name = f"demo: {lead} over {', '.join(victims)}"
        for pace in PACES:
            yield case(name, mix, lead, victims, pace)
    if folder is not None:
        mix = stems(folder)
        victims = ["MELODY_BREAK", "PLUCK", "MINILOGUE_SYNTH"]
        for pace in PACES:
            for chosen in (victims, *([one] for one in victims), ["BGVOX"]):
                yield case(f"stems: VOX_LEAD over {', '.join(chosen)}", mix, "VOX_LEAD", chosen, pace)


def main() -> None:
    """Print a table for each case."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--stems", type=Path, help="folder of the seven stems")
    parser.add_argument("--no-demo", action="store_true", help="leave out the demo song")
    given = parser.parse_args()
    met = [table(one) for one in cases(given.stems, not given.no_demo)]
    print(f"\nthe dip gives more than the cut, and nulls, in {sum(met)} of {len(met)} cases")
    sys.exit(0 if all(met) else 1)


if __name__ == "__main__":
    main()
