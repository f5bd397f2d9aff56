# SPDX-License-Identifier: Apache-2.0
from dataclasses import replace

import numpy as np
import pytest

from mixwright.model.ledger import Finding, finding_id
from mixwright.model.move_checks import check_move
from mixwright.model.ranges import Range, TakenBy
from mixwright.model.song import Group, Move, Section, Send, Song, Track, changed
from mixwright.model.strip import Strip
from mixwright.planning import limits
from mixwright.planning.candidates import candidates_for, candidates_of
from mixwright.planning.known import KnownGroup, KnownRow, KnownSong
from planning.invented_excited import excited, humps

HALL = "send hall"
ROWS = (
    KnownRow(
        "vox", "Lead voice", "lead vocal", "lead", tracks=("vox",), channels=1, sends={"hall": -12.0}, output_db=-3
    ),
    KnownRow("gtr-l", "Guitar L", "electric guitar", tracks=("gtr-l",), channels=1, pan=-0.6, groups=("guitars",)),
    KnownRow("gtr-r", "Guitar R", "electric guitar", tracks=("gtr-r",), channels=1, pan=0.6, groups=("guitars",)),
    KnownRow("pad", "Pad", "pad", "bed", tracks=("pad",), channels=2, side_share=0.4, groups=("synths",)),
    KnownRow("kick", "Kick", "kick", tracks=("kick-in", "kick-out"), groups=("drums",)),
    KnownRow("snare", "Snare", "snare", tracks=("snare",), channels=1, groups=("drums",)),
    KnownRow("bass", "Bass", "bass", tracks=("bass",), channels=1),
    KnownRow("oh", "Overheads", "overheads", tracks=("oh",), channels=2, side_share=0.2, groups=("drums",)),
    KnownRow("keys", "Keys", "keys", tracks=("keys",), channels=1, sends={"hall": -6.0}),
    KnownRow(HALL, "Hall", "return", "bed", send="hall", side_share=0.5),
)
SOUNDS = (
    humps([300.0, 800.0, 2500.0], 58.0, 0.6),
    humps(1500.0, 60.0, 1.2),
    humps(1600.0, 59.0, 1.2),
    humps(1200.0, 54.0, 2.0),
    humps([60.0, 3000.0], 60.0, 0.4),
    humps([200.0, 2000.0], 58.0, 0.8),
    humps(95.0, 60.0, 0.6),
    humps(6000.0, 55.0, 1.0),
    humps(700.0, 55.0, 1.0),
    humps(900.0, 52.0, 1.6),
)
SONG = KnownSong(
    ROWS,
    (
        KnownGroup("guitars", "Guitars", side_share=0.3, output_db=-2.0, level_db=-24.0),
        KnownGroup("drums", "Drums"),
        KnownGroup("synths", "Synths"),
    ),
)
SECTIONS = (excited(SOUNDS, "Verse", 3), excited(SOUNDS, "Chorus", 4))
#: The same song as the engine has it.
PLAYED = Song(
    title="Invented",
    rate_hz=48000,
    tracks=tuple(
        Track(
            id=id_,
            name=id_,
            file=f"{id_}.wav",
            source=row.id if len(row.tracks) > 1 else "",
            group=row.groups[0] if row.groups else "",
            sends=dict(row.sends),
            strip=Strip(pan=row.pan),
        )
        for row in ROWS
        for id_ in row.tracks
    ),
    groups=tuple(Group(id=group.id, name=group.name) for group in SONG.groups),
    sends=(Send(id="hall", name="Hall"),),
    sections=(Section(name="Verse", start_s=0.0, end_s=10.0), Section(name="Chorus", start_s=10.0, end_s=20.0)),
)


def finding(track, caused_by, kind="covered", band_hz=None, size_db=5.0, section="Chorus", taker=None):
    return Finding(
        id=finding_id(kind, track, section, band_hz),
        kind=kind,
        track=track,
        section=section,
        start_s=10.0,
        end_s=20.0,
        band_hz=band_hz,
        size_db=Range(cued=size_db, strict=None if size_db is None else size_db + 2.0),
        tolerance_db=1.0,
        excess_db=1.0,
        caused_by=tuple(TakenBy(track=id_, fraction=part) for id_, part in caused_by.items()),
        taker=taker,
    )


MASKED = finding("vox", {"gtr-l": 0.3, "gtr-r": 0.3, "keys": 0.2}, "covered_band", (1200.0, 3000.0), taker="gtr-l")
FINDINGS = (
    MASKED,
    finding("vox", {HALL: 0.6, "keys": 0.3}, "voice_filled", (200.0, 5000.0), taker=HALL),
    finding("bass", {"kick": 0.8}, "low_pile_up", (40.0, 110.0), taker="kick"),
    finding("snare", {"oh": 0.5, "gtr-l": 0.3}),
    finding("keys", {"gtr-l": 0.4, "pad": 0.4}, size_db=None),
    finding("keys", {"vox": 0.6, "gtr-l": 0.3}, "only_covered", section=""),
    finding("keys", {"vox": 1.0}, "brighter", section="", taker="vox"),
)


