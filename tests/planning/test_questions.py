# SPDX-License-Identifier: Apache-2.0
from mixwright.model.arrangement import Arrangement, MissingJob, NeverHeard, Twins, WallHole
from mixwright.model.song import changed
from mixwright.planning.questions import questions_of
from planning.test_candidates import FINDINGS, SECTIONS, SONG

HOLE = WallHole(
    section="Chorus", start_s=10.0, end_s=20.0, low_hz=1000.0, high_hz=2000.0, depth_db=6.2, beside=("Verse",)
)


def test_a_layer_that_is_only_covered_is_asked_about_once_and_not_when_it_was_left():
    covered = FINDINGS[5]
    never = Arrangement(
        never_heard=(NeverHeard(layer="keys", loudness_lu=0.1, third_octave_db=0.3, third_octave_hz=800.0),)
    )
    (told,) = questions_of([covered], Arrangement(), SONG)
    assert told.startswith("Keys is covered wherever it sounds under Lead voice and Guitar L.")
    (told,) = questions_of([covered], never, SONG)
    assert told == "Without Keys the mix changes by 0.1 LU, and no third-octave by more than 0.3 dB. Mute it?"
    assert questions_of([changed(covered, verdict="left as is"), FINDINGS[0]], Arrangement(), SONG) == ()


def test_twins_and_missing_parts_are_asked_about():
    found = Arrangement(
        twins=(Twins(layers=("gtr-l", "gtr-r"), share=0.9),),
        missing=(MissingJob(section="Verse", job="held chord", beside=("Chorus",), done_by=("pad", "gtr-l", "keys")),),
    )
    twins, missing = questions_of([], found, SONG)
    assert twins.startswith("Guitar L and Guitar R do nearly the same")
    assert missing == "In Verse no layer holds a chord; beside it Pad, Guitar L and Keys do. Is a part missing?"


def test_a_hole_names_the_layer_that_could_fill_it_and_never_a_lead():
    (bare,) = questions_of([], Arrangement(holes=(HOLE,)), SONG)
    assert bare == (
        "In Chorus there is 6 dB less from 1 to 2 kHz than in Verse beside it. If that is not meant: is a part missing?"
    )
    (told,) = questions_of([], Arrangement(holes=(HOLE,)), SONG, SECTIONS)
    assert told.startswith(bare)
    assert "Or Guitar" in told
    assert "drive 6 dB, 30 %" in told
