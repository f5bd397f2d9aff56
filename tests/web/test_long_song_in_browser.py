# SPDX-License-Identifier: Apache-2.0
"""A song of more than a minute is heard whole, in windows; and what a page that is read anew remembers."""

import re

import numpy as np
import pytest
import soundfile

import mixwright
from made_songs import RATE_HZ, make_song, write_audio
from mixwright.model.song import Section
from web.pages import NEEDS_BROWSER, expect, opened_song

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]

#: What the page asks for, by ranges of bytes, kept for the test.
HEARKEN = """
() => {
  window.ranges = [];
  const plain = fetch;
  window.fetch = (url, settings) => {
    if (settings?.headers?.Range) window.ranges.push(`${url} ${settings.headers.Range}`);
    return plain(url, settings);
  };
}
"""


@pytest.fixture
def folder(tmp_path):
    parts = Section(name="verse", start_s=0.0, end_s=42.0), Section(name="chorus", start_s=42.0, end_s=84.0)
    folder = make_song(tmp_path, sections=parts)
    for file in (tmp_path / "tracks").glob("*.wav"):
        write_audio(file, np.tile(soundfile.read(file, dtype="float32", always_2d=True)[0], (7, 1)))
    mixwright.mix(folder)
    return folder


def hear_whole(page):
    page.locator("[data-word='stretch']").click()
    page.keyboard.type("the whole song")
    page.keyboard.press("Enter")


def test_the_whole_song_is_heard_in_windows(browser, folder):
    with opened_song(browser, folder, expected="status of 409") as page:
        page.evaluate(HEARKEN)
        hear_whole(page)
        expect(page.locator(".hearing")).to_contain_text("Hearing mix beside nothing, the whole song")
        assert windows(page) == [(0, 10), (10, 20)]
        field = page.locator(".map .field").bounding_box()
        page.mouse.click(field["x"] + field["width"] * 0.7, field["y"] + 60)  # in the sixth window
        page.wait_for_function("() => document.querySelector('.hearing').textContent.startsWith('Pause')")
        page.wait_for_timeout(500)
        assert windows(page) == [(0, 10), (10, 20), (50, 60), (60, 70)]
        expect(page.locator(".hearing")).to_contain_text("Hearing mix beside nothing, the whole song")
        mixwright.add(folder, "level vox -3 dB")
        page.get_by_role("button", name="Undo: add").wait_for()
        hear_whole(page)
        expect(page.locator(".notice")).to_contain_text("Only the first minute of it: the mix was not rendered")
        expect(page.locator(".hearing")).to_contain_text("Hearing mix beside nothing, 0:00.0 to 1:00.0")


def windows(page):
    """What was asked for of the mix, from and to second; its head apart."""
    found = [re.fullmatch(r"api/audio/mix bytes=(\d+)-(\d+)", one) for one in page.evaluate("window.ranges")]
    second = RATE_HZ * 2 * 4  # bytes: stereo, 32-bit float
    times = [tuple(round(int(edge) / second, 2) for edge in one.groups()) for one in found]
    return [(from_s, to_s) for from_s, to_s in times if to_s > 1]


def test_a_page_that_is_read_anew_goes_on_where_it_was(browser, folder):
    with opened_song(browser, folder) as page:
        for word, typed in (("stretch", "0:30 to 0:45"), ("band", "200-500"), ("side", "mono")):
            page.locator(f"[data-word='{word}']").click()
            page.keyboard.type(typed)
            page.keyboard.press("Enter")
            page.locator(f"[data-word='{word}']").wait_for()
        expect(page.locator(".hearing")).to_contain_text(
            "Hearing mix beside nothing, 0:30.0 to 0:45.0, 200 Hz to 500 Hz"
        )
        page.locator(".map .field").focus()
        for key in ("ArrowDown", "+", "+"):
            page.keyboard.press(key)
        state = page.locator(".state").inner_text()
        assert "Showing" in state
        page.reload()
        expect(page.locator(".hearing")).to_contain_text(
            "To hear: mix beside nothing, 0:30.0 to 0:45.0, 200 Hz to 500 Hz"
        )
        assert page.locator(".state").inner_text() == state
        page.locator("[data-word='play']").click()
        expect(page.locator(".hearing")).to_contain_text("mono")
        expect(page.locator(".hearing")).to_contain_text("Hearing mix")
