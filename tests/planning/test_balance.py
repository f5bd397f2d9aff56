# SPDX-License-Identifier: Apache-2.0
"""Balances of layers whose powers are known, against the table of De Man et al. 2014 (all values from the paper)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixwright.model.song import Group, Lock, Song, Track
from mixwright.planning.elements import elements_of
from mixwright.planning.level_moves import propose_balance, spreads_of
from mixwright.planning.scene import Scene
from mixwright.planning.sound import Sound, together
from mixwright.planning.table import POOL_SHARE
from mixwright.reference.corridor import Corridor, Interval
from mixwright.reference.spectrum import shares

HZ = 1000.0 * 10.0 ** (0.1 * np.arange(-17, 14))
BLOCKS = 200
LAYERS = {
    "vox": ("lead vocal", "lead", 900.0),
    "kick": ("kick", "support", 60.0),
    "snare": ("snare", "support", 300.0),
    "hats": ("hats", "support", 8000.0),
    "overheads": ("overheads", "support", 5000.0),
    "bass": ("bass", "support", 90.0),
    "guitar": ("electric guitar", "support", 700.0),
    "keys": ("keys", "support", 500.0),
    "pad": ("pad", "bed", 600.0),
}
#: Loudness re mix, in LU, of a mix in which every layer lies where the table has it.
TABLE = {
    "vox": -2.65,
    "kick": -13.15,
    "snare": -16.78,
    "overheads": -12.68 - 0.97,
    "hats": -12.68 - 6.97,
    "bass": -9.50,
    "guitar": -10.1,
    "keys": -10.1,
    "pad": -15.6,
}


def sound(level_lufs, hz, start=0, end=BLOCKS):
    blocks = np.full(BLOCKS, 1e-14)
    blocks[start:end] = 10.0 ** ((level_lufs + 0.691) / 10.0)
    bands = 10.0 ** (-0.5 * np.log2(HZ / hz) ** 2)
    return Sound(blocks, bands / bands.sum() * blocks.mean())


def scene(levels, *, lead=("vox",), when=None, locked=()):
    tracks = tuple(
        Track(id=id_, name=id_, file="x", role=LAYERS[id_][0], place=LAYERS[id_][1],
              group="drums" if id_ in ("kick", "snare", "hats", "overheads") else "")
        for id_ in levels
    )  # fmt: skip
    song = Song(
        title="t", rate_hz=48000, lead=lead, tracks=tracks, groups=(Group(id="drums", name="Drums"),),
        locks=tuple(Lock(target=id_, parameter="level") for id_ in locked),
    )  # fmt: skip
    elements = elements_of(song)
    sounds = {id_: sound(level, LAYERS[id_][2], *(when or {}).get(id_, ())) for id_, level in levels.items()}
    return Scene(elements, sounds, together(sounds.values()), HZ)


def at(shift, **moved):
    return {id_: level + shift + moved.get(id_, 0.0) for id_, level in TABLE.items()}


def final(given_scene, proposal):
    """Loudness re mix of every layer after the moves."""
    after = {id_: s.louder(proposal.gains_db[id_]) for id_, s in given_scene.sounds.items()}
    mix = together(after.values()).loudness()
    return {id_: s.loudness() - mix for id_, s in after.items()}


def test_the_pools_of_the_table_make_one_whole():
    # 10 log10 of what lead, bass, kick, snare and rest of drums leave: -6.55 LU for all other layers together.
    assert abs(sum(POOL_SHARE.values()) - 1.0) < 1e-12
    assert abs(10.0 * np.log10(POOL_SHARE["other"]) + 6.55) < 0.05


def test_a_song_where_the_table_has_it_gets_no_moves():
    proposal = propose_balance(scene(at(-18.0)), Corridor())
    assert proposal.moves == ()
    assert len(proposal.left_as_is) == len(TABLE)


def test_what_is_bound_and_too_loud_is_not_made_up_for_by_silencing_its_neighbours():
    """Kick and snare read as one kit: beside a locked snare the kick stays within the spread of the drums, 2.80 LU."""
    given_scene = scene(at(-18.0, snare=20.0), locked=("snare",))
    proposal = propose_balance(given_scene, Corridor())
    before = given_scene.sounds["kick"].loudness() - given_scene.sounds["snare"].loudness()
    after = final(given_scene, proposal)
    assert after["kick"] - after["snare"] > before - 2.9
    # The others are balanced around what the kit really comes to, so the lead stands where the table has it.
    assert abs(after["vox"] + 2.65) < 0.2


def test_what_a_trim_cannot_reach_counts_as_what_it_comes_to():
    given_scene = scene(at(-8.0, bass=-45.0, vox=-6.0))
    proposal = propose_balance(given_scene, Corridor())
    assert {move.target: move.settings["gain_db"] for move in proposal.moves}["bass"] == 24.0
    assert abs(final(given_scene, proposal)["vox"] + 2.65) < 0.1


def test_a_lead_alone_is_the_mix():
    proposal = propose_balance(scene({"vox": -20.0}), Corridor())
    assert proposal.moves == ()
    assert proposal.left_as_is == ("vox: +0.0 LU in the mix; it sounds alone; left.",)


@pytest.mark.parametrize("shift", [2.0, -2.0])
def test_nothing_is_trimmed_inside_one_engineers_spread(shift):
    # De Man et al. 2014: engineers differ by 2.86 LU about the bass, by 2.80 about the drums.
    for id_ in ("bass", "guitar", "pad"):
        assert propose_balance(scene(at(-18.0, **{id_: shift})), Corridor()).moves == ()


def test_a_lead_that_is_too_low_is_raised_to_the_tables_level_in_one_move():
    given_scene = scene(at(-18.0, vox=-9.0))
    proposal = propose_balance(given_scene, Corridor())
    assert [move.target for move in proposal.moves] == ["vox"]
    move = proposal.moves[0]
    assert abs(final(given_scene, proposal)["vox"] + 2.65) < 0.1
    assert abs(move.predicted["re_mix_lu"] + 2.65) < 0.1
    assert move.measured["re_mix_lu"] < -8.0
    assert "De Man" in move.evidence
    assert "below its range" in move.without_it
    assert "lower in the mix" in move.costs[0]


def test_a_lead_that_sings_little_is_judged_while_it_sings():
    given_scene = scene(at(-18.0, vox=-9.0), when={"vox": (0, 60)})
    move = propose_balance(given_scene, Corridor()).moves[0]
    assert move.target == "vox"
    assert abs(move.predicted["re_mix_while_lead_sings_lu"] + 2.65) < 0.1


@settings(max_examples=40, deadline=None)
@given(gains=st.lists(st.floats(-10.0, 10.0), min_size=len(TABLE), max_size=len(TABLE)))
def test_any_start_gains_end_in_one_balance(gains):
    """The lead at the table's level within 0.5 LU, every other element inside what engineers differ by."""
    given_scene = scene(at(-24.0, **dict(zip(TABLE, gains, strict=True))))
    proposal = propose_balance(given_scene, Corridor())
    levels = final(given_scene, proposal)
    moved = {move.target for move in proposal.moves}
    assert abs(levels["vox"] + 2.65) < (0.5 if "vox" in moved else 1.31 + 1.0)
    assert abs(levels["bass"] - TABLE["bass"]) < 2.86 + 1.5
    drums = 10.0 * np.log10(sum(10.0 ** (levels[id_] / 10.0) for id_ in ("kick", "snare", "hats", "overheads")))
    assert abs(drums + 9.09) < 2.80 + 1.5


