# SPDX-License-Identifier: Apache-2.0
"""What grew since an earlier ledger, in invented clashes."""

from __future__ import annotations

import pytest
from clashes import SECONDS, SECTIONS, band, heard

from mixwright.ledger.findings import LedgerRow, ledger_of
from mixwright.ledger.growth import growth
from mixwright.ledger.tolerances import STEP

ROWS = [LedgerRow("voice", "lead"), LedgerRow("pad", "bed")]


@pytest.fixture(scope="module")
def songs():
    """A voice with a pad in its way: hardly any, some, and much of it; each as heard and as told."""
    voice = band(1, 300.0, 3400.0, -30.0)
    layers = [{"voice": voice, "pad": band(3, 1000.0, 1700.0, level_db, SECONDS)} for level_db in (-60.0, -36.0, -26.0)]
    hearings = [heard(one) for one in layers]
    return [(hearing, ledger_of(hearing, ROWS, SECTIONS, workers=1)) for hearing in hearings]


def test_what_was_not_told_and_grew_by_more_than_the_step_is_new(songs):
    (quiet, nothing), _, (_, told) = songs
    assert nothing == ()
    first, *_ = growth(told, quiet, nothing, SECTIONS)
    assert (first.finding, first.told, first.is_new) == (told[0], False, True)
    # Hardly anything was lost before: what is missed is what is lost now, in its part of the voice.
    assert first.grew_db == pytest.approx(told[0].size_db.cued, abs=0.5)
    assert first.missed > 0.0


def test_what_was_there_before_has_its_real_size_told_or_not(songs):
    (quiet, _), (some, _), (_, told) = songs
    from_quiet, from_some = (next(growth(told, before, (), SECTIONS)) for before in (quiet, some))
    assert STEP.db < from_some.grew_db < from_quiet.grew_db
    assert 0.0 < from_some.missed < from_quiet.missed


def test_nothing_grew_where_nothing_changed(songs):
    much, told = songs[2]
    for before in (told, ()):
        for one in growth(told, much, before, SECTIONS):
            assert one.told == bool(before)
            assert one.grew_db == pytest.approx(0.0, abs=1e-9)
            assert one.missed == pytest.approx(0.0, abs=1e-9)
            # What is told for the first time, but is as large as before, is not new.
            assert not one.is_new


def test_of_a_layer_that_was_not_there_all_is_new(songs):
    _, told = songs[2]
    alone = heard({"pad": band(3, 1000.0, 1700.0, -26.0, SECONDS)})
    assert all(one.is_new for one in growth(told, alone, (), SECTIONS))
