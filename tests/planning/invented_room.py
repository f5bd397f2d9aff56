# SPDX-License-Identifier: Apache-2.0
"""A song of a voice, a guitar with a hump where the voice needs room, a pad and a bass: two sections, no sound."""

from dataclasses import replace

import numpy as np
from invented_excited import excited, humps

from mixwright.ledger.findings import LedgerRow
from mixwright.model.ledger import Finding, finding_id
from mixwright.model.ranges import Range
from mixwright.planning.candidate import Candidate, Setting

VOICE, GUITAR, PAD, BASS = range(4)
ROWS = tuple(LedgerRow(f"row-{k}", place) for k, place in enumerate(("lead", "support", "bed", "support")))
SECTIONS = ("Verse", "Chorus")


def sections(hump_db=76.0, pad_db=62.0):
    """Return two sections; without the hump of the guitar, below 60 dB, nothing is in the way."""
    own = [
        humps([300.0, 1000.0, 2500.0], 68.0, 0.6),
        humps([700.0, 2200.0], 70.0, 0.8) + humps(2000.0, hump_db, 0.25),
        humps([500.0, 1500.0], pad_db, 1.2),
        humps(80.0, 75.0, 0.7),
    ]
    return [excited(own, name, seed) for seed, name in enumerate(SECTIONS, 1)]


def louder(section, row, gain_db):
    """Return a section in which one row is louder by so many dB, one number or (PLACES,)."""
    gain = np.ones((len(section.rows), 1, 1, section.own.shape[-1]), dtype=np.float32)
    gain[row] = 10.0 ** (np.asarray(gain_db) / 10.0)
    power = section.k_power * gain
    return replace(section, own=section.own * gain, alone=section.alone * gain, k_power=power / power.sum())


def covered(excess_db=1.2, names=SECTIONS):
    """Return findings: the guitar takes a band of the voice."""
    band_hz = (1500.0, 2700.0)
    return tuple(
        Finding(
            id=finding_id("covered_band", "row-0", name, band_hz),
            kind="covered_band",
            track="row-0",
            section=name,
            start_s=0.0,
            end_s=10.0,
            band_hz=band_hz,
            size_db=Range(cued=9.0, strict=12.0),
            tolerance_db=0.3,
            excess_db=excess_db,
            taker="row-1",
        )
        for name in names
    )


def candidate(kind, row, settings, fixed=None, **more):
    """Return a candidate for one row; settings are (name, start, low, high, first)."""
    made = tuple(Setting(*one) for one in settings)
    return Candidate(kind, f"row-{row}", more.pop("sections", ()), (row,), made, fixed or {}, **more)


def candidates(finding):
    """Return moves that might help against a finding, some of them not."""
    down, up = ("gain_db", 0.0, -6.0, 0.0, -3.0), ("gain_db", 0.0, 0.0, 4.0, 2.0)
    hz = ("hz", 2000.0, 1500.0, 2700.0, 2000.0)
    asked = {"finding": finding.id}
    return [
        candidate("level", GUITAR, [down], **asked),
        candidate("level", PAD, [down], **asked),
        candidate("level", VOICE, [up], **asked),
        candidate("pan", GUITAR, [("pan", 0.0, -1.0, 1.0, 0.5)], known={"from_pan": 0.0, "law": 1.0}, **asked),
        candidate("band_limit", PAD, [("high_hz", 20000.0, 2000.0, 20000.0, 6000.0)], {"slope_db_oct": 12.0}, **asked),
        candidate("shape", GUITAR, [("gain_db", 0.0, -4.0, 0.0, -3.0), hz], {"q": 2.0}, **asked),
        candidate("shape", PAD, [("gain_db", 0.0, -4.0, 0.0, -3.0), hz], {"q": 2.0}, **asked),
        candidate(
            "dip", GUITAR, [("most_db", 0.0, 0.0, 6.0, 4.0)], {"hz": 2000.0, "q": 1.0, "margin_db": 6.0},
            key="row-0", key_rows=(VOICE,), **asked,
        ),
    ]  # fmt: skip


def all_kinds(key=VOICE):
    """Return one candidate of every kind with values that do something."""
    made = [
        (candidate("level", 1, [("gain_db", 0.0, -6.0, 6.0, -2.0)]), [-2.3]),
        (
            candidate("shape", 3, [("gain_db", 0.0, -4.0, 4.0, -2.0), ("hz", 90.0, 50.0, 2000.0, 90.0)], {"q": 1.7}),
            [-3.1, 95.0],
        ),
        (candidate("tilt", 1, [("gain_db", 0.0, -4.0, 4.0, 1.0)], {"hz": 700.0}, sections=("Verse",)), [1.3]),
        (
            candidate(
                "band_limit", 2,
                [("low_hz", 20.0, 20.0, 400.0, 100.0), ("high_hz", 20000.0, 2000.0, 20000.0, 9000.0)],
                {"slope_db_oct": 12.0},
            ),
            [180.0, 5000.0],
        ),
        (
            candidate(
                "dip", 2, [("most_db", 0.0, 0.0, 6.0, 3.0), ("margin_db", 0.0, -10.0, 18.0, 3.0)],
                {"hz": 1700.0, "q": 1.0}, sections=("Chorus",), key="row-0", key_rows=(key,),
            ),
            [3.0, 2.0],
        ),
        (
            candidate(
                "duck", 2, [("depth_db", 0.0, 0.0, 6.0, 3.0)], {"low_hz": 0.0, "high_hz": 0.0},
                key="row-0", key_rows=(key,),
            ),
            [2.0],
        ),
        (candidate("pan", 1, [("pan", 0.0, -1.0, 1.0, 0.4)], known={"from_pan": 0.0, "law": 1.0}), [0.4]),
        (candidate("width", 3, [("width", 1.0, 0.3, 1.0, 0.6)], known={"correlation": 0.2}), [0.6]),
        (
            candidate(
                "even_out", 1,
                [
                    ("threshold_db", 0.0, -30.0, 0.0, -10.0),
                    ("ratio", 1.5, 1.0, 3.0, 2.0),
                    ("gain_db", 0.0, -3.0, 3.0, 1.0),
                ],
                known={"level_db": -20.0},
            ),
            [-22.0, 1.8, 0.7],
        ),
        (candidate("send", 2, [("gain_db", 0.0, -6.0, 3.0, -2.0)], feeds=((1, -6.0), (0, -3.0)), send="x"), [-2.0]),
    ]  # fmt: skip
    return [(one, np.array(values)) for one, values in made]


def permuted(excited_section, order):
    """Return a section with its rows in another order: row k of it is row `order[k]` of the one given."""
    per_row = ("own", "alone", "ratio", "inhibited", "inhibited_alone", "seconds", "active_s", "k_power")
    arrays = {name: getattr(excited_section, name)[list(order)] for name in per_row}
    return replace(excited_section, rows=tuple(excited_section.rows[k] for k in order), **arrays)


def moved_to(one, order):
    """Return a candidate whose rows are numbered as in a permuted section."""
    at = {old: new for new, old in enumerate(order)}
    return replace(
        one,
        rows=tuple(at[row] for row in one.rows),
        key_rows=tuple(at[row] for row in one.key_rows),
        feeds=tuple((at[row], db) for row, db in one.feeds),
    )
