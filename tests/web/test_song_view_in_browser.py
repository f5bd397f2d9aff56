# SPDX-License-Identifier: Apache-2.0
"""The page in a real browser, by mouse and by keyboard, with the network off."""

import contextlib
import json
from urllib.parse import urlsplit

import pytest

import invented
from mixwright.app import decide
from mixwright.app.edit import edit
from mixwright.io.kept import write_kept
from mixwright.io.song_file import create_song, load_song
from mixwright.model.song import changed
from mixwright.model.song_edit import SongEdit, TrackEdit
from web.pages import CONTRAST, NEEDS_BROWSER, Running, expect, grave_faults, opened_page

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]

HOSTILE = '<img src=x onerror="document.title=\'ran\'"><script>document.title="ran"</script>'
SIZES = [(360, 740), (1280, 800), (2560, 1440)]


@pytest.fixture
def served(tmp_path):
    """An invented song with hostile names, its lead not confirmed, and some roles not sure."""
    song = invented.song(title=HOSTILE, lead=())
    tracks = tuple(
        changed(t, name=HOSTILE, role_confidence=0.2) if t.id == "pluck" else changed(t, role_confidence=0.9)
        for t in song.tracks
    )
    create_song(tmp_path / "song", changed(song, tracks=tracks))
    for name, result in (
        ("intake", invented.start_result()),
        ("measure", invented.measure_result()),
        ("plan", invented.plan_result()),
    ):
        write_kept(tmp_path / "song", name, result)
    running = Running(tmp_path / "song")
    yield running
    running.end()


@pytest.fixture
def opened(browser, served):
    """Open pages of the song; every complaint of the browser and every request elsewhere fails the test."""
    with contextlib.ExitStack() as pages:

        def open_page(width: int = 1280, height: int = 800, scheme: str = "light", expected: str = "nothing"):
            settings = {"viewport": {"width": width, "height": height}, "color_scheme": scheme}
            return pages.enter_context(opened_page(browser, served.url, expected=expected, **settings))

        yield open_page


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_it_fits_is_readable_and_accessible(opened, width, height, scheme):
    page = opened(width, height, scheme, expected="status of 422")
    page.locator(".finding").first.click(force=True)
    page.wait_for_selector(".covered tbody tr")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    worst, where = page.evaluate(CONTRAST)
    assert worst >= 4.5, where
    assert grave_faults(page) == []


def test_names_that_are_markup_are_text(opened, served):
    page = opened()
    assert page.locator("h1").text_content().startswith(HOSTILE)
    assert page.title() == f"{HOSTILE} - Mixwright"
    assert page.locator("#main img, #main script, #head img").count() == 0
    assert page.locator(".questions li").first.text_content().startswith(f"What is {HOSTILE}?")
    edit(served.folder, SongEdit(tracks={"warm-pad": TrackEdit(name=HOSTILE)}))
    for view in ("Moves", "Blind test"):
        page.locator("#head nav a", has_text=view).click()
        page.wait_for_selector("#main h2")
        expect(page.locator("#main")).to_contain_text("onerror" if view == "Moves" else "Compare")
        assert page.locator("#main img, #main script, #head img").count() == 0
    assert page.title() == f"{HOSTILE} - Mixwright"


def test_policy_forbids_what_is_not_ours(opened):
    page = opened(expected=".*")
    with pytest.raises(Exception, match=r"Trusted|trusted"):
        page.evaluate("document.body.innerHTML = '<b>x</b>'")
    with pytest.raises(Exception, match=r"Trusted|trusted"):
        page.evaluate("document.createElement('script').textContent = 'document.title = 1'")
    page.evaluate("try { setTimeout('document.title = \"ran\"', 0) } catch { }")
    assert page.evaluate("fetch('http://127.0.0.1:9/').then(() => 'went', () => 'stayed')") == "stayed"
    assert page.title() != "ran"


def test_by_mouse_find_hear_edit_undo(opened, served):
    page = opened(expected="status of 422")
    page.get_by_role("button", name="Yes, follow it").click()
    page.get_by_text("Or follow").wait_for()
    assert load_song(served.folder).lead == ("lead-vox",)
    with page.expect_request(lambda asked: "/api/excerpt" in asked.url):
        page.locator(".finding").nth(1).click()
    page.wait_for_selector(".covered tbody tr")
    assert page.locator(".covered tbody tr.own").count() == 1
    page.locator("label[data-row='organ'] input").check()
    page.locator("label[data-row='piano'] input").check()
    page.keyboard.type("wall of keys")
    page.keyboard.press("Enter")
    expect(page.locator("[data-cell='piano/source']")).to_contain_text("wall of keys")
    song = load_song(served.folder)
    assert [one.name for one in song.sources] == ["wall of keys"]
    assert {t.id for t in song.tracks if t.source} == {"organ", "piano"}
    page.locator("#head").get_by_role("button", name="Undo").click()
    expect(page.locator("[data-cell='piano/source']")).to_contain_text("itself alone")
    assert load_song(served.folder).sources == ()


