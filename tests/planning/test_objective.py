# SPDX-License-Identifier: Apache-2.0
"""What a plan makes small, and by what it changes with every setting."""

from dataclasses import replace

import numpy as np
import pytest
from invented_room import BASS, GUITAR, ROWS, VOICE, all_kinds, candidate, covered, louder, sections
from scipy.optimize import brentq

from mixwright.hearing.constants import CUED_DB, constants_at
from mixwright.hearing.phon import phon_from_sone
from mixwright.hearing.place_loudness import alone_slope, cued_slopes, place_hz
from mixwright.model.ledger import Finding, TakenBy
from mixwright.model.ranges import Range
from mixwright.model.song import changed
from mixwright.planning.audible import Heard
from mixwright.planning.known_section import Essential
from mixwright.planning.objective import Objective, State, essential_change
from mixwright.planning.powers import phon
from mixwright.planning.terms import OUTSIDE_PHON, LossTerm, Moved, WholeTerm, added_up, at_all, hinge, worth
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
            # A thousandth is far over what single precision blurs, and near enough for 1e-3.
            step = 0.001 * (values[k] if setting.name.endswith("hz") else setting.high - setting.low)
            costs = []
            for sign in (1.0, -1.0):
                moved = values.copy()
                moved[k] += sign * step
                costs.append(objective.cost([*chosen[:m], (one, moved), *chosen[m + 1 :]]).total)
            found, wanted = state.gradient()[m][k] * step, (costs[0] - costs[1]) / 2.0
            assert found == pytest.approx(wanted, rel=1e-3, abs=2e-7), (one.kind, setting.name)


@pytest.mark.usefixtures("exact")
def test_derivatives_hold_where_a_layer_stands_apart_from_other_sections():
    objective = Objective([sections()[0], louder(sections()[1], GUITAR, 9.0)], ROWS, [*covered(), WHOLE])
    assert set(objective.sections[1].standing) == {GUITAR}
    here = {"sections": ("Chorus",)}
    down, cut = ("gain_db", 0.0, -12.0, 0.0, -3.0), ("gain_db", 0.0, -6.0, 0.0, -3.0)
    dip = {"hz": 1700.0, "q": 1.0, "margin_db": 6.0}
    chosen = [
        (candidate("level", GUITAR, [down], **here), np.array([-4.0])),
        (candidate("shape", GUITAR, [cut], {"hz": 2000.0, "q": 1.0}, **here), np.array([-2.0])),
        (
            candidate("dip", GUITAR, [("most_db", 0.0, 0.0, 6.0, 3.0)], dip, key="row-0", key_rows=(VOICE,), **here),
            np.array([3.0]),
        ),
    ]
    state = State(objective, chosen)
    assert state.cost.apart < -0.5
    for m, (one, values) in enumerate(chosen):
        up, down = (
            objective.cost([*chosen[:m], (one, values + step), *chosen[m + 1 :]]).total for step in (0.01, -0.01)
        )
        assert state.gradient()[m][0] == pytest.approx((up - down) / 0.02, rel=2e-3, abs=1e-4), one.kind


# Of a support its own loss is foretold, too, which does not count once it is moved.
@pytest.mark.parametrize(("place", "near"), [("bed", 0.05), ("support", 0.15)])
def test_slopes_foretell_what_one_more_move_does(place, near):
    rows = [replace(row, place=place) if row.id == f"row-{GUITAR}" else row for row in ROWS]
    objective = Objective(sections(), rows, covered())
    state = State(objective, ())
    one, _ = levels([GUITAR], 0.0)[0]
    values = np.array([-0.05])
    now = objective.cost([(one, values)])
    assert state.predicted(one, values) == pytest.approx(now.wrong + now.harm - state.cost.wrong, rel=near)


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


def test_each_further_move_is_dearer():
    objective = Objective(sections(), ROWS, ())
    for n, wanted in enumerate((0.0, 0.2, 0.9, 2.1, 3.8)):  # 0.2, then 0.5 more for each
        assert objective.cost(levels([GUITAR] * n, 0.0)).price == pytest.approx(wanted)


