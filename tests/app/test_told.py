# SPDX-License-Identifier: Apache-2.0
"""What was measured, of some tracks and sections alone."""

from __future__ import annotations

import pytest

import invented
from mixwright.app.told import told
from mixwright.errors import SettingError

WHOLE = invented.measure_result()


def test_without_names_all_is_told():
    assert told(WHOLE) == WHOLE


@pytest.mark.parametrize("name", ["lead-vox", "Lead vox"])
def test_of_one_track(name):
    found = told(WHOLE, [name])
    assert [track.id for track in found.tracks] == ["lead-vox"]
    assert [layer.id for layer in found.hearing.layers] == ["lead-vox"]
    assert {one.layer for one in found.hearing.findings} <= {"lead-vox"}
    assert found.mix == WHOLE.mix
    assert found.sections == WHOLE.sections


def test_of_one_section():
    found = told(WHOLE, sections=["chorus 1"])
    assert [part.name for part in found.sections] == ["chorus 1"]
    assert all([part.name for part in track.sections] == ["chorus 1"] for track in found.tracks)
    assert {one.section for one in found.hearing.findings} == {"chorus 1"}
    assert {one.section for one in found.hearing.voice_line} <= {"chorus 1"}


@pytest.mark.parametrize(("names", "where"), [({"tracks": ["no"]}, "--track"), ({"sections": ["no"]}, "--section")])
def test_an_unknown_name_is_told_with_those_that_are_known(names, where):
    with pytest.raises(SettingError, match="called 'no'") as raised:
        told(WHOLE, **names)
    assert raised.value.where == where
    assert raised.value.hint.startswith("known: ")
