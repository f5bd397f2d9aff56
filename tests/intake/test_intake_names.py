# SPDX-License-Identifier: Apache-2.0
"""File names as engineers write them (common practice, no source), and names nobody would write."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.intake.ids import Ids, slug
from mixwright.intake.names import read_names, split_name
from mixwright.model.words import ROLES

TABLE = {
    "kick": "01_Kick In|Kick Out|KickSub|kickin|BD|Bass Drum|KIK_2|Kd Trig|kick click|03 - Kick (Sample)",
    "snare": "SnTop|Snare Bot|SN|Snr_Btm|Clap Layer|Rimshot|snare_sample_2",
    "hats": "HH|Hi-Hat|hihat_R|Hats Closed",
    "toms": "Tom 1|Floor Tom|FloorTom|T2|RackTom_L",
    "cymbals": "Crash L|Ride|China",
    "overheads": "OH L|OH R|OHL|Overheads|OH_St",
    "room": "Room Mono|Drum Room Far|Amb L|RM_R",
    "drums": "DRUMS_2|DRUMS_MAIN|Drum Mix|Kit|Beat",
    "percussion": "Shaker|Perc 3|Congas|Tamb|Cowbell|steel drum",
    "loop": "Drum Loop 120bpm|Loop_04|PercLoop",
    "bass": "Bass DI|Bass Amp|Sub|SynBass|bass_growl|Double Bass|Slap Bass|BassDI_02|Dist Bass",
    "acoustic guitar": "AcGtr|Ac Gtr L|AG 1|Acoustic Guitar dbl|12 String|Nylon Gtr|A-Gtr",
    "electric guitar": "Gtr Dist L|Gtr Dist R|EG 2|LeadGtr|Rhythm Gtr 1|E-Gtr Clean|Crunch L|Elec Gtr",
    "keys": "Music Box|Piano|Pno_L|Keys EP|Acoustic Piano|Clav|ElPno",
    "organ": "Organ Hi|Org",
    "pad": "Pad|Warm Pad|SynPad|Atmo",
    "synth": "SynArp|MINILOGUE_SYNTH|PLUCK|Lead Synth|Seq 3|Dist Synth|Arp",
    "strings": "Strings Hi|Vln 1|Cello|Orch",
    "brass": "Brass|Tpt 2|Horns|Tenor Sax",
    "lead vocal": "LV|VOX_LEAD|Lead Vocal|LdVox|Vox|Vocal Main|ld vx|LV_Verse",
    "double": "LV dbl L|LV dbl R|Vox Double|LeadVox Dbl",
    "backing vocal": "BGVOX|BV 1 L|BVs|Bvox3R|Harm Hi|Gang Vox|Choir|Oohs|backing vox 2|Adlibs|chöir",
    "effects": "FX Riser|SFX_2|Impact|Sweep Down|Vox FX",
    "other": "Music|Band|Instruments St",
    "return": "Vox Verb|Delay Throw|Snare Plate|RVB long",
}
ROWS = [(name, role) for role, names in TABLE.items() for name in names.split("|")]


def test_the_table_is_large_enough():
    assert len(ROWS) >= 80
    assert set(TABLE) <= set(ROLES)


@pytest.mark.parametrize(("name", "role"), ROWS)
def test_role_of_a_name_alone(name, role):
    (reading,) = read_names([name])
    assert reading.kind == "track"
    assert reading.candidates[0][0] == role


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("RoughMix_v3", "print"),
        ("Rough", "print"),
        ("Full Band Mix", "print"),
        ("Song ref", "print"),
        ("Master 44k", "print"),
        ("2mix", "print"),
        ("Mixdown final", "print"),
        ("Backing Track", "print"),
        ("Instrumental", "print"),
        ("Click", "click"),
        ("clk 120bpm", "click"),
        ("Metronome", "click"),
        ("Guide Vox", "guide"),
        ("scratch gtr", "guide"),
        ("Rough Vox", "guide"),
    ],
)
def test_names_that_are_no_tracks(name, kind):
    assert read_names(["Kick", "Bass", "Gtr", name])[-1].kind == kind


# Each of these is read in more than one way by engineers; the sound decides.
@pytest.mark.parametrize(
    "name", ["ld", "top", "bd", "ac", "di", "sn", "808", "main", "lead", "gtr", "vox", "oh", "amp"]
)
def test_conflicting_names_stay_open(name):
    (reading,) = read_names([name])
    assert len(reading.candidates) > 1
    assert sum(weight for _, weight in reading.candidates) == pytest.approx(1.0)


def test_shared_words_are_left_aside_even_if_they_name_an_instrument():
    names = [
        "The Bass Kings - Kick",
        "The Bass Kings - Vox",
        "The Bass Kings - LV dbl",
        "The Bass Kings - Pad",
        "Rough mix",
    ]
    readings = read_names(names)
    assert [r.candidates[0][0] if r.candidates else r.kind for r in readings] == [
        "kick",
        "lead vocal",
        "double",
        "pad",
        "print",
    ]
    assert readings[0].stem == "kick"
    ends = read_names(["01 Kick Cloud Song 98bpm", "02 Snare Cloud Song 98bpm", "03 Pad Cloud Song 98bpm"])
    assert [r.stem for r in ends] == ["kick", "snare", "pad"]


def test_words_that_all_share_stay_when_nothing_else_is_told():
    assert [r.candidates[0][0] for r in read_names(["Vox 1", "Vox 2", "Vox 3"])] == ["lead vocal"] * 3
    assert [r.kind for r in read_names(["Bounce 1", "Bounce 2", "Bounce 3"])] == ["track"] * 3


def test_an_instrumental_beside_voices_alone_is_a_layer():
    readings = read_names(["Instrumental", "Lead Vox", "BV 1"])
    assert [r.kind for r in readings] == ["track"] * 3
    assert readings[0].candidates[0][0] == "other"


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("SnTop", ["sn", "top"]),
        ("AcGtr2L", ["ac", "gtr", "2", "l"]),
        ("LeadGtr2_take3", ["lead", "gtr", "2", "take", "3"]),
        ("BGVOX", ["bgvox"]),
        ("kickinL", ["kick", "in", "l"]),
        ("12 String", ["12string"]),
        ("Melody", ["melody"]),
        ("Überlead", ["uberlead"]),
        ("gitarre", ["gitarre"]),
    ],
)
def test_words_of_a_name(name, words):
    assert split_name(name) == words


@pytest.mark.parametrize(
    ("name", "side", "number", "stem"),
    [
        ("BV 1 L", "l", 1, "bv"),
        ("Gtr Dist R", "r", None, "gtr dist"),
        ("OHR", "r", None, "oh"),
        ("LeadGtr2_take3", "", 2, "lead gtr"),
        ("Vox 2 v7 120bpm", "", 2, "vox"),
        ("Synth 20240131", "", None, "synth"),
    ],
)
def test_side_number_and_stem(name, side, number, stem):
    (reading,) = read_names([name])
    assert (reading.side, reading.number, reading.stem) == (side, number, stem)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.text(max_size=40), max_size=8))
def test_any_names_are_read(names):
    for reading in read_names(names):
        assert reading.kind in ("track", "print", "guide", "click")
        weights = [weight for _, weight in reading.candidates]
        assert all(role in ROLES for role, _ in reading.candidates)
        assert sum(weights) <= 1.0 + 1e-9
        assert weights == sorted(weights, reverse=True)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.text(max_size=100), max_size=12))
def test_ids_are_slugs_and_differ(names):
    import re

    ids = Ids(set())
    given_out = [ids.new(slug(name) or "track") for name in names]
    assert len(set(given_out)) == len(given_out)
    assert all(re.fullmatch("[a-z0-9]+(-[a-z0-9]+)*", one) and len(one) <= 80 for one in given_out)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("01_Kick In", "01-kick-in"),
        ("Größe 2", "grosse-2"),
        ("Été!", "ete"),
        ("ドラム", ""),
        ("--", ""),
        ("x" * 99, "x" * 60),
    ],
)
def test_slug(name, expected):
    assert slug(name) == expected