@settings(max_examples=30, deadline=None)
@given(
    id_=st.sampled_from(["vox", "bass", "pad", "keys"]), size=st.floats(10.0, 16.0), sign=st.sampled_from([-1.0, 1.0])
)
def test_a_level_that_no_engineer_chose_ends_where_the_table_has_it(id_, size, sign):
    """Over two spreads out, the start decides nothing: within 0.5 LU whatever it was."""
    given_scene = scene(at(-24.0, **{id_: sign * size}))
    levels = final(given_scene, propose_balance(given_scene, Corridor()))
    assert abs((levels[id_] - levels["guitar"]) - (TABLE[id_] - TABLE["guitar"])) < 0.5


def test_a_missing_role_gives_its_share_to_the_others():
    without = {id_: level for id_, level in at(-18.0).items() if id_ not in ("kick", "snare", "hats", "overheads")}
    spread = spreads_of(scene(without), Corridor(), without)["bass"]
    # (1 - 0.543) / (0.112 + 0.221) = 1.37: 1.4 dB above the table for the bass.
    assert abs(0.5 * (spread.low + spread.high) - (-9.50 + 1.37)) < 0.15


def test_many_layers_share_what_few_would_have():
    LAYERS.update({f"synth-{n}": ("synth", "support", 800.0) for n in range(6)})
    levels = {**at(-18.0), **{f"synth-{n}": -36.0 for n in range(6)}}
    spreads = spreads_of(scene(levels), Corridor(), levels)
    few = spreads_of(scene(at(-18.0)), Corridor(), at(-18.0))
    assert spreads["guitar"].high < few["guitar"].high - 4.0
    assert abs(spreads["bass"].high - few["bass"].high) < 0.1


