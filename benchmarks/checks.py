# SPDX-License-Identifier: Apache-2.0
"""How many planted faults `check` finds, how often it tells of one that is not there, and what it tells of clean files.

One fault a file, each kind N times on varied material; clean files and clean sets beside them. Beside the product
stand a check that tells nothing and a plain one (peaks, runs of zeros, largest step, declared facts), which must fail.

    python benchmarks/checks.py [--each 12] [--seed 1] [--audio FOLDER] [--only KIND ...] [--seeds 1,2]

FOLDER holds `references/*.ogg` and `seven-stems/*.flac` where real audio is at hand.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile
from finished_faults import ARTIST, PLANTS, TITLE, Plant, Planted, tagged, write
from finished_material import Piece, from_demo, from_records, from_stems, made

from mixwright.app.check import check
from mixwright.model.expected import Expected
from mixwright.model.results import CheckResult
from mixwright.model.tags import Tags

POOLED, EACH = 0.95, 0.85
#: What is told of the set, by the name of the check.
SET_KINDS = {"parts add up to the mix": "does_not_add_up", "every name once": "name_taken"}
#: What is told of a part that is off.
PART_OFF = {"start_differs", "polarity", "sides_changed", "gain_differs"}


def told_by_check(planted: Sequence[Planted]) -> list[dict[Path, set[str]]]:
    """Return the faults that weigh, by file; those of a whole set stand under its folder.

    Single files that are asked alike go through one call.
    """
    alike = [k for k, one in enumerate(planted) if len(one.files) == 1 and one.against is None and one.voice is None]
    alike = [k for k in alike if planted[k].expected == Expected()]
    told: dict[int, dict[Path, set[str]]] = {}
    if alike:
        result = check([planted[k].files[0] for k in alike], workers=1)
        for k, one in zip(alike, result.files, strict=True):
            told[k] = _told(CheckResult(files=(one,)), planted[k])
    for k, one in enumerate(planted):
        if k not in told:
            found = check(
                one.files, against=one.against, expected=one.expected, voice=one.voice, muted_s=one.muted_s, workers=1
            )
            told[k] = _told(found, one)
    return [told[k] for k in range(len(planted))]


def _told(result: CheckResult, planted: Planted) -> dict[Path, set[str]]:
    told = {Path(one.file): {f.kind for f in one.faults if f.severity != "note"} for one in result.files}
    failed = {SET_KINDS[line.name] for line in result.checks if not line.passed}
    # A part that is named says more than that the sum is off.
    if any(kinds & PART_OFF for kinds in told.values()):
        failed.discard("does_not_add_up")
    told[planted.files[0].parent] = failed
    return told


def told_by_nothing(planted: Planted) -> dict[Path, set[str]]:
    return {path: set() for path in planted.files}


def told_plainly(planted: Planted) -> dict[Path, set[str]]:  # noqa: C901
    """What a few lines would tell: peaks at full scale, runs of zeros, the largest step, the declared facts."""
    told = {}
    for path in planted.files:
        kinds: set[str] = set()
        try:
            audio, rate_hz = soundfile.read(path, always_2d=True)
            facts = soundfile.info(path)
        except soundfile.LibsndfileError:
            told[path] = {"unreadable"}
            continue
        peak = float(np.abs(audio).max(initial=0.0))
        if peak > 1.0:
            kinds |= {"over_full_scale", "true_peak_high"}
        if peak >= 0.9999:
            kinds.add("clipped")
        if peak < 1e-4:
            kinds.add("silent")
        if abs(audio.mean()) > 0.01:
            kinds.add("dc_offset")
        still = np.abs(audio).max(axis=1) < 1e-6
        if still[: 3 * rate_hz].all():
            kinds.add("silence_before")
        if still[-10 * rate_hz :].all():
            kinds.add("silence_after")
        if len(still) > 2 * rate_hz and (np.convolve(still[rate_hz:-rate_hz], np.ones(48)) >= 48).any():
            kinds.add("dropout")
        if np.abs(np.diff(audio, axis=0)).max(initial=0.0) > 0.2:
            kinds.add("click")
        if np.abs(audio[0]).max() > 0.003:
            kinds.add("cut_start")
        if np.abs(audio[-1]).max() > 0.003:
            kinds.add("cut_end")
        if np.array_equal(audio[:, 0], audio[:, -1]):
            kinds.add("mono_as_stereo")
        if min(np.abs(audio).max(axis=0)) == 0.0:
            kinds.add("one_side_dead")
        if audio.shape[1] == 2 and np.sum(audio[:, 0] * audio[:, 1]) < 0.0:
            kinds.add("out_of_phase")
        if " " in path.name:
            kinds.add("name_unsafe")
        if planted.expected.rate_hz not in (None, rate_hz):
            kinds.add("rate_differs")
        if planted.expected.depth is not None and not facts.subtype.endswith(planted.expected.depth.upper()):
            kinds.add("depth_differs")
        if planted.against is not None:
            mix, _ = soundfile.read(planted.against, always_2d=True)
            if len(mix) != len(audio):
                kinds.add("length_differs")
            elif np.sum(mix * audio) < 0.0:
                kinds.add("polarity")
        told[path] = kinds
    return told


def clean(number: int, piece: Piece, folder: Path, rng: np.random.Generator) -> Iterator[Planted]:
    """Yield a piece as clean files in three forms, and some as tagged ones, clean sets of parts and clean edits."""
    for depth in ("16", "24", "float"):
        told = {"16": "16", "24": "24", "float": "32f"}[depth]
        path = folder / f"Good{number}_Main_{piece.rate_hz // 1000}k{told}.wav"
        yield Planted([write(path, piece.mix, piece.rate_hz, depth, rng)], None, ())
    if number % 3 == 0:
        path = folder / f"Good{number}_Main_tags.wav"
        tags = Tags(title=TITLE, artist=ARTIST, kind="main", print="Main")
        wanted = Expected(title=TITLE, artist=ARTIST, rate_hz=piece.rate_hz, depth="24")
        yield Planted([tagged(path, piece.mix, piece.rate_hz, tags)], None, (), expected=wanted)
    if number % 2 == 0 and not piece.name.startswith("stems"):  # real stems have cuts of their own
        mix = write(folder / f"Good{number}_Mix.wav", piece.mix, piece.rate_hz, "24", rng)
        parts = [
            write(folder / f"Good{number}_{name}.wav", part, piece.rate_hz, "24", rng)
            for name, part in piece.parts.items()
        ]
        yield Planted(parts, None, (), against=mix, expected=Expected(parts=True))
    if number % 4 == 1 and piece.voice in piece.parts:
        yield _clean_edit(piece, folder, f"Good{number}", rng)


def _clean_edit(piece: Piece, folder: Path, stem: str, rng: np.random.Generator) -> Planted:
    """Return a clean edit: the voice is muted in two ranges with short fades, and nothing of it is left."""
    voice = piece.parts[piece.voice]
    ranges = ((2.0, 2.6), (4.5, 5.2))
    gain = np.ones(len(voice))
    for start_s, end_s in ranges:
        gain[round((start_s - 0.01) * piece.rate_hz) : round((end_s + 0.01) * piece.rate_hz)] = 0.0
    smooth = np.hanning(480)
    gain = np.convolve(np.pad(gain, 240, mode="edge"), smooth / smooth.sum(), mode="same")[240:-240]
    # What the voice held back at a limiter comes up without it.
    edited = 0.7 * (piece.mix - voice * (1.0 - gain)[:, None])
    path = write(folder / f"{stem}_Clean.wav", edited, piece.rate_hz, "24", rng)
    alone = write(folder / f"{stem}_Voice.wav", voice, piece.rate_hz, "24", rng)
    return Planted([path], None, (), voice=alone, muted_s=ranges)


class Score:
    """Faults that were planted and found, and those that were told where there are none."""

    def __init__(self) -> None:
        self.planted: Counter[str] = Counter()
        self.found: Counter[str] = Counter()
        self.false: Counter[str] = Counter()
        self.where: defaultdict[str, list[str]] = defaultdict(list)
        self.clean_files = self.clean_told = 0

    def add(self, label: str, planted: Planted, told: dict[Path, set[str]]) -> None:
        if not planted.kinds:
            self.clean_files += len(planted.files)
            self.clean_told += sum(bool(kinds - set(planted.also)) for kinds in told.values())
        else:
            kind = planted.kinds[0]
            self.planted[label] += 1
            place = planted.faulty or planted.files[0].parent
            if kind in told.get(place, set()):
                self.found[label] += 1
            else:
                self.where[label].append(f"missed in {planted.files[0].name}")
        for path, kinds in told.items():
            mine = set(planted.kinds) if path in (planted.faulty, planted.files[0].parent) else set()
            mine |= set(planted.also)
            for wrong in kinds - mine:
                self.false[wrong] += 1
                self.where[wrong].append(f"told wrongly of {path.name} ({label})")

    def report(self, kinds: dict[str, str], *, detail: bool) -> bool:
        """Print recall by plant and precision by kind; return whether both hold."""
        holds = True
        found_of: Counter[str] = Counter()
        for label, kind in kinds.items():
            found_of[kind] += self.found[label]
        for label, kind in kinds.items():
            recall = self.found[label] / self.planted[label] if self.planted[label] else 1.0
            told = found_of[kind] + self.false[kind]
            precision = found_of[kind] / told if told else 1.0
            good = recall >= EACH and precision >= EACH
            holds = holds and good
            if detail:
                mark = "" if good else "   <-- below"
                print(f"  {label:24} {self.found[label]:3}/{self.planted[label]:<3} precision {precision:4.0%}{mark}")
        recall = sum(self.found.values()) / max(1, sum(self.planted.values()))
        told = sum(self.found.values()) + sum(self.false.values())
        precision = sum(self.found.values()) / told if told else 0.0
        print(f"  pooled recall {recall:.1%}, precision {precision:.1%}; clean files {self.clean_files}, ", end="")
        print(f"of which told of: {self.clean_told}")
        return holds and recall >= POOLED and precision >= POOLED and self.clean_told == 0


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--each", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--audio", type=Path, default=Path("none"))
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--no-demo", action="store_true")
    asked = parser.parse_args()
    pieces = [*made(asked.seed), *made(asked.seed + 1), *from_stems(asked.audio / "seven-stems")]
    pieces += [*from_records(asked.audio / "references"), *(() if asked.no_demo else from_demo())]
    print(f"{len(pieces)} pieces, made in {time.process_time():.0f} s of processor time")
    scores = {"check": Score(), "nothing": Score(), "plain": Score()}
    kinds: dict[str, str] = {}
    rng = np.random.default_rng(asked.seed)
    with tempfile.TemporaryDirectory() as scratch:
        for plant in PLANTS:
            label = plant.__name__
            if not asked.only or label in asked.only:
                planted = _planted(plant, pieces, asked.each, Path(scratch), rng)
                kinds[label] = planted[0].kinds[0]
                _add(scores, label, planted)
                print(f"{label}: {scores['check'].found[label]} of {len(planted)}", flush=True)
        if not asked.only or "clean" in asked.only:
            folder = Path(scratch) / "clean"
            folder.mkdir()
            for k, piece in enumerate(pieces):
                _add(scores, "clean", [_of(piece, one) for one in clean(k, piece, folder, rng)])
                print(f"clean {piece.name}: told of {scores['check'].clean_told} so far", flush=True)
    results = {}
    for name, score in scores.items():
        print(f"{name}:")
        results[name] = score.report(kinds, detail=name == "check")
    for label, places in sorted(scores["check"].where.items()):
        print(f"{label}: {'; '.join(places[:8])}")
    print(f"{time.process_time():.0f} s of processor time here, and what decoding took")
    print(f"holds: {results['check']}; nothing fails: {not results['nothing']}; plain fails: {not results['plain']}")
    return 0 if results["check"] and not results["nothing"] and not results["plain"] else 1


def _planted(
    plant: Plant, pieces: Sequence[Piece], each: int, scratch: Path, rng: np.random.Generator
) -> list[Planted]:
    """Plant one kind in so many pieces, in an order of its own; those in which it cannot be are passed over."""
    order = rng.permutation(len(pieces)).tolist()
    planted: list[Planted] = []
    for number in range(4 * len(pieces)):
        piece = pieces[order[number % len(pieces)]]
        folder = scratch / f"{plant.__name__}-{number}"
        folder.mkdir()
        with suppress(LookupError):
            planted.append(_of(piece, plant(piece, folder, piece.name.replace("-", "").title(), rng)))
        if len(planted) == each:
            break
    return planted


def _of(piece: Piece, planted: Planted) -> Planted:
    """Return what was planted, with what the piece itself has."""
    return replace(planted, also=("lossy_source",)) if piece.coded else planted


def _add(scores: dict[str, Score], label: str, planted: Sequence[Planted]) -> None:
    for one, told in zip(planted, told_by_check(planted), strict=True):
        scores["check"].add(label, one, told)
        scores["nothing"].add(label, one, told_by_nothing(one))
        scores["plain"].add(label, one, told_plainly(one))
        for path in (*one.files, one.against, one.voice):
            if path is not None:
                path.unlink(missing_ok=True)


if __name__ == "__main__":
    raise SystemExit(main())
