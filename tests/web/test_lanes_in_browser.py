# SPDX-License-Identifier: Apache-2.0
"""Lanes and the ride pass in the page, in a real browser, by mouse and by keyboard alone."""

import pytest

from made_songs import make_song
from mixwright.app.automate import lanes_view, set_lane
from mixwright.io.song_file import load_song
from mixwright.model.lane import Breakpoint
from web.pages import CONTRAST, NEEDS_BROWSER, expect, grave_faults, opened_song

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]


@pytest.fixture
def opened(browser, tmp_path):
    """A page of a song, and its folder; every complaint of the browser fails the test."""
    folder = make_song(tmp_path)
    with opened_song(browser, folder) as page:
        page.wait_for_selector(".names label")
        yield page, folder


def chosen(page, layer, parameter="level"):
    """Have the lane of a layer shown."""
    for word, name in (("Whose lane", layer), ("What it moves", parameter)):
        page.locator(f".lanes .word[aria-label^='{word}']").click()
        page.keyboard.type(name)
        page.keyboard.press("Enter")
    return page.locator(".lanes .line")


def kept(folder):
    return {(one.target, one.parameter): one.points for one in lanes_view(folder).lanes}


def until(page, true):
    """Wait for something that the page does by and by."""
    for _ in range(200):
        if true():
            return
        page.wait_for_timeout(50)
    raise AssertionError("it never came true")


def test_by_mouse_points_are_added_dragged_and_removed(opened):
    page, folder = opened
    line = chosen(page, "pad")
    line.scroll_into_view_if_needed()
    box = line.bounding_box()
    place = lambda x, y: (box["x"] + x * box["width"], box["y"] + y * box["height"])  # noqa: E731
    for k, x in enumerate((0.25, 0.5, 0.75)):
        page.mouse.click(*place(x, 0.25))
        page.get_by_role("button", name=f"Undo: lane of pad: level, {k + 1} point").wait_for()
    assert [point.value for point in kept(folder)["pad", "level"]] == [0.0, 0.0, 0.0]
    page.mouse.move(*place(0.5, 0.25))
    page.mouse.down()
    page.mouse.move(*place(0.5, 0.5), steps=5)
    assert kept(folder)["pad", "level"][1].value == 0.0
    version = load_song(folder).automation
    page.mouse.up()
    expect(page.locator(".lanes .numbers")).to_contain_text("Point 2 of 3, 0:06.0")
    until(page, lambda: kept(folder)["pad", "level"][1].value == -6.0)
    assert load_song(folder).automation != version
    page.mouse.dblclick(*place(0.5, 0.5))
    page.get_by_role("button", name="Undo: lane of pad: level, 2 points").wait_for()
    page.get_by_role("button", name="Take the lane out").click()
    page.get_by_role("button", name="Undo: lane of pad: level, none").wait_for()
    assert kept(folder) == {}
    page.keyboard.press("Control+z")
    expect(line.locator(".point")).to_have_count(2)


def test_what_another_page_made_of_a_lane_is_not_lost_unasked(browser, tmp_path):
    folder = make_song(tmp_path)
    with opened_song(browser, folder, expected="status of 409") as page:
        page.wait_for_selector(".names label")
        _drawn_meanwhile(page, folder)


def _drawn_meanwhile(page, folder):
    line = chosen(page, "pad")
    line.scroll_into_view_if_needed()
    box = line.bounding_box()
    place = lambda x, y: (box["x"] + x * box["width"], box["y"] + y * box["height"])  # noqa: E731
    page.mouse.click(*place(0.5, 0.25))
    page.get_by_role("button", name="Undo: lane of pad: level, 1 point").wait_for()
    page.mouse.move(*place(0.5, 0.25))
    page.mouse.down()
    page.mouse.move(*place(0.5, 0.5), steps=5)
    theirs = [Breakpoint(at_s=1.0, value=-3.0), Breakpoint(at_s=2.0, value=-2.0)]
    set_lane(folder, "pad", "level", theirs)
    page.get_by_role("button", name="Undo: lane of pad: level, 2 points").wait_for()
    page.mouse.up()
    expect(page.locator(".notice")).to_contain_text("yours was not made")
    assert list(kept(folder)["pad", "level"]) == theirs
    page.get_by_role("button", name="Do it again").click()
    until(page, lambda: [point.value for point in kept(folder)["pad", "level"]] == [-6.0])


