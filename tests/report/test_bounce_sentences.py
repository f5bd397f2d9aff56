# SPDX-License-Identifier: Apache-2.0
"""Bounces in sentences."""

import pytest

import invented
from mixwright.app.bounce_heard import Dialled
from mixwright.model.bounces import Bounce, DialledCost
from mixwright.model.song import Move, changed
from mixwright.report.bounces import bounce_told, dialled_told

MOVE = Move(id="level-piano", kind="level", target="piano", settings={"gain_db": -2.0})
COST = DialledCost(track="organ", name="Organ", fader_db=0.3)


@pytest.mark.parametrize(
    ("share", "heard", "told"),
    [
        (0.7, Dialled("Lead Vox", 2.0, 1.4, (COST,)),
         ", as dialled, 0.7 of it: predicted +2.0 dB for Lead Vox, got +1.4 dB; Organ lost 0.3 dB."),
        (1.05, Dialled("Lead Vox", None, 1.4), ", as dialled: got +1.4 dB for Lead Vox."),
        (1.0, Dialled("Lead Vox", 2.0),
         ", as dialled: predicted +2.0 dB for Lead Vox, no change is heard of Lead Vox."),
        (1.0, Dialled(), ", as dialled: what it did was not heard."),
    ],
)  # fmt: skip
def test_a_move_as_dialled(share, heard, told):
    made = dialled_told(invented.song(), MOVE, share, heard)
    assert made.told == made.does + told
    assert made.does.startswith("Lower ")


def test_a_bounce():
    move = dialled_told(invented.song(), MOVE, 1.0, Dialled("Lead Vox", 2.0, 1.4))
    bounce = Bounce(track="piano", name="Piano", file="piano.wav", sha256="0", superseded="kept/x.wav")
    assert bounce_told(bounce, ()) == "Piano: No change of it is large enough to tell."
    gone = changed(bounce, superseded="", why="the cache no longer had it")
    assert bounce_told(gone, ()) == "Piano: a new bounce was taken. It is not compared: the cache no longer had it."
    also = changed(bounce, also=("7 ms later",))
    assert bounce_told(also, ()) == "Piano: No open move is in it. Changed: 7 ms later."
    holds = changed(also, moves=(move,))
    assert bounce_told(holds, {"level-piano"}) == (
        f"Piano: {move.told} Also changed: 7 ms later. This move is accepted here, too, and now made twice: refuse it "
        "here, as the bounce has it."
    )