def test_drums_move_as_a_group_and_a_loud_microphone_by_itself():
    louder = propose_balance(scene(at(-18.0, kick=7.0, snare=7.0, hats=7.0, overheads=7.0)), Corridor())
    assert [move.target for move in louder.moves] == ["drums"]
    hats = propose_balance(scene(at(-18.0, hats=14.0)), Corridor())
    assert "hats" in {move.target for move in hats.moves}
    assert next(move for move in hats.moves if move.target == "hats").settings["gain_db"] < -5.0


def test_strength_scales_every_move():
    given_scene = scene(at(-18.0, vox=-9.0, pad=12.0))
    full = propose_balance(given_scene, Corridor(), strength=1.0)
    half = propose_balance(given_scene, Corridor(), strength=0.5)
    none = propose_balance(given_scene, Corridor(), strength=0.0)
    assert [move.id for move in half.moves] == [move.id for move in full.moves]
    for id_, gain in full.gains_db.items():
        assert abs(half.gains_db[id_] - 0.5 * gain) < 1e-9
        assert none.gains_db[id_] == 0.0
    assert none.mix_change_lu == 0.0


def test_a_trim_beyond_the_limit_is_capped_and_said():
    proposal = propose_balance(scene(at(-18.0, vox=-40.0)), Corridor())
    move = next(move for move in proposal.moves if move.target == "vox")
    assert move.settings["gain_db"] == 24.0
    assert "ask for a new export" in move.reason


def test_the_references_low_end_lowers_kick_and_bass_jointly():
    given_scene = scene(at(-18.0))
    low, _ = shares(HZ, given_scene.mix.bands)
    for wanted_db, sign in ((low - 4.0, -1.0), (low + 4.0, 1.0)):
        corridor = Corridor(low_end_db=Interval(low=wanted_db - 1.0, high=wanted_db + 1.0, references=2))
        proposal = propose_balance(given_scene, corridor)
        assert {move.target for move in proposal.moves} == {"kick", "bass"}
        gains = {move.target: move.settings["gain_db"] for move in proposal.moves}
        assert gains["kick"] * sign > 0.0
        assert gains["kick"] == gains["bass"]
        after = together(s.louder(proposal.gains_db[id_]) for id_, s in given_scene.sounds.items())
        reached, _ = shares(HZ, after.bands)
        assert abs(reached - (wanted_db - sign)) < 0.3
        assert "references span" in proposal.moves[0].reason


def test_a_moved_lead_keeps_its_place_when_the_references_change_the_rest():
    given_scene = scene(at(-18.0, vox=-9.0))
    low, _ = shares(HZ, given_scene.mix.bands)
    corridor = Corridor(low_end_db=Interval(low=low - 1.0, high=low - 0.5, references=1))
    lead = next(move for move in propose_balance(given_scene, corridor).moves if move.target == "vox")
    assert abs(lead.predicted["re_mix_while_lead_sings_lu"] + 2.65) < 0.1
    louder = Corridor(low_end_db=Interval(low=low + 3.0, high=low + 4.0, references=1))
    lead = next(move for move in propose_balance(given_scene, louder).moves if move.target == "vox")
    assert abs(lead.predicted["re_mix_while_lead_sings_lu"] + 2.65) < 0.1


def test_a_reference_inside_its_corridor_moves_nothing():
    given_scene = scene(at(-18.0))
    low, top = shares(HZ, given_scene.mix.bands)
    corridor = Corridor(
        low_end_db=Interval(low=low - 1.0, high=low + 1.0, references=1),
        top_end_db=Interval(low=top - 1.0, high=top + 1.0, references=1),
    )
    assert propose_balance(given_scene, corridor).moves == ()


def test_a_reference_cannot_take_a_layer_beyond_two_spreads():
    given_scene = scene(at(-18.0))
    corridor = Corridor(low_end_db=Interval(low=-60.0, high=-50.0, references=1))
    proposal = propose_balance(given_scene, corridor)
    gain = next(move.settings["gain_db"] for move in proposal.moves if move.target == "bass")
    assert -2.0 * 2.86 - 0.5 < gain < -2.0
    assert any("Within what engineers do" in text or "within what engineers do" in text for text in proposal.notes)


def test_every_text_is_a_finished_sentence():
    proposal = propose_balance(scene(at(-18.0, vox=-9.0, pad=12.0, hats=14.0)), Corridor())
    texts = [t for move in proposal.moves for t in (move.reason, move.evidence, move.without_it, *move.costs)]
    for text in (*texts, *proposal.left_as_is):
        assert text.endswith(".")
        assert "nan" not in text
