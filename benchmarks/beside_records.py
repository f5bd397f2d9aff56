# SPDX-License-Identifier: Apache-2.0
"""What a comparison with references is worth: coverage, planted changes, the lead interval, speed; and baselines.

    python benchmarks/beside_records.py [--stems DIR] [--records FILE ...] [--trials 100] [--leads 50]
        [--only corridors|planted|leads|speed]

Songs are invented (beside_songs.py); `--records` adds finished songs of one's own to the coverage. `--stems`: where the
layers of the invented pieces are kept between runs. Times are CPU seconds. Ends with status 1 where a figure misses.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from beside_songs import Finished, mixed, pieces, stems_of, tilted
from scipy.signal import lfilter, resample_poly

from mixwright.demo.signals import RATE_HZ
from mixwright.meter.measure import measure
from mixwright.model.comparison import ComparedRow
from mixwright.model.profile import FIGURES, Profile
from mixwright.model.song import Section
from mixwright.reference.beside import Chosen, rows_of
from mixwright.reference.corridor import counts_for, interval_of, spread_of
from mixwright.reference.lead_interval import lead_interval
from mixwright.reference.profile import profile
from mixwright.reference.traces import traces

_MIXES_A_PIECE = 3
_TRIAL_S = 20
#: What the spectrum tells at its ends is the same tilt.
_SPECTRUM = {"spectrum", "low_end", "top_end"}
missed: list[str] = []


def main() -> int:
    told = argparse.ArgumentParser()
    told.add_argument("--stems", type=Path)
    told.add_argument("--records", type=Path, nargs="*", default=[])
    told.add_argument("--trials", type=int, default=100)
    told.add_argument("--leads", type=int, default=50)
    told.add_argument("--first-lead", type=int, default=0, help="so that the mixes can be shared among processes")
    told.add_argument("--only", choices=["corridors", "planted", "leads", "speed"])
    asked = told.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = asked.stems or Path(scratch)
        stems = [stems_of(piece, number, folder) for number, piece in enumerate(pieces())]
        parts = [asked.only] if asked.only else ["corridors", "planted", "leads", "speed"]
        if "corridors" in parts:
            songs = [
                mixed(found, f"piece {number} mix {k}", 100 * number + k)
                for number, found in enumerate(stems)
                for k in range(_MIXES_A_PIECE)
            ]
            profiles = {song.name: profile(song.audio, RATE_HZ) for song in songs}
            for path in asked.records:
                audio, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
                profiles[path.stem] = profile(audio, rate_hz)
            itself_and_louder(songs, profiles)
            coverage(list(profiles.values()))
        if "planted" in parts:
            cut = [mixed(found, "", 100 * number).audio[: _TRIAL_S * RATE_HZ] for number, found in enumerate(stems)]
            planted(cut, asked.trials)
        if "leads" in parts:
            leads(stems, asked.first_lead, asked.leads)
        if "speed" in parts:
            speed(mixed(stems[0], "", 0).audio, Path(scratch))
    print("all figures as wanted" if not missed else f"missed: {'; '.join(missed)}")
    return bool(missed)


def wanted(what: str, held: bool) -> None:
    if not held:
        missed.append(what)


def beside_itself(found: Profile) -> Chosen:
    return Chosen(found, (), {one.name: one for one in found.sections})


def outside(mix: Profile, reference: Chosen, whole: bool = True) -> list[ComparedRow]:
    rows = [row for row in rows_of(mix, [reference]) if row.outside and not (whole and row.section)]
    return sorted(rows, key=lambda row: -abs(row.widths))


def itself_and_louder(songs: Sequence[Finished], profiles: dict[str, Profile]) -> None:
    raised = sum(len(outside(found, beside_itself(found), whole=False)) for found in profiles.values())
    print(f"a song beside itself: {raised} figures outside, of {len(profiles)} songs")
    wanted("a song beside itself", raised == 0)
    largest, naive = 0.0, 0
    for song in songs[::_MIXES_A_PIECE]:
        before, after = profiles[song.name], profile(song.audio * np.float32(10.0**0.3), RATE_HZ)
        for name, values in before.values.items():
            if not FIGURES[name].follows_level:
                pairs = zip(values, after.values[name], strict=True)
                largest = max([largest, *(abs(a - b) for a, b in pairs if a is not None and b is not None)])
        # Naive: the spectrum as it is, at no matched loudness.
        naive += sum(
            abs(after.integrated_lufs - before.integrated_lufs) > spread_of("third_octaves_db", band)
            for band in range(31)
        )
    print(f"+6 dB: largest change of a level-free figure {largest:.3f}; baseline, not matched: {naive} bands")
    wanted("+6 dB", largest < 0.05)
    wanted("the baseline that does not match must fail", naive > 0)
    for song in songs[::_MIXES_A_PIECE]:
        limited = limited_to(song.audio, 6.0)
        # With the sections of the song itself, as its bounce would be compared.
        marks = [Section(name=one.name, start_s=one.start_s, end_s=one.end_s) for one in profiles[song.name].sections]
        found = profile(limited, RATE_HZ, marks)
        told = {row.attribute for row in outside(found, beside_itself(profiles[song.name]))}
        change = found.one("plr_db") - profiles[song.name].one("plr_db")
        theory = plr_db(limited) - plr_db(song.audio)
        print(f"limited by 6 dB, {song.name}: {sorted(told)}; PLR {change:+.2f} dB, by its definition {theory:+.2f} dB")
        wanted(f"limiting {song.name}", told <= {"dynamics"} and abs(change - theory) < 0.25)


def coverage(profiles: Sequence[Profile]) -> None:
    """Leave each song out: how often it lies in what the others span; also with two and four others."""
    rng = np.random.default_rng(9)
    for others in (len(profiles) - 1, 4, 2):
        inside: dict[str, list[bool]] = defaultdict(list)
        bare: list[bool] = []
        for i, one in enumerate(profiles):
            rest = [other for j, other in enumerate(profiles) if j != i]
            chosen = rest if others == len(rest) else [rest[j] for j in rng.choice(len(rest), others, replace=False)]
            for name, figure in FIGURES.items():
                if figure.follows_level or name not in one.values or not counts_for(one, (), figure.attribute):
                    continue
                their = [other.values[name] for other in chosen if counts_for(other, (), figure.attribute)]
                for band, value in enumerate(one.values[name]):
                    known = [values[band] for values in their if values[band] is not None]
                    found = interval_of(known, spread_of(name, band))
                    if value is not None and found is not None:
                        inside[figure.attribute].append(found.outside(value) == 0.0)
                        bare.append(min(known) <= value <= max(known))
        shares = {name: float(np.mean(values)) for name, values in inside.items()}
        pooled = float(np.mean([value for values in inside.values() for value in values]))
        each = ", ".join(f"{name} {100 * share:.0f} %" for name, share in shares.items())
        print(f"{len(profiles)} songs, each beside {others} others: {100 * pooled:.0f} % inside ({each})")
        print(f"  baseline, from the least to the most alone: {100 * float(np.mean(bare)):.0f} %")
        if others == len(profiles) - 1:
            wanted("coverage pooled", 0.7 <= pooled <= 0.9)
            wanted("coverage of each attribute", min(shares.values()) >= 0.5)
        if others == 2:
            wanted("the baseline without widening must fail", float(np.mean(bare)) < 0.5)


def planted(songs: Sequence[np.ndarray], trials: int) -> None:
    """Plant tilts, widths and compressions; count those named with attribute, sign and size."""
    known = [profile(audio, RATE_HZ) for audio in songs]
    right: dict[str, list[bool]] = defaultdict(list)
    errors: dict[str, list[float]] = defaultdict(list)
    for seed in range(trials):
        rng = np.random.default_rng(10_000 + seed)
        number, kind = seed % len(songs), ("tilt", "width", "compression")[seed // len(songs) % 3]
        audio, sign = songs[number], rng.choice([-1.0, 1.0])
        if kind == "tilt":
            size, figure, kinds = sign * rng.uniform(1.2, 3.0), "slope_db_oct", _SPECTRUM
            changed = tilted(audio, size)
        elif kind == "width":
            size, figure, kinds = sign * rng.uniform(3.5, 9.0), "side_to_mid_db", {"width"}
            changed = widened(audio, size)
        else:
            figure, kinds = "plr_db", {"dynamics"}
            changed = limited_to(audio, rng.uniform(4.0, 9.0))
            size = plr_db(changed) - plr_db(audio)
            if abs(size) < 2.5:  # what the song lets through is inside the spread of one record
                changed = limited_to(audio, 14.0)
                size = plr_db(changed) - plr_db(audio)
        found = profile(changed.astype(np.float32), RATE_HZ)
        told = outside(found, beside_itself(known[number]))
        row = next((row for row in told if row.figure == figure), None)
        change = found.one(figure) - known[number].one(figure)
        errors[kind].append(abs(change / size - 1.0))
        named = bool(told) and told[0].attribute in kinds and row is not None
        right[kind].append(named and row.outside * size > 0.0 and errors[kind][-1] <= 0.15)
    every = [one for values in right.values() for one in values]
    each = ", ".join(
        f"{kind} {sum(values)} of {len(values)} (size off by {100 * max(errors[kind]):.1f} % at most)"
        for kind, values in right.items()
    )
    print(f"planted changes named right: {100 * float(np.mean(every)):.0f} % of {len(every)}: {each}")
    print("  baseline, no reference: 0 named; baseline, always the spectrum: "
          f"{100 * len(right['tilt']) / len(every) / 2:.0f} %")  # fmt: skip
    wanted("planted changes", float(np.mean(every)) >= 0.95)
    wanted("the empty baseline must fail", rows_of(known[0], []) == ())


def leads(stems: Sequence[list], first: int, count: int) -> None:
    """Mix with other leads; count how often the interval holds the truth."""
    held, published, widths = [], [], []
    for k in range(first, first + count):
        song = mixed(stems[k % len(stems)], "", 5000 + k)
        found = traces(song.audio, RATE_HZ)
        truth = measure(song.lead, RATE_HZ, spectrum=False).integrated_lufs - found.levels.integrated_lufs
        low, high = lead_interval(found)
        held.append(low <= truth <= high)
        published.append(abs(truth + 2.65) <= 1.31)  # De Man et al. 2014: mean and one standard deviation
        widths.append(high - low)
    print(
        f"lead interval: holds the truth in {sum(held)} of {count}, {np.mean(widths):.1f} LU wide on average "
        f"({min(widths):.1f} to {max(widths):.1f}); baseline, the published mean and deviation: {sum(published)}"
    )
    wanted("lead interval", np.mean(held) >= 0.8)
    wanted("the published baseline must fail", np.mean(published) < 0.8)


def speed(audio: np.ndarray, scratch: Path) -> None:
    """Decode and profile four minutes, CPU seconds."""
    long = np.tile(audio, (240 * RATE_HZ // len(audio) + 1, 1))[: 240 * RATE_HZ]
    soundfile.write(scratch / "four.flac", long, RATE_HZ, subtype="PCM_24")
    profile(long[: 5 * RATE_HZ], RATE_HZ)  # what is loaded once for all songs
    began = time.process_time()
    read, rate_hz = soundfile.read(scratch / "four.flac", dtype="float32", always_2d=True)
    decoded = time.process_time()
    profile(read, rate_hz)
    spent = time.process_time() - began
    print(f"speed: 240 s of FLAC in {spent:.2f} CPU s ({decoded - began:.2f} to decode): {240 / spent:.0f} x real time")
    wanted("speed", 240.0 / spent >= 100.0)


def widened(audio: np.ndarray, side_db: float) -> np.ndarray:
    mid, side = audio.mean(axis=1), (audio[:, 0] - audio[:, 1]) / 2.0
    side = side * 10.0 ** (side_db / 20.0)
    return np.stack([mid + side, mid - side], axis=1)


def limited_to(audio: np.ndarray, below_db: float) -> np.ndarray:
    """Return audio under a ceiling so far below its peak: gain falls at once and comes back in 50 ms."""
    peak = np.abs(audio).max(axis=1).astype(np.float64)
    ceiling = float(peak.max()) * 10.0 ** (-below_db / 20.0)
    block = 240
    blocks = np.append(peak, np.zeros(-len(peak) % block)).reshape(-1, block).max(axis=1)
    wanted_gain = np.minimum(1.0, ceiling / np.maximum(blocks, 1e-9))
    gain, back, last = np.empty(len(blocks)), 1.0 - np.exp(-block / (0.05 * RATE_HZ)), 1.0
    for i, least in enumerate(wanted_gain):
        last = min(least, last + back * (1.0 - last))
        gain[i] = last
    gain = np.minimum(gain, np.append(gain[1:], gain[-1]))  # so that a ramp is down where the peak begins
    at = np.arange(len(audio)) / block
    smooth = np.interp(at, np.arange(len(gain) + 1), np.append(gain[0], np.minimum(gain, np.append(gain[1:], 1.0))))
    return (audio * np.minimum(smooth, ceiling / np.maximum(peak, 1e-9))[:, None]).astype(np.float32)


def plr_db(audio: np.ndarray) -> float:
    """Return the peak-to-loudness ratio by a second way: four points a sample, filters of the table at 48 kHz.

    ITU-R BS.1770-5, tables 1 and 2; blocks of 400 ms, gates at -70 LUFS and 10 LU below.
    """
    peak = max(float(np.abs(resample_poly(audio[i : i + RATE_HZ * 5], 4, 1, axis=0)).max())
               for i in range(0, len(audio), RATE_HZ * 5))  # fmt: skip
    shelf = ([1.53512485958697, -2.69169618940638, 1.19839281085285], [1.0, -1.69065929318241, 0.73248077421585])
    heard = lfilter(*shelf, audio.astype(np.float64), axis=0)
    heard = lfilter([1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621], heard, axis=0)
    steps = (heard**2).sum(axis=1)[: len(heard) // 4800 * 4800].reshape(-1, 4800).sum(axis=1)
    power = np.convolve(steps, np.ones(4), "valid") / 19200.0
    power = power[-0.691 + 10.0 * np.log10(np.maximum(power, 1e-20)) > -70.0]
    power = power[power > 0.1 * power.mean()]
    return 20.0 * np.log10(peak) + 0.691 - 10.0 * float(np.log10(power.mean()))


if __name__ == "__main__":
    sys.exit(main())
