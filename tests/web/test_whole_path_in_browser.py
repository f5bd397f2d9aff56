# SPDX-License-Identifier: Apache-2.0
"""From received tracks to the rendered mix in the page of a real browser: by mouse, and by keyboard alone."""

import shutil

import pytest

import mixwright
from made_songs import make_song
from mixwright.io.kept import read_kept
from mixwright.io.song_file import load_song
from mixwright.model.receipts import ProveResult
from mixwright.model.results import MixResult
from web.pages import NEEDS_BROWSER, Keyboard, Mouse, expect, opened_song

pytestmark = NEEDS_BROWSER


@pytest.mark.parametrize("hands", [Mouse, pytest.param(Keyboard, marks=pytest.mark.slow)])
def test_from_tracks_to_the_mix(browser, tmp_path, hands):
    shutil.rmtree(make_song(tmp_path))
    folder = tmp_path / "song"
    mixwright.start(tmp_path / "tracks", into=folder)
    with opened_song(browser, folder) as page:
        does = hands(page)
        hearing = page.locator(".hearing")
        assert page.get_by_role("button", name="Plan", exact=True).is_disabled()
        does.press(page.get_by_role("button", name="Yes, follow it"))
        page.get_by_text("Or follow").wait_for()
        does.press(page.get_by_role("button", name="Measure", exact=True))
        page.get_by_text("Measured.").wait_for()
        does.press(page.locator(".finding").first)
        page.wait_for_selector(".covered tbody tr")
        expect(hearing).to_contain_text("Hearing mix")
        does.press(page.get_by_role("button", name="Pause"))
        expect(hearing).to_contain_text("To hear: mix")
        does.press(page.get_by_role("button", name="Plan", exact=True))
        page.get_by_text("Planned.").wait_for()
        does.press(page.locator("#head nav a", has_text="Moves"))
        row = page.locator(f"#{page.locator('.move').first.get_attribute('id')}")
        does.press(row.get_by_role("button", name="Hear it"))
        expect(hearing).to_contain_text("Hearing mix with this move beside mix without this move")
        number = row.locator("input[aria-label='strength']")
        does.number(number, "0.8")
        expect(row.locator("input[aria-label='strength']")).to_have_value("0.8")
        does.press(row.get_by_role("button", name="Accept"))
        expect(page.locator("section[aria-label='Accepted (1)']")).to_be_visible()
        does.press(page.get_by_role("button", name="Prove"))
        page.get_by_text("Proved.").wait_for()
        expect(row).to_contain_text("Measured: ")
        does.press(page.get_by_role("button", name="Render the mix"))
        page.get_by_text("The mix is rendered.").wait_for()
        before = page.locator("#main").inner_text()
        page.reload()
        expect(page.locator("section[aria-label='Accepted (1)']")).to_be_visible()
        assert page.locator("#main").inner_text() == before
    (accepted,) = [move for move in load_song(folder).moves if move.state == "accepted"]
    assert accepted.strength == 0.8
    receipts, mixed = read_kept(folder, "receipts", ProveResult), read_kept(folder, "mix", MixResult)
    assert [one.id for one in receipts.moves] == [accepted.id]
    assert mixed.moves == (accepted.id,)
    assert (folder / mixed.file).is_file()
