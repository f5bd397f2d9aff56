# SPDX-License-Identifier: Apache-2.0
"""Every view, dialog and state of the page by axe and for contrast, light and dark; forty rows on one screen."""

import pytest

import invented
import mixwright
from invented_hearing import hearing_result
from made_songs import make_song
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song
from mixwright.model.song import changed
from web.pages import CONTRAST, NEEDS_BROWSER, expect, grave_faults, opened_song

pytestmark = NEEDS_BROWSER


@pytest.fixture(scope="module")
def heard(tmp_path_factory):
    """A measured and planned song with moves in every state and an outdated receipt."""
    folder = make_song(tmp_path_factory.mktemp("looked"), rough="../tracks/vox.wav")
    mixwright.measure(folder)
    mixwright.plan(folder)
    mixwright.add(folder, "shape pad -4 dB at 1 kHz q 1")
    mixwright.add(folder, "level keys -2 dB")
    mixwright.refuse(folder, ["level-keys"])
    return folder


def looked_at(page, state):
    worst, where = page.evaluate(CONTRAST)
    assert worst >= 4.5, (state, where)
    assert grave_faults(page) == [], state


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_state_of_the_page(browser, heard, scheme):
    put = "fields => import('/static/store.js').then(store => store.put(fields))"
    with opened_song(browser, heard, color_scheme=scheme, expected="status of 422") as page:
        looked_at(page, "song view")
        page.locator(".finding").first.click()
        page.wait_for_selector(".covered tbody tr")
        expect(page.locator(".hearing")).to_contain_text("Hearing mix")
        looked_at(page, "a finding that sounds")
        page.locator("[data-word='beside']").click()
        page.wait_for_selector("[role=listbox]")
        looked_at(page, "a word that is chosen")
        page.keyboard.press("Escape")
        page.locator(".names input").first.check()
        looked_at(page, "chosen tracks")
        page.keyboard.press("Escape")
        page.locator(".names input").first.uncheck()
        page.evaluate(put, {"walks": True})
        page.locator(".walk").wait_for()
        looked_at(page, "the walk")
        page.locator(".walk").get_by_role("button", name="Put it away").click()
        page.locator(".state [data-explain=lufs]").hover()
        page.locator("#explained").wait_for()
        looked_at(page, "a number that is explained")
        page.keyboard.press("Escape")
        page.keyboard.press("?")
        page.get_by_role("dialog", name="Keys").wait_for()
        looked_at(page, "the keys")
        page.keyboard.press("Escape")
        runs = {"id": 99, "command": "measure", "state": "running", "doing": "ear", "done": 1, "total": 3, "left_s": 9,
                "note": "", "error": None}  # fmt: skip
        page.evaluate(put, {"job": runs, "notice": {"text": "Something was told."}})
        page.get_by_role("progressbar").wait_for()
        looked_at(page, "a job that runs, and what is told")
        page.evaluate(put, {"job": None, "notice": None, "link": "lost"})
        page.get_by_text("The server does not answer").wait_for()
        looked_at(page, "a server that is gone")
        page.evaluate(put, {"link": "joined"})
        page.locator("#head nav a", has_text="Moves").click()
        for summary in page.locator(".moves summary, section[aria-label='A move of your own'] summary").all():
            summary.click()
        looked_at(page, "moves")
        page.locator("#head nav a", has_text="Blind test").click()
        page.locator(".blind .word", has_text="another").click()
        page.keyboard.type("without")
        page.keyboard.press("Enter")
        looked_at(page, "a blind test before it begins")
        page.get_by_role("button", name="Begin").click()
        page.get_by_text("Trial 1 of").wait_for()
        looked_at(page, "a trial")


def test_forty_rows_are_seen_without_scrolling(browser, tmp_path):
    """Screens that need scrolling slow listening down (Mycroft et al. 2013); 1280 by 800 pixels are a small laptop."""
    song, hearing = invented.song(moves=()), hearing_result()
    copies = tuple(changed(t, id=f"{t.id}-again", name=f"{t.name} again") for t in song.tracks[2:20])
    tracks = (*song.tracks, *copies)
    layers = tuple(
        changed(hearing.layers[k % 4], id=t.id, name=t.name, place=t.place, tracks=(t.id,))
        for k, t in enumerate(tracks)
    )
    folder = tmp_path / "song"
    create_song(folder, changed(song, tracks=tracks))
    measured = invented.measure_result(moves=())
    write_kept(folder, "measure", changed(measured, hearing=changed(hearing, layers=layers)))
    with opened_song(browser, folder) as page:
        page.wait_for_selector(".voice .line")
        names = page.locator(".names label")
        assert names.count() >= 40
        expect(page.locator(".close")).to_be_visible()
        assert page.locator(".map .field").evaluate("one => one.getBoundingClientRect().bottom") <= 800
        boxes = names.evaluate_all("all => all.map(one => one.querySelector('.name').getBoundingClientRect().toJSON())")
        for k, one in enumerate(boxes):
            others = [box for box in boxes[k + 1 :] if abs(box["left"] - one["left"]) < 40]
            assert all(box["top"] >= one["bottom"] - 3 for box in others)
