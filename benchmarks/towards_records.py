# SPDX-License-Identifier: Apache-2.0
"""Moves towards the records: how much comes in when it is rendered, beside what was foretold, and who pays.

    python benchmarks/towards_records.py [--stems FOLDER] [--songs 2]

Songs of 20 s, layers as mixed (recovery_songs.py), with their own mix as a record, changed as a whole in one of six
ways and ticked for that attribute alone: the low end 6 dB more or less, a third of an octave 5 dB more or less, the
sides 6 dB more or less. So nothing is wrong with a song by itself, and what lies outside is a direction. It is planned;
all moves are accepted, and it is compared and planned again. Ends with status 1 where a move misses what was foretold
by more than half a decibel, more than two are made, a layer leaves its tolerance as a whole for them, or one is made
for a record that nobody ticked.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

import numpy as np
from recovery_songs import Excerpt, excerpts_of_demo, excerpts_of_stems, write_song
from scipy.signal import lfilter

from mixwright.app.compare import compare
from mixwright.app.decide import accept
from mixwright.app.plan import plan
from mixwright.demo.signals import RATE_HZ
from mixwright.io.song_file import edit_song
from mixwright.io.write import write_wav
from mixwright.model.comparison import ComparedRow
from mixwright.model.ledger import Finding
from mixwright.model.song import Reference, changed

KINDS = tuple((kind, sign) for kind in ("low_end", "spectrum", "width") for sign in (-1.0, 1.0))
#: Foretold and rendered may differ by so much, in dB.
_MOST_OFF_DB = 0.5
_BELL_HZ = 800.0


def main() -> int:
    told = argparse.ArgumentParser()
    told.add_argument("--stems", type=Path)
    told.add_argument("--songs", type=int, default=2)
    asked = told.parse_args()
    songs = [*(excerpts_of_stems(asked.stems)[:1] if asked.stems else ()), *excerpts_of_demo()][: asked.songs]
    missed, off, without = [], [], 0
    for song in songs:
        with tempfile.TemporaryDirectory() as scratch:
            path = write_song(Path(scratch), song)
            for kind, sign in KINDS:
                words, wrong, differ = tried(path, song, kind, sign)
                print(f"{song.name}, {'more' if sign > 0.0 else 'less'} {kind}: {words}", flush=True)
                missed += [f"{song.name}, {kind}: {one}" for one in wrong]
                off += differ
                without += not differ
    largest = f"{max(off):.2f} dB at most, {np.median(off):.2f} at the median" if off else "none"
    print(
        f"{len(off)} moves, none in {without} of {len(songs) * len(KINDS)}; rendered beside foretold off by {largest}"
    )
    print("all as wanted" if not missed else f"missed: {'; '.join(missed)}")
    return bool(missed)


def tried(path: Path, song: Excerpt, kind: str, sign: float) -> tuple[str, list[str], list[float]]:
    """Return what a record did in words, what was not as wanted, and how far each move missed."""
    record = changed_record(song.whole, kind, sign)
    write_wav(path.parent / f"{kind}.wav", [record], rate_hz=RATE_HZ, channels=2, frames=len(record),
              sample_format="float32")  # fmt: skip
    reference = Reference(id="record", file=f"../{kind}.wav")
    edit_song(path, "record", lambda now: changed(now, references=(reference,), moves=()))
    wrong = []
    if any(one.towards for one in plan(path).moves):
        wrong.append("moves for a record that nobody ticked")
    edit_song(path, "tick", lambda now: changed(now, references=(changed(reference, use_for=(kind,)),)))
    planned, before = plan(path), outside(path)
    moves = [one for one in planned.moves if one.towards]
    if not moves:
        rows = [abs(row.outside) for row in before.values() if not row.section]
        return f"{len(rows)} figures of the whole outside, {max(rows, default=0.0):.1f} dB at most; no moves", wrong, []
    if len(moves) > 2:
        wrong.append(f"{len(moves)} moves")
    accept(path, [one.id for one in planned.moves])
    after, again = outside(path, all_of_them=True), plan(path)
    words, differ = [], []
    for one in moves:
        row = nearest(before, after, one.towards, one.measured["outside_db"] or 0.0, one.sections)
        if row is not None:
            differ.append(abs(beyond(row) - (one.predicted["outside_db"] or 0.0)))
        settings = ", ".join(f"{key} {value:g}" for key, value in one.settings.items())
        words.append(
            f"{one.kind} of {one.target}{' in ' if one.sections else ''}{', '.join(one.sections)} ({settings}), "
            f"{one.towards} {one.measured['outside_db']:+.1f} to {one.predicted['outside_db']:+.1f}, "
            + (f"rendered {beyond(row):+.1f}" if row is not None else "not compared")
        )
    if differ and max(differ) > _MOST_OFF_DB:
        wrong.append(f"foretold and rendered differ by {max(differ):.2f} dB")
    left = {one.track for one in again.findings if whole(one)} - {one.track for one in planned.findings if whole(one)}
    wrong += [f"{track} leaves its tolerance" for track in sorted(left)]
    bands = [sum(not whole(one) for one in found.findings) for found in (planned, again)]
    return f"{'; '.join(words)}; bands told {bands[0]}, then {bands[1]}", wrong, differ


def whole(finding: Finding) -> bool:
    return finding.band_hz is None


def outside(path: Path, *, all_of_them: bool = False) -> dict[tuple[str, str, float | None], ComparedRow]:
    rows = compare(path).rows
    return {(row.figure, row.section, row.low_hz): row for row in rows if row.outside or all_of_them}


def beyond(row: ComparedRow) -> float:
    """Return how far outside a row lies, also where that is too little to be told."""
    return row.value - row.high if row.value > row.high else min(0.0, row.value - row.low)


def nearest(
    before: dict[tuple[str, str, float | None], ComparedRow],
    after: dict[tuple[str, str, float | None], ComparedRow],
    figure: str,
    outside_db: float,
    sections: tuple[str, ...],
) -> ComparedRow | None:
    """Return the row that a move was made for, as it stands now: of its figure the one that lay as far outside."""
    of = [key for key, row in before.items() if row.figure == figure and row.section in (*sections, "")]
    if not of:
        return None
    return after.get(min(of, key=lambda key: abs(before[key].outside - outside_db)))


def changed_record(mix: np.ndarray, kind: str, sign: float) -> np.ndarray:
    if kind == "low_end":
        found = lfilter(*low_shelf(250.0, sign * 6.0), mix, axis=0)
    elif kind == "spectrum":
        found = lfilter(*bell(_BELL_HZ, sign * 5.0, 2.0), mix, axis=0)
    else:
        mid, side = mix.mean(axis=1), 10.0 ** (sign * 0.3) * (mix[:, 0] - mix[:, 1]) / 2.0
        found = np.stack([mid + side, mid - side], axis=1)
    return found.astype(np.float32)


def bell(hz: float, gain_db: float, q: float) -> tuple[list[float], list[float]]:
    """Return a bell (Audio EQ Cookbook, R. Bristow-Johnson; W3C Working Group Note, 2021)."""
    a, at = 10.0 ** (gain_db / 40.0), 2.0 * np.pi * hz / RATE_HZ
    alpha, cosine = np.sin(at) / (2.0 * q), np.cos(at)
    return [1.0 + alpha * a, -2.0 * cosine, 1.0 - alpha * a], [1.0 + alpha / a, -2.0 * cosine, 1.0 - alpha / a]


def low_shelf(hz: float, gain_db: float) -> tuple[list[float], list[float]]:
    """Return a shelf of the first order: the gain far below `hz`, its half in dB there, nothing far above."""
    k, root = np.tan(np.pi * hz / RATE_HZ), 10.0 ** (gain_db / 40.0)
    return [1.0 + k * root, k * root - 1.0], [1.0 + k / root, k / root - 1.0]


if __name__ == "__main__":
    sys.exit(main())
