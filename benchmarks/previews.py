# SPDX-License-Identifier: Apache-2.0
"""Previews of made songs: `python benchmarks/previews.py [--songs 40] [--seconds 4]`.

Eight kinds of small mixes of three layers, each with several seeds: dense, sparse, silent for a part, clipped, mono,
with a very loud low end, peaky, and with a voice that sings at the hits. Each is previewed as FLAC, MP3 and Opus at
44.1 and at 48 kHz. By means of their own (tests/reference/limited_parts.py) are computed: true peaks of the files as
decoded by libsndfile, loudness before coding, and what limiting changed between the layers. Beside the product stand a
preview that does nothing (the mix, coded), one normalised to its sample peak, and one that is limited and not decoded
again, all of them lossy at the rate of the song.
Moves that restore what limiting changed are accepted, and the next preview is measured in the same way.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile

from mixwright.app.decide import accept
from mixwright.app.preview import preview
from mixwright.core.resample import resample
from mixwright.engine.temp_master import TempMaster, mastered
from mixwright.io.coded import coded_rate_hz, write_coded
from mixwright.io.song_file import create_song
from mixwright.io.write import write_wav
from mixwright.model.preview import LimitedSection
from mixwright.model.results import PlannedMove
from mixwright.model.song import Section, Song, Track

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
from reference.limited_parts import block_powers, changes_lu, true_peak_db

KINDS = ("dense", "sparse", "silent part", "clipped", "mono", "low end", "peaky", "sung at hits")
TARGETS_LUFS = (-9.0, -10.0, -11.0, -12.0, -14.0)
CODECS = ("flac", "mp3", "opus")
RATES_HZ = (44100, 48000)
CEILING_DBTP = -1.0
OVER_DB, LOUDNESS_LU, CHANGE_LU = 0.05, 0.2, 0.2
ROLES = {"lead": "lead vocal", "backing": "keys", "drums": "drums"}
SECTIONS = 2


@dataclass
class Tally:
    """What was counted of one way to make previews."""

    files: int = 0
    over: int = 0
    off_target: int = 0
    highest_db: float = -99.0
    worst_lu: float = 0.0

    def add(self, peak_db: float, off_lu: float) -> None:
        """Count a file."""
        self.files += 1
        self.over += peak_db > CEILING_DBTP + OVER_DB
        self.off_target += abs(off_lu) > LOUDNESS_LU
        self.highest_db = max(self.highest_db, peak_db)
        self.worst_lu = max(self.worst_lu, abs(off_lu))

    def told(self, name: str) -> str:
        """Return the counts in a line."""
        return (
            f"{name:24s} {self.files:4d} files  {self.over:4d} over the ceiling (highest {self.highest_db:+.2f} dBTP)  "
            f"{self.off_target:4d} off the target (furthest {self.worst_lu:.2f} LU)"
        )


@dataclass
class Found:
    """All that was counted."""

    product: Tally = field(default_factory=Tally)
    empty: Tally = field(default_factory=Tally)
    naive: Tally = field(default_factory=Tally)
    no_loop: Tally = field(default_factory=Tally)
    reasons: Counter[str] = field(default_factory=Counter)
    unexplained: int = 0
    tries: Counter[int] = field(default_factory=Counter)
    told_lu: list[float] = field(default_factory=list)
    change_errors: list[float] = field(default_factory=list)
    changes: list[float] = field(default_factory=list)
    restored: list[tuple[float, float]] = field(default_factory=list)
    compressed: int = 0


def layers(kind: str, seed: int, rate_hz: int, seconds: float) -> dict[str, np.ndarray]:
    """Return lead, backing and drums of one song, float32 ``(frames, 2)``."""
    rng = np.random.default_rng(1000 * KINDS.index(kind) + seed)
    frames = round(rate_hz * seconds)
    t = np.arange(frames) / rate_hz
    beat = 60.0 / rng.uniform(90, 140)
    at = t % beat

    def coloured(low_hz: float, high_hz: float) -> np.ndarray:
        spectrum = np.fft.rfft(rng.standard_normal(frames))
        hz = np.fft.rfftfreq(frames, 1 / rate_hz)
        spectrum *= (1 + (low_hz / np.maximum(hz, 1)) ** 4) ** -0.5 * (1 + (hz / high_hz) ** 4) ** -0.5
        audio = np.fft.irfft(spectrum, frames)
        return np.asarray(audio / np.sqrt(np.mean(audio**2)))

    phase = 2 * np.pi * np.cumsum(rng.uniform(200, 500) * (1 + 0.02 * np.sin(2 * np.pi * 5.2 * t))) / rate_hz
    lead = sum(np.sin(k * phase) / k for k in range(1, 9)) * (0.6 + 0.4 * np.sin(2 * np.pi * t / (4 * beat)))
    chords = sum(
        np.sin(2 * np.pi * hz * t + rng.uniform(0, 6)) / n
        for hz in rng.choice([98.0, 131, 165, 196, 247, 294, 330], 4, replace=False)
        for n in range(1, 6)
    )
    pad = coloured(200, 3000)
    kick = np.exp(-at / 0.09) * np.sin(2 * np.pi * (50 * at + 1.2 * (1 - np.exp(-at / 0.02))))
    snare = np.exp(-((t + beat / 2) % beat) / 0.05) * coloured(300, 5000)
    drums = kick + 0.4 * snare
    levels = {"lead": 0.10, "chords": 0.04, "pad": 0.05, "drums": 0.35}
    if kind == "dense":
        levels |= {"chords": 0.10, "pad": 0.15}
    elif kind == "sparse":
        levels |= {"chords": 0.01, "pad": 0.005, "drums": 0.2}
    elif kind == "low end":
        drums = drums + 1.2 * np.sin(2 * np.pi * 48 * t)
    elif kind == "peaky":
        levels |= {"lead": 0.03, "chords": 0.02, "pad": 0.01, "drums": 0.8}
    elif kind == "sung at hits":
        lead = lead * (at < 0.25 * beat)
    found = {
        "lead": levels["lead"] * lead,
        "backing": levels["chords"] * chords + levels["pad"] * pad,
        "drums": levels["drums"] * drums,
    }
    if kind == "silent part":
        found = {name: audio * ((t < 0.3 * seconds) | (t > 0.6 * seconds)) for name, audio in found.items()}
    widths = {"lead": 0.0, "backing": 0.0 if kind == "mono" else 0.7, "drums": 0.0}
    stereo = {}
    for name, audio in found.items():
        side = widths[name] * np.roll(audio, 311) * 0.4
        both = np.stack([audio + side, audio - side], axis=1)
        if kind == "clipped":
            both = np.clip(both, -0.25, 0.25)
        stereo[name] = both.astype(np.float32)
    return stereo


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--songs", type=int, default=40)
    parser.add_argument("--seconds", type=float, default=4.0)
    given = parser.parse_args()
    found, started = Found(), time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(given.songs):
            _song(Path(folder) / str(number), number, given.seconds, found)
            print(f"{number + 1} of {given.songs}, {time.process_time() - started:.0f} s of processor time", flush=True)
            if (number + 1) % len(KINDS) == 0 and number + 1 < given.songs:
                _told(found)
    sys.exit(_told(found))


def _song(folder: Path, number: int, seconds: float, found: Found) -> None:
    kind, rate_hz = KINDS[number % len(KINDS)], RATES_HZ[number // len(KINDS) % 2]
    target_lufs = TARGETS_LUFS[number % len(TARGETS_LUFS)]
    parts = layers(kind, number, rate_hz, seconds)
    song = _written(folder, parts, rate_hz, seconds)
    for file_hz in RATES_HZ:
        made = preview(song, target_lufs=target_lufs, formats=CODECS, rate_hz=file_hz)
        found.compressed += made.compressor is not None
        for file in made.files:
            audio, _ = soundfile.read(song / made.folder / file.file, always_2d=True)
            assert file.integrated_lufs is not None
            off_lu = file.integrated_lufs - target_lufs
            found.product.add(true_peak_db(audio), off_lu)
            found.unexplained += abs(off_lu) > LOUDNESS_LU and not file.why
            found.reasons[file.why.partition(" LU more ")[2] or file.why or "on target"] += 1
            found.tries[len(file.tries)] += 1
            if file.format == "flac" and file_hz == rate_hz:
                found.told_lu.append(integrated_lufs(audio, rate_hz) - file.integrated_lufs)
    mix = np.sum(list(parts.values()), axis=0)
    _baselines(folder, mix, rate_hz, target_lufs, found)
    _changes(song, parts, rate_hz, target_lufs, found)


def _written(folder: Path, parts: Mapping[str, np.ndarray], rate_hz: int, seconds: float) -> Path:
    folder.mkdir()
    for name, audio in parts.items():
        write_wav(
            folder / f"{name}.wav", [audio], rate_hz=rate_hz, channels=2, frames=len(audio), sample_format="float32"
        )
    tracks = tuple(Track(id=name, name=name, file=f"../{name}.wav", role=role) for name, role in ROLES.items())
    edges = np.linspace(0.0, seconds, SECTIONS + 1).tolist()
    sections = tuple(Section(name=f"part {k + 1}", start_s=edges[k], end_s=edges[k + 1]) for k in range(SECTIONS))
    song = Song(title=f"Made {folder.name}", rate_hz=rate_hz, lead=("lead",), tracks=tracks, sections=sections)
    create_song(folder / "song", song)
    return folder / "song"


def integrated_lufs(audio: np.ndarray, rate_hz: int) -> float:
    """Return integrated loudness by both gates (ITU-R BS.1770-5), from blocks computed apart from the product."""
    powers = block_powers(audio, rate_hz)
    loud = powers[-0.691 + 10 * np.log10(np.maximum(powers, 1e-20)) > -70.0]
    return float(-0.691 + 10 * np.log10(loud[loud > 0.1 * loud.mean()].mean()))


def _baselines(folder: Path, mix: np.ndarray, rate_hz: int, target_lufs: float, found: Found) -> None:
    """Code the mix as it is; normalised to its highest sample; and limited, without looking at what comes out."""
    lufs = integrated_lufs(mix, rate_hz)
    limited = [one.audio for one in mastered([mix], rate_hz, TempMaster(target_lufs - lufs, CEILING_DBTP))]
    highest = 10 ** (CEILING_DBTP / 20) / np.abs(mix).max()
    ways = {"empty": mix, "naive": highest * mix, "no_loop": np.concatenate(limited)}
    for name, audio in ways.items():
        off_lu = integrated_lufs(audio, rate_hz) - target_lufs
        for codec in ("mp3", "opus"):
            coded_hz = coded_rate_hz(codec, rate_hz)
            path = folder / f"{name}.{codec}"
            write_coded(path, [resample(audio.astype(np.float64), rate_hz, coded_hz)], codec, rate_hz=coded_hz)
            getattr(found, name).add(true_peak_db(soundfile.read(path, always_2d=True)[0]), off_lu)


def _changes(song: Path, parts: Mapping[str, np.ndarray], rate_hz: int, target_lufs: float, found: Found) -> None:
    """Compare what limiting is told to change with the file; then with the restoring moves accepted."""
    made = preview(song, target_lufs=target_lufs, formats=("flac",), propose=True)
    limited = soundfile.read(song / made.folder / made.files[0].file, always_2d=True)[0]
    for section in made.limited:
        by_hand = _by_hand(parts, limited, section, rate_hz)
        for told, pair in (
            (section.lead_to_backing_lu, ("lead", "backing")),
            (section.lead_to_drums_lu, ("lead", "drums")),
        ):
            if told is not None:
                expected = by_hand[pair[0]] - by_hand[pair[1]]
                found.change_errors.append(told - expected)
                found.changes.append(abs(expected))
    if not made.moves:
        return
    accept(song, [], everything=True)
    again = preview(song, target_lufs=target_lufs, formats=("flac",))
    limited = soundfile.read(song / again.folder / again.files[0].file, always_2d=True)[0]
    for section in made.limited[1:]:
        gains = {name: _gain_db(made.moves, name, section.name) for name in parts}
        moved = {name: 10 ** (gains[name] / 20) * audio for name, audio in parts.items()}
        now = _by_hand(moved, limited, section, rate_hz)
        for name in ("lead", "drums"):
            before = section.lead_to_backing_lu if name == "lead" else section.drums_to_backing_lu
            if gains[name] and before is not None:
                found.restored.append((before, now[name] + gains[name] - now["backing"] - gains["backing"]))


def _gain_db(moves: tuple[PlannedMove, ...], name: str, section: str) -> float:
    return sum(
        move.settings["gain_db"]
        for move in moves
        if move.target == name and (not move.sections or section in move.sections)
    )


def _by_hand(
    parts: Mapping[str, np.ndarray], limited: np.ndarray, section: LimitedSection, rate_hz: int
) -> dict[str, float]:
    piece = slice(round(section.start_s * rate_hz), round(section.end_s * rate_hz))
    return changes_lu({name: audio[piece].astype(np.float64) for name, audio in parts.items()}, limited[piece], rate_hz)


def _told(found: Found) -> int:
    """Print what was found; 1 where something does not hold."""
    for name, tally in (
        ("preview", found.product),
        ("empty: the mix, coded", found.empty),
        ("naive: normalised", found.naive),
        ("limited, no loop", found.no_loop),
    ):
        print(tally.told(name))
    print(f"off the target without a reason: {found.unexplained}; reasons: {dict(found.reasons)}")
    print(f"tries a file: {dict(sorted(found.tries.items()))}; with a bus compressor: {found.compressed} previews")
    print(f"loudness told against that of the file: {max(map(abs, found.told_lu)):.3f} LU at most")
    errors = np.abs(found.change_errors)
    print(
        f"what limiting changed: {len(errors)} figures, up to {max(found.changes):.2f} LU; told with an error of "
        f"{errors.max():.3f} LU at most, {np.median(errors):.3f} LU in the middle"
    )
    left = np.abs([now for _, now in found.restored])
    taken = np.abs([before for before, _ in found.restored])
    if len(left):
        print(f"restored by moves: {len(left)} of up to {taken.max():.2f} LU; left {left.max():.2f} LU at most")
    holds = {
        "true peaks": found.product.over == 0,
        "loudness or why not": found.unexplained == 0 and max(map(abs, found.told_lu)) < LOUDNESS_LU,
        "what limiting changed": bool(errors.max() <= CHANGE_LU),
        "restored by moves": not len(left) or bool(left.max() <= CHANGE_LU),
        "the empty way fails": found.empty.over + found.empty.off_target > 0,
        "the naive way fails": found.naive.over > 0 and found.naive.off_target > 0,
        "without a loop it fails": found.no_loop.over > 0,
    }
    for name, held in holds.items():
        print(f"{'holds' if held else 'FAILS'}  {name}")
    return 0 if all(holds.values()) else 1


if __name__ == "__main__":
    main()
