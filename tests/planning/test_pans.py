# SPDX-License-Identifier: Apache-2.0
import numpy as np
import pytest

from mixwright.native.place import pan_gains
from mixwright.planning import pans as pans_module
from mixwright.planning.pans import placing_db, propose_pans
from mixwright.planning.places import Placed
from mixwright.reference.corridor import Corridor, Interval

HZ = 1000.0 * 10.0 ** (0.1 * np.arange(-17, 14))


def placed(id_, role, hz, level_db, **fields):
    bands = 10.0 ** (-0.5 * np.log2(HZ / hz) ** 2)
    known = {"place": "support", "part": "other", "source": id_, "channels": 1, "pan": 0.0, "side_share": 0.0}
    return Placed(
        id=id_,
        name=fields.pop("name", id_),
        role=role,
        bands=bands / bands.sum() * 10.0 ** (level_db / 10.0),
        **{**known, **fields},
    )


SONG = (
    placed("vox", "lead vocal", 900.0, -12.0, part="lead", place="lead"),
    placed("kick", "kick", 60.0, -15.0, part="kick"),
    placed("snare", "snare", 400.0, -18.0, part="snare"),
    placed("bass", "bass", 90.0, -14.0, part="bass"),
    placed("overheads-l", "overheads", 4000.0, -20.0, part="rest", name="OH L"),
    placed("overheads-r", "overheads", 4000.0, -20.0, part="rest", name="OH R"),
    placed("double-1", "double", 900.0, -22.0, part="double"),
    placed("double-2", "double", 900.0, -22.0, part="double"),
    placed("bv-1", "backing vocal", 1000.0, -22.0),
    placed("bv-2", "backing vocal", 1000.0, -22.0),
    placed("bv-3", "backing vocal", 1000.0, -22.0),
    placed("guitar-1", "electric guitar", 700.0, -20.0),
    placed("keys", "keys", 600.0, -21.0),
    placed("synth", "synth", 1500.0, -22.0),
    placed("strings", "strings", 1200.0, -23.0),
    placed("sub-drop", "effects", 50.0, -20.0),
    placed("piano", "keys", 500.0, -20.0, channels=2, side_share=0.2),
)


def positions(tracks, corridor=None, **settings):
    return {m.target: m.settings["pan"] for m in propose_pans(tracks, HZ, corridor or Corridor(), **settings)}


def test_what_carries_the_song_and_what_is_low_stays_in_the_centre():
    # De Man et al. 2014, De Man & Reiss 2013; centroid below 200 Hz: Mansbridge et al. 2012.
    found = positions(SONG)
    assert not set(found) & {"vox", "kick", "snare", "bass", "sub-drop", "piano"}


def test_named_sides_go_to_their_sides_and_doubles_start_wide_and_opposite():
    found = positions(SONG)
    assert (found["overheads-l"], found["overheads-r"]) == (-1.0, 1.0)
    assert found["double-1"] == -found["double-2"] != 0.0
    assert abs(found["double-1"]) >= 0.3
    assert found["bv-1"] == -found["bv-2"] != 0.0
    assert "bv-3" not in found


def test_other_layers_stand_on_both_sides():
    found = positions(SONG)
    sides = [np.sign(found[id_]) for id_ in ("guitar-1", "keys", "synth", "strings") if id_ in found]
    assert {-1.0, 1.0} == set(sides)


def test_the_mix_is_as_wide_as_engineers_make_it():
    moves = propose_pans(SONG, HZ, Corridor())
    # -12.6 to -8.3 dB: De Man et al. 2014.
    assert -12.6 <= moves[0].predicted["mix_side_to_mid_db"] <= -8.3


def test_references_decide_how_wide():
    narrow = Corridor(side_to_mid_db=Interval(low=-16.0, high=-13.0, references=2))
    wide = Corridor(side_to_mid_db=Interval(low=-8.0, high=-6.0, references=2))
    width = [propose_pans(SONG, HZ, corridor)[0].predicted["mix_side_to_mid_db"] for corridor in (narrow, wide)]
    assert width[0] < width[1]


def test_left_and_right_stay_even():
    found = positions(SONG)
    left, right = np.zeros(len(HZ)), np.zeros(len(HZ))
    for track in SONG:
        angle = (1.0 + found.get(track.id, 0.0)) * np.pi / 4.0
        own = (0.5, 0.5) if track.channels == 2 else (np.cos(angle) ** 2, np.sin(angle) ** 2)
        left += track.bands * own[0]
        right += track.bands * own[1]
    for part in (HZ < 250.0, (HZ >= 250.0) & (HZ < 2500.0), HZ >= 2500.0):
        assert abs(10.0 * np.log10(left[part].sum() / right[part].sum())) <= 1.2


