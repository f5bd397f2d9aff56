# SPDX-License-Identifier: Apache-2.0
"""What a plan makes small, and by what it changes with every setting."""

from dataclasses import replace

import numpy as np
import pytest
from invented_room import BASS, GUITAR, ROWS, all_kinds, candidate, covered, sections

from mixwright.hearing.constants import CUED_DB, constants_at
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.place_loudness import alone_slope, cued_slopes, place_hz
from mixwright.model.ledger import Finding
from mixwright.model.ranges import Range
from mixwright.planning.objective import Essential, Objective, State, essential_change
from mixwright.planning.powers import phon
from mixwright.planning.terms import hinge
from reference import ear_twin as twin

#: What of the constants is one number for each place.
ARRAYS = ("threshold", "gain", "exponent", "offset", "masked_ratio")

WHOLE = Finding(
    id="covered-row-3", kind="covered", track="row-1", section="Chorus", start_s=0.0, end_s=10.0, band_hz=None,
    size_db=Range(cued=17.0, strict=22.0), tolerance_db=14.0, excess_db=3.0,
)  # fmt: skip


def levels(rows, gain_db):
    return [(candidate("level", row, [("gain_db", 0.0, -20.0, 20.0, 0.0)]), np.array([gain_db])) for row in rows]


@pytest.fixture
def exact(monkeypatch):
    """Loudness in double precision from the slow twin, so that small steps tell; derivatives stay the kernel's."""
    constants = constants_at(place_hz())

    def at(places):
        arrays = {name: getattr(constants, name) for name in ARRAYS}
        return constants if places is None else replace(constants, **{k: v[places] for k, v in arrays.items()})

    def alone(own, places=None):
        _, slope = alone_slope(own.astype(np.float32), places)
        return 0.5 * twin.specific_loudness(own, at(places)), slope

    def cued(own, rest, places=None):
        _, by_own, by_rest = cued_slopes(own.astype(np.float32), rest.astype(np.float32), places)
        return 0.5 * twin.partial_loudness(own, rest, at(places), CUED_DB), by_own, by_rest

    for name, replaced in (("alone_slope", alone), ("cued_slopes", cued), ("_single", np.asarray)):
        monkeypatch.setattr(f"mixwright.planning.audible.{name}", replaced)


@pytest.mark.usefixtures("exact")
def test_every_derivative_is_what_a_small_step_does():
    near = np.abs(np.log2(place_hz() / 90.0)) < 0.3
    essential = {("Verse", BASS): Essential(np.broadcast_to(near, (40, len(near))), 0.1)}
    objective = Objective(sections(), ROWS, [*covered(), WHOLE], essential=essential, kept={GUITAR: 0.7})
    chosen = all_kinds()
    state = State(objective, chosen)
    assert state.cost.wrong > 0.5
    assert state.cost.harm > 0.5
    for m, (one, values) in enumerate(chosen):
        for k, setting in enumerate(one.settings):
            step = 0.0002 * (values[k] if setting.name.endswith("hz") else setting.high - setting.low)
            costs = []
            for sign in (1.0, -1.0):
                moved = values.copy()
                moved[k] += sign * step
                costs.append(objective.cost([*chosen[:m], (one, moved), *chosen[m + 1 :]]).total)
            found, wanted = state.gradient()[m][k] * step, (costs[0] - costs[1]) / 2.0
            assert found == pytest.approx(wanted, rel=2e-3, abs=2e-7), (one.kind, setting.name)


def test_slopes_foretell_what_one_more_move_does():
    objective = Objective(sections(), ROWS, covered())
    state = State(objective, ())
    one, _ = levels([GUITAR], 0.0)[0]
    values = np.array([-0.05])
    now = objective.cost([(one, values)])
    assert state.predicted(one, values) == pytest.approx(now.wrong + now.harm - state.cost.wrong, rel=0.05)


def test_all_rows_up_by_the_same_is_no_change():
    objective = Objective(sections(), [replace(row, place="support") for row in ROWS], covered())
    before, after = objective.cost(()), objective.cost(levels(range(4), 3.0))
    assert objective.shift_db(levels(range(4), 3.0)) == pytest.approx(-3.0)
    assert (after.wrong, after.harm) == pytest.approx((before.wrong, before.harm), abs=1e-4)


def test_one_row_up_is_at_the_cost_of_the_others():
    objective = Objective(sections(), ROWS, ())
    assert objective.shift_db(levels([GUITAR], 6.0)) < -2.0
    assert objective.cost(levels([GUITAR], 6.0)).harm > 1.0
    assert objective.cost(()).harm == pytest.approx(0.0)


def test_as_the_mix_stands_a_finding_lies_as_far_outside_as_the_ledger_says():
    objective = Objective(sections(hump_db=60.0, pad_db=92.0), ROWS, [*covered(1.2), WHOLE])
    heard = State(objective, ()).heard(1)
    outside = [one for one in objective.sections[1].terms if getattr(one, "finding", None) is not None]
    band = next(one for one in outside if one.finding.band_hz is not None)
    whole = next(one for one in outside if one.finding.band_hz is None)
    assert band.cost_db(heard) == pytest.approx(1.5)
    by_db = phon_from_sone(heard.raised[whole.row].sum()) - phon_from_sone(heard.cued[whole.row].sum())
    assert whole.outside_phon(heard) == pytest.approx(3.0 * np.clip(by_db / 14.0, 0.3, 1.5), abs=0.01)


def test_what_the_ledger_does_not_tell_of_is_not_wrong():
    assert Objective(sections(), ROWS, ()).cost(()).total == 0.0
    assert Objective(sections(), [replace(row, place="bed") for row in ROWS], covered()).cost(()).total == 0.0


def test_a_cut_of_what_is_essential_costs():
    where = np.broadcast_to(np.abs(np.log2(place_hz() / 2000.0)) < 0.3, (40, len(place_hz())))
    essential = {(name, GUITAR): Essential(where, 0.5) for name in ("Verse", "Chorus")}
    settings = [("gain_db", 0.0, -4.0, 0.0, -3.0)]
    inside = candidate("shape", GUITAR, settings, {"hz": 500.0, "q": 2.0}), np.array([-4.0])
    through = candidate("shape", GUITAR, settings, {"hz": 2000.0, "q": 2.0}), np.array([-4.0])
    without = Objective(sections(), ROWS, covered())
    held = Objective(sections(), ROWS, covered(), essential=essential)
    assert held.cost([inside]).harm == without.cost([inside]).harm
    assert held.cost([through]).harm > without.cost([through]).harm + 1.0
    change_db, _ = essential_change(held.sections[0].audible, GUITAR, where, np.array(-6.0))
    assert change_db == pytest.approx(0.0)  # a fader takes nothing away


def test_a_limit_is_rounded():
    assert hinge(-1.0) == (0.0, 0.0)
    assert hinge(2.0) == (1.75, 1.0)
    assert hinge(0.25)[1] == pytest.approx((hinge(0.2501)[0] - hinge(0.2499)[0]) / 0.0002)


def test_phon_is_that_of_the_ear():
    for sone in (1e-6, 0.0031, 0.023, 0.9, 1.1, 41.0, 871.0):
        here, slope = phon(sone)
        assert here == pytest.approx(float(phon_from_sone(sone)), abs=1e-9)
        assert slope == pytest.approx((phon(sone * 1.0001)[0] - phon(sone * 0.9999)[0]) / (0.0002 * sone), rel=1e-3)
