# SPDX-License-Identifier: Apache-2.0
"""The reverbs a song starts with."""

from __future__ import annotations

import pytest

from mixwright.intake.sends import default_sends
from mixwright.io.song_text import new_text, read_song
from mixwright.model.song import Song


@pytest.mark.parametrize("tempo_bpm", [67.0, 84.0, 105.0, 120.0, 143.0, 180.0])
def test_decay_lies_between_a_quarter_and_a_half_note(tempo_bpm):
    """Pestana et al. 2017: a broad optimum between both, over songs of these tempi."""
    for send in default_sends(tempo_bpm):
        assert 60.0 / tempo_bpm - 0.006 <= send.reverb.decay_s <= 120.0 / tempo_bpm


@pytest.mark.parametrize("tempo_bpm", [None, 20.0, 400.0])
def test_decay_is_reasonable_without_a_tempo_and_at_odd_ones(tempo_bpm):
    assert all(0.3 <= send.reverb.decay_s <= 1.5 for send in default_sends(tempo_bpm))


def test_one_for_the_voice_and_one_for_instruments():
    voice, instruments = default_sends(120.0)
    assert (voice.id, voice.reverb.kind) == ("voice-reverb", "voice")
    assert (instruments.id, instruments.reverb.kind) == ("instrument-reverb", "instruments")
    assert voice.reverb.pre_delay_ms > 30.0  # Pestana & Reiss 2014
    assert voice.reverb.decay_s < instruments.reverb.decay_s


def test_the_song_file_shows_every_number_and_says_how_to_feed_them():
    song = Song(title="Invented", rate_hz=48000, sends=default_sends(120.0))
    text = new_text(song)
    assert read_song(text)[1] == song
    for key in ("decay_s", "pre_delay_ms", "low_hz", "high_hz"):
        assert text.count(f"{key} = ") == 2
    comment = text[: text.index("[[sends]]")].splitlines()[-2:]
    assert all(line.startswith("# ") and len(line) <= 120 for line in comment)
    assert "sends = { voice-reverb = -3.0 }" in comment[1]