def test_what_was_placed_by_hand_or_is_bound_keeps_its_place():
    tracks = [
        placed("guitar-1", "electric guitar", 700.0, -20.0, pan=0.3),
        placed("keys", "keys", 600.0, -20.0, bound="your own move binds it"),
        placed("synth", "synth", 900.0, -20.0),
        placed("vox", "lead vocal", 900.0, -12.0, part="lead"),
    ]
    assert set(positions(tracks)) <= {"synth"}


def test_pans_are_the_same_each_time_and_need_no_order_of_tracks_with_equal_names():
    assert positions(SONG) == positions(SONG)
    assert positions(SONG[:4]) == {}


def test_strength_scales_what_is_predicted_and_not_the_setting():
    full = propose_pans(SONG, HZ, Corridor())
    half = propose_pans(SONG, HZ, Corridor(), strength=0.5)
    for one, other in zip(full, half, strict=True):
        assert one.settings == other.settings
        assert other.strength == 0.5
        assert other.predicted["pan"] == pytest.approx(0.5 * one.predicted["pan"])
    assert half[0].predicted["mix_side_to_mid_db"] < full[0].predicted["mix_side_to_mid_db"]


def test_a_strong_layer_that_nothing_balances_is_drawn_in():
    tracks = [
        placed("vox", "lead vocal", 900.0, -12.0, part="lead"),
        placed("synth", "synth", 900.0, -16.0),
    ]
    position = positions(tracks)["synth"]
    angle = (1.0 + position) * np.pi / 4.0
    synth = 10.0**-0.4
    left, right = 0.5 + synth * np.cos(angle) ** 2, 0.5 + synth * np.sin(angle) ** 2
    assert 0.2 <= abs(position) <= 0.3
    assert abs(10.0 * np.log10(left / right)) <= 1.1


def test_a_layer_that_would_hardly_leave_the_centre_stays_there():
    tracks = [
        placed("vox", "lead vocal", 900.0, -12.0, part="lead"),
        placed("synth", "synth", 900.0, -12.0),
    ]
    assert positions(tracks) == {}


def rendered(left, right, position, law):
    """Two sides of one recording, placed opposite each other (None: in the centre): power, and side over mid in dB."""
    centre = pan_gains(law, [0.0])[0]
    gains = np.array([centre, centre]) if position is None else pan_gains(law, [-position, position])
    out = np.stack([left, right], axis=1) @ gains
    mid, side = 0.5 * (out[:, 0] + out[:, 1]), 0.5 * (out[:, 0] - out[:, 1])
    return np.sum(np.mean(out**2, axis=0)), 10.0 * np.log10(max(np.mean(side**2), 1e-30) / max(np.mean(mid**2), 1e-30))


@pytest.mark.parametrize("law", [0.0, 1.0, 1.5])
@pytest.mark.parametrize("position", [0.8, 1.0])
def test_what_two_sides_have_in_common_adds_up_in_the_centre_only(law, position):
    rng = np.random.default_rng(1)
    both, one, other = rng.standard_normal((3, 48000))
    left, right = 0.8 * both + 0.6 * one, 0.8 * both + 0.6 * other
    centred, _ = rendered(left, right, None, law)
    spread, side_to_mid = rendered(left, right, position, law)
    alone = {
        id_: float(np.mean(x**2) * np.sum(pan_gains(law, [0.0])[0] ** 2)) for id_, x in (("l", left), ("r", right))
    }
    common = centred - sum(alone.values())
    pans = {"l": (0.0, -position), "r": (0.0, position)}
    assert placing_db(alone, common, pans, law) == pytest.approx(10.0 * np.log10(spread / centred), abs=1e-6)

    level = [10.0 * np.log10(power / 2.0) for power in alone.values()]
    tracks = [
        placed("l", "overheads" if position == 1.0 else "acoustic guitar", 4000.0, level[0], name="Mic L"),
        placed("r", "overheads" if position == 1.0 else "acoustic guitar", 4000.0, level[1], name="Mic R"),
    ]
    shared = tracks[0].bands / tracks[0].bands.sum() * common / 2.0
    stage = pans_module._Stage(tracks, HZ, law, {("l", "r"): shared})
    assert stage.side_to_mid_db({"l": -position, "r": position}) == pytest.approx(side_to_mid, abs=1e-6)