def test_by_keyboard_alone_a_mute_and_a_typed_value(opened):
    page, folder = opened
    page.locator(".map .field").focus()
    page.keyboard.press("ArrowDown")
    expect(page.locator(".lanes .which")).to_contain_text("Lane of vox: level")
    line = page.locator(".lanes .line")
    line.focus()
    page.keyboard.press("Enter")
    expect(line.locator(".point")).to_be_focused()
    for key in ("ArrowDown", "ArrowDown", "Shift+ArrowDown", "Shift+ArrowRight", "ArrowRight"):
        page.keyboard.press(key)
    expect(line.locator(".point")).to_have_attribute("aria-label", "Point 1 of 1, 0:01.1, \u22121.1 dB")
    page.keyboard.press("Enter")
    expect(line.locator(".point").nth(1)).to_be_focused()
    page.get_by_role("button", name="Undo: lane of vox: level, 2 points").wait_for()
    typed = page.locator(".numbers input[aria-label='level, in dB']")
    typed.focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("-4,5")
    page.keyboard.press("Enter")
    until(page, lambda: kept(folder)["vox", "level"][1].value == -4.5)
    assert [(p.at_s, p.value) for p in kept(folder)["vox", "level"]] == [(1.1, -1.1), (3.1, -4.5)]
    chosen(page, "vox", "mute")
    line.focus()
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowUp")
    expect(line.locator(".point")).to_have_attribute("aria-label", "Point 1 of 1, 0:00.0, muted")
    page.get_by_role("button", name="Undo: lane of vox: mute, 1 point").wait_for()
    page.keyboard.press("Delete")
    page.get_by_role("button", name="Undo: lane of vox: mute, none").wait_for()
    assert list(kept(folder)) == [("vox", "level")]


def test_a_number_is_stepped_and_dragged_on_and_on_and_kept_once_the_hand_rests(opened):
    page, folder = opened
    chosen(page, "pad").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Undo: lane of pad: level, 1 point").wait_for()
    number = page.locator(".numbers input[aria-label='level, in dB']")
    number.focus()
    for _ in range(3):
        page.keyboard.press("ArrowDown")
    until(page, lambda: kept(folder)["pad", "level"][0].value == -1.5)
    expect(number).to_be_focused()
    box = number.bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(box["x"] + 5 - 30, box["y"] + 5, steps=6)
    page.mouse.up()
    until(page, lambda: kept(folder)["pad", "level"][0].value == -4.5)


def test_a_ride_is_heard_at_once_shown_and_kept_or_thrown_away(opened):
    page, folder = opened
    chosen(page, "bass")
    for keeps in (False, True):
        page.get_by_role("button", name="Ride the level").click()
        page.get_by_text("Riding.").wait_for()
        strip = page.locator(".strip input")
        expect(strip).to_be_focused()
        page.wait_for_timeout(400)
        for _ in range(4):
            page.keyboard.press("ArrowDown")
            page.wait_for_timeout(60)
        expect(strip).to_have_attribute("aria-valuetext", "\u22122 dB")
        page.get_by_role("button", name="End the pass").click()
        expect(page.locator(".lanes .acts")).to_contain_text("Ridden: 4 steps, as a line of")
        assert kept(folder) == {}
        page.get_by_role("button", name="Keep it" if keeps else "Throw it away").click()
        page.get_by_role("button", name="Ride the level").wait_for()
    page.get_by_role("button", name="Undo: lane of bass: level").wait_for()
    points = kept(folder)["bass", "level"]
    assert min(point.value for point in points) == -2.0
    assert points[0].value == points[-1].value == 0.0
    assert len(points) < 9
    expect(page.locator(".hearing")).to_contain_text("Hearing mix beside nothing")
    page.keyboard.press("Control+z")
    expect(page.locator(".lanes .point")).to_have_count(0)


def test_a_position_is_heard_once_it_is_rendered(opened):
    page, folder = opened
    page.locator("[data-word='play']").click()
    expect(page.locator(".hearing")).to_contain_text("Hearing mix")
    line = chosen(page, "keys", "pan")
    expect(page.locator(".lanes .acts")).to_contain_text("Heard as soon as it is rendered.")
    line.focus()
    with page.expect_request(lambda asked: "/api/excerpt" in asked.url):
        page.keyboard.press("Enter")
    expect(page.locator(".hearing")).to_contain_text("Hearing mix")
    assert list(kept(folder)) == [("keys", "pan")]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 2560])
def test_lanes_fit_and_are_accessible(opened, width, scheme):
    page, _ = opened
    page.set_viewport_size({"width": width, "height": 900})
    page.emulate_media(color_scheme=scheme)
    chosen(page, "pad").focus()
    page.keyboard.press("Enter")
    page.locator(".lanes .point").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    worst, where = page.evaluate(CONTRAST)
    assert worst >= 4.5, where
    assert grave_faults(page) == []