def told(found):
    return [(one.kind, one.target) for one in found]


def test_every_candidate_is_a_move_that_the_engine_can_make():
    kinds = set()
    for one in candidates_for(FINDINGS, SONG, SECTIONS):
        kinds.add(one.kind)
        move = Move(**one.move(one.first), state="proposed", by="plan")
        check_move(PLAYED, move, "moves[0]")
        for section in SECTIONS:
            for gain in one.gains_db(one.first, section).values():
                assert np.broadcast_to(gain, (2, 40, 75)).shape
        for setting in one.settings:
            assert setting.low <= setting.first <= setting.high
        assert one.why in limits.EVIDENCE
        assert one.kind in limits.PRICES
    assert kinds == {"level", "pan", "band_limit", "shape", "tilt", "dip", "duck", "width", "send", "even_out"}


def test_the_order_is_that_of_the_evidence_and_groups_come_before_what_is_in_them():
    found = candidates_of(MASKED, SONG, SECTIONS)
    order = list(limits.EVIDENCE)
    ranks = [order.index(one.why) for one in found]
    assert ranks == sorted(ranks)
    levels = [one.target for one in found if one.kind == "level" and not one.sections]
    assert levels[:3] == ["vox", "guitars", "gtr-l"]
    dips = [one for one in found if one.kind == "dip"]
    assert dips[0].target == "guitars"
    assert dips[0].rows == (1, 2)
    assert dips[0].key == "vox"
    assert dips[0].key_rows == (0,)
    assert dips[0].fixed["hz"] == pytest.approx(1900.0)


def test_a_group_with_a_lead_in_it_or_with_strangers_is_not_asked():
    with_lead = replace(ROWS[0], groups=("guitars",))
    rows = (with_lead, *ROWS[1:])
    assert "guitars" not in {one.target for one in candidates_of(MASKED, replace(SONG, rows=rows), SECTIONS)}


def test_the_margin_of_a_dip_makes_up_for_faders():
    dip = next(one for one in candidates_of(MASKED, SONG, SECTIONS) if one.kind == "dip")
    # What the guitars' fader takes off is too much before it; what the voice's takes off is missing of its key.
    assert dip.move([3.0, 9.0])["settings"]["margin_db"] == pytest.approx(9.0 - 2.0 + 3.0)


def test_a_lead_is_not_lowered_for_a_support_nor_moved_aside():
    found = candidates_of(finding("keys", {"vox": 0.7, "gtr-l": 0.3}), SONG, SECTIONS)
    assert "vox" not in {one.target for one in found}
    assert ("pan", "vox") not in told(candidates_of(MASKED, SONG, SECTIONS))
    two = (ROWS[0], *ROWS[1:8], replace(ROWS[8], place_in={"Chorus": "lead"}), ROWS[9])
    found = candidates_of(finding("keys", {"vox": 0.7}), replace(SONG, rows=two), SECTIONS)
    assert ("level", "vox") in told(found)  # of two leads either may yield


def test_dips_are_keyed_by_leads_alone_and_ducks_by_hits():
    assert not [one for one in candidates_of(FINDINGS[3], SONG, SECTIONS) if one.kind == "dip"]
    ducks = [one for one in candidates_of(FINDINGS[3], SONG, SECTIONS) if one.kind == "duck"]
    assert [(one.target, one.key) for one in ducks] == [("oh", "snare")]
    assert ducks[0].fixed["by_hits"] == 1.0


def test_kick_and_bass_are_tilted_apart_where_they_meet():
    tilts = [one for one in candidates_of(FINDINGS[2], SONG, SECTIONS) if one.kind == "tilt" and one.pair]
    assert [one.target for one in tilts] == ["kick", "bass"]
    assert tilts[0].first[0] < 0.0 < tilts[1].first[0]  # the kick lies lower
    assert 60.0 <= tilts[0].fixed["hz"] <= 120.0
    assert tilts[0].pair == tilts[1].pair != ""


def test_of_kick_and_bass_who_takes_is_tilted_by_itself_in_one_section():
    tilts = [one for one in candidates_of(FINDINGS[2], SONG, SECTIONS) if one.kind == "tilt" and not one.pair]
    assert {(one.target, one.sections) for one in tilts} == {("kick", ("Chorus",))}
    assert len({one.fixed["hz"] for one in tilts}) == len(tilts)


def test_levels_stay_within_6_db_unless_the_finding_alone_needs_more():
    usual = candidates_of(MASKED, SONG, SECTIONS)[0].settings[0]
    assert (usual.low, usual.high) == (0.0, 6.0)
    far = [one.settings[0] for one in candidates_of(FINDINGS[4], SONG, SECTIONS) if one.kind == "level"]
    assert max(one.high for one in far) == 18.0
    assert min(one.low for one in far) == -18.0