def test_what_is_in_the_way_is_told_by_its_part_of_what_is_lost():
    taken = (("row-1", 0.6), ("row-3", 0.2), ("elsewhere", 0.2))
    causes = tuple(TakenBy(track=id_, fraction=fraction) for id_, fraction in taken)
    findings = [changed(one, caused_by=causes) for one in (*covered(), WHOLE)]
    objective = Objective(sections(), ROWS, findings)
    for known in objective.sections:
        blame = {known.audible.judged[one.row]: one.blame for one in known.terms if isinstance(one, LossTerm)}
        assert blame == pytest.approx({VOICE: 0.0, GUITAR: 0.75, BASS: 0.25})


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


#: 20 phon are about 0.1 sone (ISO 532-2 puts 0.004 at threshold): `phon` is checked below.
BEFORE_PHON = 60.0


def lost_or_gained(change_phon, *, place="lead", blame=0.0, moved=False, apart=None):
    """Return harm, what is wrong, the derivative of all, and what stands apart, of a layer that changes so much."""
    sone = float(brentq(lambda x: phon(x)[0] - BEFORE_PHON - change_phon, 1e-3, 1e3, xtol=1e-13))
    nothing = np.zeros((0, 1))
    heard = Heard(np.array([[sone]]), np.array([[sone]]), np.array([[sone]]), nothing)
    rows = {0} if moved else ()
    found = Moved(rows) if apart is None else Moved(rows, np.array([apart]))
    part = added_up([LossTerm(0, place, BEFORE_PHON, blame)], heard, found)
    return part.harm, part.wrong, float(part.by.cued[0, 0]) / phon(sone)[1], part.apart


