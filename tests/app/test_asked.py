# SPDX-License-Identifier: Apache-2.0
"""What a song asks for: backing voices that are brighter than the lead, told only then."""

from __future__ import annotations

from pathlib import Path

import pytest
from test_hearing_song import edit_track, song_of, sound

from mixwright.app.leave import leave
from mixwright.app.measure import measure
from mixwright.io.song_file import edit_song
from mixwright.ledger.brightness import Sung, brighter, brightness_db
from mixwright.meter.measure import measure as measure_audio
from mixwright.model.hearing import Range
from mixwright.model.song import changed
from mixwright.report.findings import finding_sentence

RATE_HZ = 48000
LEAD = sound(1, 350.0, -20.0, RATE_HZ) + sound(2, 4000.0, -34.0, RATE_HZ)
#: The same with 6 dB more on top; and with 6 dB less.
BRIGHT = sound(3, 350.0, -30.0, RATE_HZ) + sound(4, 4000.0, -38.0, RATE_HZ)
DARK = sound(5, 350.0, -30.0, RATE_HZ) + sound(6, 4000.0, -50.0, RATE_HZ)


@pytest.fixture(scope="module")
def song(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = song_of(tmp_path_factory.mktemp("asked"), {"vox": LEAD, "hi": BRIGHT, "lo": DARK}, lead=("vox",))
    edit_track(folder, "vox", role="lead vocal")
    for id_ in ("hi", "lo"):
        edit_track(folder, id_, role="backing vocal")
    return folder


def told(folder: Path):
    return [one for one in measure(folder).hearing.findings if one.kind == "brighter"]


def test_brighter_backing_voices_are_told_only_where_the_song_asks(song: Path) -> None:
    assert told(song) == []
    edit_song(song, "ask", lambda now: changed(now, asks=("dark backing voices",)))
    (one,) = told(song)
    assert (one.track, one.taker, one.section) == ("hi", "vox", "")
    # By how they were made: 6 dB, less what of one part reaches into the range of the other.
    assert one.size_db.cued == pytest.approx(6.0, abs=1.0)
    assert one.excess_db == pytest.approx(one.size_db.cued - one.tolerance_db)
    leave(song, [one.id])
    (left,) = told(song)
    assert left.verdict == "left as is"


def test_brightness_is_power_above_over_power_below() -> None:
    levels = measure_audio(LEAD, RATE_HZ)
    brighter_levels = measure_audio(LEAD + sound(2, 4000.0, -34.0, RATE_HZ), RATE_HZ)
    assert brightness_db(brighter_levels) - brightness_db(levels) == pytest.approx(6.02, abs=0.7)
    assert brightness_db(changed(levels, third_octave_db=(None,) * len(levels.third_octave_db))) is None


def test_beside_several_leads_the_brightest_counts_and_without_one_nothing() -> None:
    bright, dark = (Sung(measure_audio(audio, RATE_HZ), 0.0, 3.0) for audio in (BRIGHT, DARK))
    (one,) = brighter({"b": dark}, {"a": bright})
    assert one.size_db == Range(cued=one.size_db.cued, strict=one.size_db.cued)
    assert brighter({"b": dark, "c": bright}, {"a": bright}) == ()
    assert brighter({}, {"a": bright}) == ()
    sentence = finding_sentence(one, {"a": "Bv hi", "b": "Lead"})
    assert sentence.startswith("Bv hi at 2-8 kHz, 0:00 to 0:03: 1")
    assert "dB brighter than Lead, as was asked about; told above 1.0 dB." in sentence