def test_cuts_are_outside_what_is_essential_to_who_takes():
    found = candidates_of(MASKED, SONG, SECTIONS)
    cut = {one.target for one in found if one.kind == "shape" and one.why == "cut"}
    assert "gtr-l" not in cut  # it is the loudest there
    aside = finding("vox", {"gtr-l": 0.5}, "covered_band", (250.0, 450.0), taker="gtr-l")
    cuts = [one for one in candidates_of(aside, SONG, SECTIONS) if one.why == "cut"]
    assert ("shape", "gtr-l") in told(cuts)
    assert all(-4.0 <= one.settings[0].low < 0.0 and one.fixed["q"] <= 2.0 for one in cuts)


def test_a_band_that_is_far_too_loud_in_one_layer_can_be_cut_deeper():
    loud = (*SOUNDS[:1], SOUNDS[1] + humps(1900.0, 78.0, 0.4), *SOUNDS[2:])
    sections = (excited(loud, "Verse", 3), excited(loud, "Chorus", 4))
    far = finding("vox", {"gtr-l": 0.8}, "covered_band", (1200.0, 3000.0), size_db=14.0, taker="gtr-l")
    cut = next(one for one in candidates_of(far, SONG, sections) if one.why == "cut")
    assert (cut.target, cut.settings[0].low) == ("gtr-l", -12.0)


def test_of_several_tracks_the_group_around_is_dipped_and_of_none_nothing():
    doubled = replace(ROWS[1], tracks=("gtr-l", "gtr-l2"))
    song = replace(SONG, rows=(ROWS[0], doubled, *ROWS[2:]))
    far = finding("vox", {"gtr-l": 0.8}, "covered_band", (1200.0, 3000.0), taker="gtr-l")
    assert [one.target for one in candidates_of(far, song, SECTIONS) if one.kind == "dip"] == ["guitars"]
    split = replace(song, split=frozenset({"guitars"}))
    assert [one.target for one in candidates_of(far, split, SECTIONS) if one.kind == "dip"] == []


def test_a_return_can_be_fed_less_lowered_dipped_and_limited():
    found = told(candidates_of(FINDINGS[1], SONG, SECTIONS))
    assert ("send", "keys") in found
    assert ("send", "vox") in found
    assert ("level", HALL) in found
    assert ("dip", HALL) in found


def test_what_is_locked_or_decided_is_not_offered():
    locked = replace(SONG, rows=(*ROWS[:2], replace(ROWS[2], bound=frozenset({"level", "dip"})), *ROWS[3:]))
    found = told(candidates_of(MASKED, locked, SECTIONS))
    assert ("level", "gtr-r") not in found
    assert ("level", "guitars") not in found  # it would move what is locked
    assert ("dip", "guitars") not in found
    assert ("level", "gtr-l") in found
    dip = next(one for one in candidates_of(MASKED, SONG, SECTIONS) if one.kind == "dip")
    decided = replace(SONG, decided=frozenset({dip.move(dip.first)["id"]}))
    assert ("dip", "guitars") not in told(candidates_of(MASKED, decided, SECTIONS))


def test_of_two_files_levels_alone_and_of_what_was_left_nothing():
    assert {one.kind for one in candidates_of(MASKED, replace(SONG, levels_only=True), SECTIONS)} == {"level"}
    assert candidates_for([changed(MASKED, verdict="left as is")], SONG, SECTIONS) == []
    assert candidates_of(finding("gone", {"vox": 1.0}), SONG, SECTIONS) == []


def test_what_several_findings_ask_for_goes_as_far_as_the_one_that_needs_most():
    far = finding("vox", {"gtr-l": 0.6}, size_db=None, section="Verse")
    found = candidates_for([MASKED, far], SONG, SECTIONS)
    down = next(one for one in found if (one.kind, one.target, one.sections) == ("level", "gtr-l", ()))
    assert (down.finding, down.settings[0].low) == (MASKED.id, -18.0)


def test_of_a_lead_that_nobody_takes_most_of_no_other_level_is_offered():
    low = finding("vox", {"gtr-l": 0.4, "pad": 0.3}, size_db=9.0)
    assert [one.target for one in candidates_of(low, SONG, SECTIONS) if one.kind == "level"] == ["vox", "vox"]
    taken = finding("vox", {"gtr-l": 0.7, "pad": 0.3}, size_db=9.0)
    assert ("level", "gtr-l") in told(candidates_of(taken, SONG, SECTIONS))


def test_the_same_is_offered_once():
    found = candidates_for([*FINDINGS, MASKED], SONG, SECTIONS)
    ids = [(one.move(one.first)["id"], one.key, one.send, float(one.first[0]) > float(one.start[0])) for one in found]
    assert len(set(ids)) == len(ids)
    assert len(found) == len(candidates_for(FINDINGS, SONG, SECTIONS))
