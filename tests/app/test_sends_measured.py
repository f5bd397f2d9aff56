# SPDX-License-Identifier: Apache-2.0
"""How wet a send is, measured."""

from __future__ import annotations

import numpy as np
import pytest

from made_songs import make_song
from mixwright.app.measure import measure
from mixwright.app.returns import wet_to_dry_lu
from mixwright.io.song_file import edit_song
from mixwright.meter.loudness import Loudness
from mixwright.model.song import Send, changed, replace_in
from mixwright.model.strip import Limiter, Master, Reverb
from mixwright.report.text import measure_text


def fed(folder, level_db):
    reverb = Reverb(kind="instruments", decay_s=0.5, low_hz=20.0, high_hz=7000.0)
    send = Send(id="instrument-reverb", name="Instrument reverb", reverb=reverb)
    unfed = Send(id="voice-reverb", name="Voice reverb", reverb=Reverb(kind="voice", decay_s=0.5))

    def edit(song):
        pad = next(track for track in song.tracks if track.id == "pad")
        group = changed(song.groups[0], sends={send.id: level_db})
        tracks = replace_in(song.tracks, changed(pad, sends={send.id: level_db}))
        return changed(song, sends=(send, unfed), tracks=tracks, groups=(group,))

    edit_song(folder, "feed", edit)
    return folder


@pytest.fixture(scope="module")
def song(tmp_path_factory):
    return fed(make_song(tmp_path_factory.mktemp("fed")), 0.0)


def test_a_send_at_0_db_is_about_14_lu_below_what_feeds_it(song):
    result = measure(song)
    (send,) = result.sends
    assert send.fed_by == ("pad", "drums")
    # Not steady noise of equal power in every band, so not to the dB.
    assert send.wet_to_dry_lu == pytest.approx(-14.0, abs=2.0)
    assert [part.name for part in send.sections] == [section.name for section in result.sections]
    assert all(part.wet_to_dry_lu == pytest.approx(send.wet_to_dry_lu, abs=1.0) for part in send.sections)
    assert not any("too wet" in line for line in measure_text(result))


def test_minus_9_lu_and_above_is_told(song):
    dry = measure(song).sends[0].wet_to_dry_lu
    result = measure(fed(song, 8.0))
    assert result.sends[0].wet_to_dry_lu == pytest.approx(dry + 8.0, abs=0.05)
    told = [line for line in measure_text(result) if "Instrument reverb, fed by" in line]
    assert len(told) == 1
    assert "Every mix that wet was called too wet" in told[0]
    # The page keeps a figure and its unit together, with a true minus.
    page = (
        (song / "page.html")
        .read_text(encoding="utf-8")
        .replace("\N{MINUS SIGN}", "-")
        .replace("\N{NO-BREAK SPACE}", " ")
    )
    assert told[0].strip() in page


def test_with_a_limiter_the_parts_go_through_its_gain(song):
    before = measure(fed(song, 0.0)).sends[0].wet_to_dry_lu
    edit_song(song, "limit", lambda now: changed(now, master=Master(fader_db=12.0, limiter=Limiter())))
    result = measure(song)
    assert result.mix.true_peak_dbtp <= -0.95
    assert result.sends[0].wet_to_dry_lu == pytest.approx(before, abs=0.3)


def lufs(*levels):
    """A second each at loudness levels in LUFS."""
    return Loudness(1000, np.repeat([10.0 * 10.0 ** ((level + 0.691) / 10.0) for level in levels], 100))


def test_mean_of_momentary_differences_where_the_dry_sounds():
    # Worked by hand: 10 windows lie wholly in each second but the last; between seconds they change.
    assert wet_to_dry_lu(lufs(-34.0, -34.0), lufs(-20.0, -20.0)) == pytest.approx(-14.0)
    assert wet_to_dry_lu(lufs(-30.0, -40.0), lufs(-20.0, -20.0), 0.0, 1.0) == pytest.approx(-10.0)
    assert wet_to_dry_lu(lufs(-30.0, -40.0), lufs(-20.0, -20.0), 1.0, 2.0) == pytest.approx(-20.0)
    # A tail over a pause of the dry does not count, nor a return that has not begun.
    assert wet_to_dry_lu(lufs(-34.0, -20.0), lufs(-20.0, -50.0), 0.0, 2.0) == pytest.approx(-14.0, abs=8.0)
    assert wet_to_dry_lu(lufs(-34.0, -20.0), lufs(-20.0, -50.0), 1.0, 2.0) is None
    assert wet_to_dry_lu(lufs(-90.0, -34.0), lufs(-20.0, -20.0), 0.0, 1.0) is None
    assert wet_to_dry_lu(lufs(-34.0), lufs(-90.0)) is None
