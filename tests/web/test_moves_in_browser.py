# SPDX-License-Identifier: Apache-2.0
"""Moves and listening in the page, in a real browser, by mouse and by keyboard alone."""

import pytest

import mixwright
from made_songs import make_song
from mixwright.app.blind import kept_blind
from mixwright.io.song_file import load_song
from web.pages import CONTRAST, NEEDS_BROWSER, expect, grave_faults, opened_song

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]


@pytest.fixture
def opened(browser, tmp_path):
    """A page of a song with two accepted moves, and its folder; every complaint of the browser fails the test."""
    folder = make_song(tmp_path)
    mixwright.add(folder, "shape pad -4 dB at 1 kHz q 1")
    mixwright.add(folder, "level vox -3 dB")
    with opened_song(browser, folder, "#moves") as page:
        page.wait_for_selector(".move")
        yield page, folder


def settings(folder, kind):
    return next(one for one in load_song(folder).moves if one.kind == kind).settings


def test_by_mouse_hear_turn_keep_refuse_undo(opened):
    page, folder = opened
    row = page.locator(".move", has_text="Cut pad")
    row.get_by_role("button", name="Hear it").click()
    expect(page.locator(".hearing")).to_contain_text("Hearing mix with this move beside mix without this move")
    number = row.locator("input[aria-label='gain, in dB']")
    box = number.bounding_box()
    page.mouse.move(box["x"] + 20, box["y"] + 8)
    page.mouse.down()
    page.mouse.move(box["x"] + 20 - 22, box["y"] + 8, steps=4)
    expect(number).to_have_value("-6")
    expect(page.locator(".hearing")).to_contain_text("Hearing this move as it is set")
    assert settings(folder, "shape")["gain_db"] == -4.0
    page.mouse.up()
    expect(page.locator(".move", has_text="Cut pad by 6.0 dB")).to_be_visible()
    expect(page.locator(".hearing")).to_contain_text("Hearing mix with this move")
    assert settings(folder, "shape")["gain_db"] == -6.0
    page.locator("#head").get_by_role("button", name="Undo").click()
    expect(page.locator(".move", has_text="Cut pad by 4.0 dB")).to_be_visible()
    page.locator(".move", has_text="vox").get_by_role("button", name="Refuse").click()
    expect(page.locator("summary", has_text="Refused (1)")).to_be_visible()


def test_by_keyboard_alone(opened):
    page, folder = opened

    def tab_to(selector):
        for _ in range(200):
            page.keyboard.press("Tab")
            if page.evaluate("wanted => document.activeElement.matches(wanted)", selector):
                assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
                return
        raise AssertionError(f"no Tab leads to {selector}")

    tab_to("[data-word='play']")
    page.keyboard.press("Enter")
    expect(page.locator(".hearing")).to_contain_text("Hearing mix beside nothing, verse")
    tab_to("[data-word='beside']")
    page.keyboard.press("Enter")
    page.keyboard.type("without moves")
    page.keyboard.press("Enter")
    expect(page.locator(".hearing")).to_contain_text("Hear mix without moves")
    page.keyboard.press("b")
    expect(page.locator(".hearing")).to_contain_text("mix without moves sounds, moved by")
    tab_to("[data-word='band']")
    page.keyboard.press("Enter")
    page.keyboard.type("200-500")
    page.keyboard.press("Enter")
    expect(page.locator(".hearing")).to_contain_text("200 Hz to 500 Hz")
    tab_to(".move input[aria-label='gain, in dB']")
    page.keyboard.press("ArrowUp")
    page.keyboard.press("Enter")
    expect(page.locator(".move", has_text="Cut pad by 3.5 dB")).to_be_visible()
    assert settings(folder, "shape")["gain_db"] == -3.5
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "gain, in dB"
    tab_to("[data-word$=' h']")
    page.keyboard.press("r")
    expect(page.locator("summary", has_text="Refused (1)")).to_be_visible()
    tab_to("input[name='sentence']")
    page.keyboard.type("level keys -2 dB")
    page.keyboard.press("Enter")
    expect(page.locator(".move", has_text="Lower keys by 2.0 dB")).to_be_focused()


def test_the_level_has_a_cap_that_is_raised_on_purpose(opened):
    page, _ = opened
    level = page.locator(".level input")
    expect(page.locator(".level output")).to_have_text("Everything at \u221233 LUFS.")
    level.fill("-23")
    expect(page.locator(".level output")).to_contain_text("\u221223 LUFS")
    assert level.get_attribute("max") == "-23"
    page.get_by_role("button", name="Let it go up to").click()
    assert level.get_attribute("max") == "-13"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 2560])
def test_moves_fit_and_are_accessible(opened, width, scheme):
    page, _ = opened
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    worst, where = page.evaluate(CONTRAST)
    assert worst >= 4.5, where
    assert grave_faults(page) == []


def test_blind_the_order_is_hidden_until_the_last_trial(opened):
    page, folder = opened
    page.locator("#head nav a", has_text="Blind test").click()
    page.locator(".blind .word", has_text="another").click()
    page.keyboard.type("without")
    page.keyboard.press("Enter")
    trials = page.locator(".blind input[aria-label=trials]")
    trials.fill("5")
    trials.press("Enter")
    page.get_by_role("button", name="Begin").click()
    page.get_by_text("Trial 1 of 5").wait_for()
    for trial in range(5):
        expect(page.locator(".blind")).to_contain_text(f"Trial {trial + 1} of 5. Which is better? 1 still to be heard.")
        assert "without" not in page.locator("body").inner_text()
        assert page.get_by_role("button", name="The first is better").is_disabled()
        page.keyboard.press("2")
        page.get_by_role("button", name="The second is better").click()
    expect(page.locator(".results li")).to_contain_text("Better in 5 trials: mix")
    (kept,) = kept_blind(folder).tests
    assert kept.test.versions == ("mix", "mix without moves")
    assert len(kept.test.picks) == 5


#: What the player tells, kept for the test.
HEARKEN = """
const Plain = AudioWorkletNode;
window.told = [];
window.AudioWorkletNode = class extends Plain {
  constructor(...given) {
    super(...given);
    this.port.addEventListener("message", ({ data }) => window.told.push(data));
  }
};
"""


def test_a_number_that_is_turned_is_heard_with_nothing_but_its_coefficients_asked_for(opened):
    page, _ = opened
    page.add_init_script(HEARKEN)
    page.reload()
    row = page.locator(".move", has_text="Cut pad")
    with page.expect_response("**/api/try/audio**"):
        row.get_by_role("button", name="Hear it").click()
    expect(page.locator(".hearing")).to_contain_text("Hearing mix with this move")
    page.wait_for_timeout(1000)  # what was loaded beforehand is told to nobody
    asked = []
    page.on("request", lambda request: asked.append((request.method, request.url.partition("/api/")[2])))
    row.locator("input[aria-label='gain, in dB']").focus()
    for steps in (1, 2, 3):
        page.keyboard.press("ArrowUp")
        page.wait_for_function("steps => window.told.filter(one => 'changed' in one).length === steps", arg=steps)
    assert asked == [("POST", "try")] * 3
    expect(page.locator(".hearing")).to_contain_text("Hearing this move as it is set")
