# SPDX-License-Identifier: Apache-2.0
"""What was measured, of some tracks and sections alone."""

from __future__ import annotations

import pytest

import invented
from mixwright.app.told import told
from mixwright.errors import SettingError
from mixwright.model.hearing import Phrase
from mixwright.model.song import changed
from mixwright.report.text import measure_text

WHOLE = invented.measure_result()


def test_without_names_all_is_told():
    found = told(WHOLE)
    assert changed(found, tracks=WHOLE.tracks) == WHOLE
    assert [track.id for track in found.tracks] == [track.id for track in WHOLE.tracks]


def test_every_track_has_the_bands_and_takers_of_its_layer_that_are_kept_once():
    layers = (changed(WHOLE.hearing.layers[2], tracks=("bass-di", "bass-amp")), *WHOLE.hearing.layers[:2])
    result = changed(WHOLE, hearing=changed(WHOLE.hearing, layers=layers))
    assert not any(track.bands or track.taken_by for track in result.tracks)
    tracks = {track.id: track for track in told(result).tracks}
    for id_, layer in (("bass-di", layers[0]), ("bass-amp", layers[0]), ("lead-vox", layers[1])):
        assert (tracks[id_].bands, tracks[id_].taken_by) == (layer.bands, layer.taken_by)
        assert layer.bands
    assert tracks["kick-in"].bands == ()


@pytest.mark.parametrize("name", ["lead-vox", "Lead vox"])
def test_of_one_track(name):
    found = told(WHOLE, [name])
    assert [track.id for track in found.tracks] == ["lead-vox"]
    assert [layer.id for layer in found.hearing.layers] == ["lead-vox"]
    assert {one.track for one in found.hearing.findings} <= {"lead-vox"}
    assert found.mix == WHOLE.mix
    assert found.sections == WHOLE.sections


def test_of_one_section():
    found = told(WHOLE, sections=["chorus 1"])
    assert [part.name for part in found.sections] == ["chorus 1"]
    assert all([part.name for part in track.sections] == ["chorus 1"] for track in found.tracks)
    assert {one.section for one in found.hearing.findings} == {"chorus 1"}
    assert {one.section for one in found.hearing.voice_line} <= {"chorus 1"}


def test_what_is_only_ever_covered_is_told_of_every_section():
    only = changed(WHOLE.hearing.findings[0], kind="only_covered", section="")
    whole = changed(WHOLE, hearing=changed(WHOLE.hearing, findings=(only,)))
    assert told(whole, sections=["chorus 1"]).hearing.findings == (only,)
    assert told(whole, ["lead-vox"]).hearing.findings == ()


def test_a_phrase_is_told_in_the_section_that_most_of_it_lies_in():
    line = WHOLE.hearing.voice_line
    phrases = tuple(
        Phrase(layer=p.track, start_s=p.start_s, end_s=p.end_s, glimpse_share=0.5, band_audibility=0.5) for p in line
    )
    whole = changed(WHOLE, hearing=changed(WHOLE.hearing, phrases=phrases))
    # The first, 10 to 16 s, ends where verse 1 begins; what begins 2 s before the end of verse 1 is not of it.
    late = (changed(phrases[0], start_s=46.0, end_s=52.0), *phrases)
    whole = changed(whole, hearing=changed(whole.hearing, phrases=late))
    verse = told(whole, sections=["verse 1"]).hearing
    assert [(p.start_s, p.end_s) for p in verse.phrases] == [(p.start_s, p.end_s) for p in verse.voice_line]
    assert verse.phrases


def test_who_covers_a_track_is_told_though_nothing_else_is_told_of_it():
    lines = " ".join(line.strip() for line in measure_text(told(WHOLE, ["lead-vox"])))
    assert "Taken by Warm pad 40 %, Bass di 25 %." in lines
    assert "Lead vox and Warm pad do nearly the same" in lines
    assert "others" not in lines


def test_of_the_arrangement_only_what_was_asked_for():
    whole = WHOLE.hearing.arrangement
    chorus = told(WHOLE, sections=["chorus 1"]).hearing.arrangement
    assert {one.section for one in (*chorus.motion, *chorus.shared)} == {"chorus 1"}
    assert (chorus.sections, chorus.holes, chorus.missing) == (("chorus 1",), (), ())
    bridge = told(WHOLE, sections=["bridge"]).hearing.arrangement
    assert (bridge.holes, bridge.missing, bridge.shared) == (whole.holes, whole.missing, ())
    pad = told(WHOLE, ["warm-pad"]).hearing.arrangement
    assert {one.layer for one in pad.motion} == {"warm-pad"}
    assert (pad.holes, pad.missing, pad.never_heard, pad.twins) == ((), whole.missing, (), whole.twins)
    bass = told(WHOLE, ["bass-di"]).hearing.arrangement
    assert (len(bass.shared), bass.missing, bass.twins) == (2, (), ())


@pytest.mark.parametrize(("names", "where"), [({"tracks": ["no"]}, "--track"), ({"sections": ["no"]}, "--section")])
def test_an_unknown_name_is_told_with_those_that_are_known(names, where):
    with pytest.raises(SettingError, match="called 'no'") as raised:
        told(WHOLE, **names)
    assert raised.value.where == where
    assert raised.value.hint.startswith("known: ")
