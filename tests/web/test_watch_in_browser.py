# SPDX-License-Identifier: Apache-2.0
"""A bounce that is written while the page watches: taken, told beside the moves, measured anew, released."""

import numpy as np
import pytest

import mixwright
from made_songs import LAYERS, band_noise, make_song, write_audio
from mixwright.app.bounces import kept_bounces
from mixwright.io.hashing import file_sha256
from mixwright.io.kept import read_kept
from mixwright.io.song_file import edit_song, load_song
from mixwright.model.results import MeasureResult
from mixwright.model.song import changed
from web.pages import NEEDS_BROWSER, Running, expect, opened_page

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]


def test_a_bounce_is_told_beside_the_move_that_it_holds(browser, tmp_path):
    folder = make_song(tmp_path)
    tracks = lambda song: tuple(changed(t, sha256=file_sha256(folder / t.file)) for t in song.tracks)  # noqa: E731
    edit_song(folder, "hashes", lambda song: changed(song, tracks=tracks(song)))
    mixwright.measure(folder)
    mixwright.add(folder, "level pad -4 dB")
    before = read_kept(folder, "measure", MeasureResult).sounding
    running = Running(folder, watches=True)
    try:
        with opened_page(browser, f"{running.url}#moves") as page:
            expect(page.locator(".bounces")).to_be_hidden()
            seed = next(k for k, one in enumerate(LAYERS) if one[0] == "pad")
            pad = band_noise(seed, 1200.0, -14.0, 0.0, 12.0)
            write_audio(tmp_path / "tracks" / "pad.wav", (pad * 10.0 ** (-3.0 / 20.0)).astype(np.float32))
            bounces = page.locator(".bounces")
            expect(bounces).to_contain_text("pad: Lower pad by 4.0 dB, as dialled, 0.8 of it: got +")
            expect(bounces).to_contain_text("This move is accepted here, too, and now made twice")
            assert (folder / kept_bounces(folder).bounces[0].superseded).is_file()
            page.get_by_role("button", name="Refuse it here").click()
            expect(page.locator("summary", has_text="Refused (1)")).to_be_visible()
            expect(page.get_by_role("button", name="Refuse it here")).to_have_count(0)
            assert load_song(folder).moves[0].state == "refused"
            page.get_by_text("Measured.").wait_for()
            assert read_kept(folder, "measure", MeasureResult).sounding != before
            page.get_by_role("button", name="Release it").click()
            page.get_by_role("button", name="Release it for good").click()
            expect(bounces.get_by_role("button", name="Release it")).to_be_hidden()
            assert list((folder / "kept" / "superseded").iterdir()) == []
    finally:
        running.end()