@pytest.mark.parametrize("moved", [False, True])
@pytest.mark.parametrize("blame", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("change_phon", [-6.0, -1.0, -0.5, -0.25, -0.1, 0.0, 0.1, 0.25, 1.0, 6.0])
@pytest.mark.parametrize("apart", [None, -3.0, 2.0])
def test_the_slope_of_what_others_lose_and_gain_holds_as_the_mix_stands_too(change_phon, blame, moved, apart):
    given = {"blame": blame, "moved": moved, "apart": apart}
    up, down = (lost_or_gained(change_phon + x, **given) for x in (1e-4, -1e-4))
    up, down = (one[0] + one[1] + one[3] for one in (up, down))
    slope = lost_or_gained(change_phon, **given)[2]
    assert slope == pytest.approx((up - down) / 2e-4, rel=1e-3, abs=1e-4)


def test_what_others_lose_grows_by_more_than_it_is_and_what_is_in_the_way_may_lose():
    lost = {change: lost_or_gained(change)[0] for change in (-0.5, -2.75, -4.75)}  # hinge takes 0.25, 0.5 are free
    assert lost == pytest.approx({-0.5: 0.0, -2.75: 4.0, -4.75: 12.0})  # x + x^2 / 2
    for blame in (0.0, 0.2):  # moved, but not what is in the way
        assert lost_or_gained(-4.75, blame=blame, moved=True)[0] == pytest.approx(12.0)
    for blame in (0.5, 0.9):  # in the way: 0.3 (x + x^2 / 6)
        assert lost_or_gained(-4.75, blame=blame, moved=True)[0] == pytest.approx(0.3 * (4.0 + 16.0 / 6.0))
    assert lost_or_gained(-4.75, blame=0.9)[0] == pytest.approx(12.0)  # not moved: it is not to lose
    assert lost_or_gained(-4.75, place="support")[0] == pytest.approx(0.6 * 12.0)


def test_what_moves_in_a_section_alone_undo_is_no_loss_and_nearer_to_the_other_sections_is_better():
    nearer = [lost_or_gained(change, moved=True, apart=-6.0) for change in (0.0, -3.0, -6.0, -9.0)]
    assert [one[0] for one in nearer[:3]] == [0.0, 0.0, 0.0]
    assert nearer[3][0] > 1.0
    assert nearer[0][3] == pytest.approx(0.0)
    assert nearer[2][3] < nearer[1][3] < 0.0
    assert nearer[3][3] > nearer[2][3]
    assert lost_or_gained(-3.0)[3] == 0.0  # nothing is known of it


def test_what_others_gain_counts_less_and_less_and_what_is_moved_gains_nothing():
    assert lost_or_gained(0.0)[1] == 0.0
    gains = [-lost_or_gained(change)[1] for change in (0.0, 1.0, 2.0, 4.0, 40.0)]
    assert np.all(np.diff(gains) > 0.0)
    assert gains[1] == pytest.approx(0.25 * 2.5 * (1.0 - np.exp(-1.0 / 2.5)), abs=0.016)
    assert gains[-1] == pytest.approx(0.25 * 2.5, abs=0.016)
    assert lost_or_gained(4.0, moved=True)[1] == 0.0
    assert lost_or_gained(4.0, place="support")[1] == pytest.approx(-0.6 * gains[3])


@pytest.mark.parametrize("finding", [None, WHOLE])
@pytest.mark.parametrize("outside_phon", [-0.75, -0.25, 0.1, 0.25, 3.0])
def test_the_slope_of_a_layer_as_a_whole_holds_near_its_tolerance_and_far(outside_phon, finding):
    sone = np.array([[2.0]])
    offset = outside_phon - phon(2.0)[0] + phon(1.5)[0]
    term = WholeTerm(0, "support", offset, finding, 0.0 if finding is None else 0.5)

    def part(alone, raised):
        return added_up([term], Heard(alone, sone, raised, np.zeros((0, 1))))

    found = part(sone, 0.75 * sone)
    for name, step in (("alone", np.array([1e-5, 0.0])), ("raised", np.array([0.0, 1e-5]))):
        up, down = (part(*(np.array([[x]]) for x in (2.0, 1.5) + sign * step)).wrong for sign in (1.0, -1.0))
        assert getattr(found.by, name)[0, 0] == pytest.approx((up - down) / 2e-5, rel=1e-3, abs=1e-6)
    assert (found.wrong > 0.0) is (outside_phon > (0.0 if finding is None else -0.5))


def test_that_something_lies_outside_at_all_counts():
    assert at_all(0.0, 0.5) == (0.0, 2.0)
    assert at_all(5.0, 0.5)[0] == pytest.approx(1.0, abs=1e-4)
    assert at_all(0.3, 0.5)[1] == pytest.approx((at_all(0.3001, 0.5)[0] - at_all(0.2999, 0.5)[0]) / 0.0002)
    # A band that the ledger tells of at all counts 0.6 of one that lies well outside, for lying outside.
    hardly, far = (Objective(sections(), ROWS, covered(excess, names=("Verse",))).cost(()) for excess in (1e-6, 0.15))
    assert hardly.wrong > 0.6 * OUTSIDE_PHON * 0.6
    assert far.wrong > OUTSIDE_PHON
    assert worth(covered(0.0)[0]) == pytest.approx(0.6)
    assert worth(covered(0.15)[0]) == worth(covered(3.0)[0]) == 1.0


def test_a_limit_is_rounded():
    assert hinge(-1.0) == (0.0, 0.0)
    assert hinge(2.0) == (1.75, 1.0)
    assert hinge(0.25)[1] == pytest.approx((hinge(0.2501)[0] - hinge(0.2499)[0]) / 0.0002)


def test_phon_is_that_of_the_ear():
    for sone in (1e-6, 0.0031, 0.023, 0.9, 1.1, 41.0, 871.0):
        here, slope = phon(sone)
        assert here == pytest.approx(float(phon_from_sone(sone)), abs=1e-9)
        assert slope == pytest.approx((phon(sone * 1.0001)[0] - phon(sone * 0.9999)[0]) / (0.0002 * sone), rel=1e-3)


@pytest.mark.parametrize(("fraction", "gain_db", "short"), [(0.5, 0.0, True), (0.8, 0.0, False), (0.5, 12.0, False)])
def test_a_lead_that_several_take_and_that_is_at_its_edge_as_a_whole_is_short(fraction, gain_db, short):
    causes = (TakenBy(track="row-1", fraction=fraction), TakenBy(track="row-2", fraction=0.1))
    findings = [changed(one, caused_by=causes) for one in covered()]
    made = [louder(one, VOICE, gain_db) for one in sections()]
    for known in Objective(made, ROWS, findings).sections:
        assert known.short_leads == (frozenset({VOICE}) if short else frozenset())