def test_by_keyboard_alone(opened, served):
    page = opened(expected="status of 422")
    focus = "document.activeElement"

    def tab_to(selector: str) -> None:
        for _ in range(400):
            page.keyboard.press("Tab")
            if page.evaluate(f"{focus}.matches({json.dumps(selector)})"):
                outline = page.evaluate(f"getComputedStyle({focus}).outlineStyle")
                assert outline != "none", selector
                return
        raise AssertionError(f"no Tab leads to {selector}")

    page.keyboard.press("Tab")
    assert page.evaluate(f"{focus}.textContent") == "Skip to the song"
    tab_to(".followed .do")
    page.keyboard.press("Enter")
    page.get_by_text("Or follow").wait_for()
    tab_to(".voice .line")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    first = page.locator(".voice .reading").text_content()
    page.keyboard.press("ArrowRight")
    assert page.locator(".voice .reading").text_content() != first
    with page.expect_request(lambda asked: "/api/excerpt" in asked.url):
        page.keyboard.press("Enter")
    tab_to(".map .field")
    for key in ("ArrowDown", "ArrowDown", "ArrowRight", "+", "+"):
        page.keyboard.press(key)
    assert "1:01" in page.locator(".map .reading").text_content()
    page.get_by_text("Showing").wait_for()
    page.keyboard.press("0")
    expect(page.locator(".state")).not_to_contain_text("Showing")
    page.keyboard.press("x")
    assert page.locator(".assign").is_visible()
    page.keyboard.type("bed")
    page.keyboard.press("Enter")
    expect(page.locator(".layers tr.chosen [data-cell$=place]")).to_have_text("bed")
    page.keyboard.press("Escape")
    page.wait_for_selector(".assign", state="hidden")
    tab_to(".finding")
    page.keyboard.press("Enter")
    page.wait_for_selector(".covered tbody tr")
    assert page.evaluate(f"{focus}.classList.contains('finding')")
    tab_to("[data-cell='piano/role'] button")
    page.keyboard.press("Enter")
    page.keyboard.type("stri")
    page.keyboard.press("Enter")
    expect(page.locator("[data-cell='piano/role']")).to_have_text("strings")
    assert next(t.role for t in load_song(served.folder).tracks if t.id == "piano") == "strings"
    assert page.evaluate(f"{focus}.closest('[data-cell]')?.dataset.cell") == "piano/role"


def test_an_edit_by_hand_and_another_page_show_at_once(opened, served):
    one, other = opened(), opened()
    edit(served.folder, SongEdit(tracks={"piano": TrackEdit(name="Upright")}))
    for page in (one, other):
        expect(page.locator("[data-cell='piano/name'] input")).to_have_value("Upright")
    field = one.locator("[data-cell='piano/name'] input")
    field.fill("Grand")
    field.press("Enter")
    expect(other.locator("[data-cell='piano/name'] input")).to_have_value("Grand")


def test_a_page_that_missed_a_change_is_told_and_can_do_it_again(opened, served):
    page = opened(expected="status of 409|ERR_FAILED")
    page.route("**/api/song", lambda route: route.abort())  # it hears of the change and cannot read it
    edit(served.folder, SongEdit(tracks={"piano": TrackEdit(name="Upright")}))
    page.get_by_text("The server does not answer").first.wait_for()
    page.get_by_role("button", name="Yes, follow it").click()
    page.get_by_text("The song was changed elsewhere; yours was not made.").wait_for()
    assert load_song(served.folder).lead == ()
    expect(page.locator("[data-cell='piano/name'] input")).to_have_value("Upright")
    page.unroute("**/api/song")
    page.get_by_role("button", name="Do it again").click()
    page.get_by_text("Or follow").wait_for()
    assert load_song(served.folder).lead == ("lead-vox",)


def test_a_server_that_is_gone_is_told_and_the_page_goes_on_with_the_next(opened, served):
    page = opened(expected="net::ERR|status of 403")
    key = served.url.partition("token=")[2]
    served.end()
    page.get_by_text("The server does not answer").wait_for()
    decide.add(served.folder, "level piano -2")
    from mixwright.web.key import Key, remembered

    with remembered(served.folder, Key(port=urlsplit(served.url).port, token=key)):
        again = Running(served.folder)
        assert again.url == served.url
        page.get_by_text("The server does not answer").wait_for(state="hidden")
        expect(page.locator("#head")).to_contain_text("level piano -2")
        again.end()


def test_undo_and_redo_by_keys_and_what_helps(opened, served):
    from mixwright.app.song_view import set_walk

    edit(served.folder, SongEdit(tracks={"piano": TrackEdit(name="Upright")}))
    set_walk(served.folder, waits=True)
    page = opened()
    page.keyboard.press("Control+z")
    page.get_by_role("button", name="Redo: edit piano").wait_for()
    page.keyboard.press("Control+Shift+Z")
    page.get_by_role("button", name="Undo: edit piano").wait_for()
    expect(page.locator("[data-cell='piano/name'] input")).to_have_value("Upright")
    page.locator(".state [data-explain=spl]").focus()
    page.keyboard.press("Tab")
    expect(page.locator(":focus")).to_have_attribute("aria-describedby", "explained")
    expect(page.locator("#explained")).to_contain_text("ITU-R BS.1770")
    page.keyboard.press("Escape")
    expect(page.locator("#explained")).to_be_hidden()
    page.locator(".finding").first.hover()
    expect(page.locator("#explained")).to_contain_text("tolerance")
    page.keyboard.press("?")
    expect(page.get_by_role("dialog", name="Keys")).to_contain_text("redo")
    page.keyboard.press("Escape")
    expect(page.get_by_role("dialog")).to_have_count(0)
    corner = page.locator(".walk")
    corner.get_by_role("button", name="Next").click()
    expect(corner).to_contain_text("2 of 6")
    with page.expect_response("**/api/walk"):
        corner.get_by_role("button", name="Put it away").click()
    assert opened().locator(".walk").is_hidden()
