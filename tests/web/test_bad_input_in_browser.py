# SPDX-License-Identifier: Apache-2.0
"""What goes wrong while a page is open is told there, with what to do, and nothing is lost."""

import contextlib
import errno
import os
import subprocess
import sys

import numpy as np
import pytest

import mixwright
from made_songs import RATE_HZ, make_song
from mixwright.io.song_file import load_song
from web.pages import NEEDS_BROWSER, expect, opened_page, opened_song

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]


@pytest.fixture
def folder(tmp_path):
    """A song with a reference and an accepted move; of it nothing may be lost."""
    noise = 0.2 * np.random.default_rng(1).standard_normal((12 * RATE_HZ, 2))
    folder = make_song(tmp_path, reference=noise.astype(np.float32))
    mixwright.add(folder, "level vox -3 dB")
    before = load_song(folder)
    yield folder
    assert load_song(folder) == before


def play(page):
    page.locator("[data-word='play']").click()


def choose(page, word, typed):
    page.evaluate("import('/static/listening/sources.js').then(sources => sources.readSources())")
    page.locator(f"[data-word='{word}']").click()
    page.keyboard.type(typed)
    page.keyboard.press("Enter")


def test_a_reference_that_is_missing(browser, folder):
    (folder.parent / "records" / "record.wav").unlink()
    with opened_song(browser, folder, expected="status of 422") as page:
        choose(page, "what", "record")
        play(page)
        expect(page.locator(".notice")).to_contain_text("record.wav")
        expect(page.locator(".notice")).to_contain_text("relink")
        choose(page, "what", "mix")
        expect(page.locator(".hearing")).to_contain_text("Hearing mix")


def test_a_track_that_vanished(browser, folder):
    file = folder.parent / "tracks" / "pad.wav"
    kept = file.read_bytes()
    file.unlink()
    with opened_song(browser, folder, expected="status of 422") as page:
        page.get_by_role("button", name="Measure", exact=True).click()
        expect(page.locator(".notice")).to_contain_text("pad is missing")
        expect(page.locator(".notice")).to_contain_text("relink")
        page.get_by_role("button", name="Close").click()
        play(page)
        expect(page.locator(".notice")).to_contain_text("pad is missing")
        file.write_bytes(kept)
        play(page)
        expect(page.locator(".hearing")).to_contain_text("Hearing mix")


def test_a_disk_that_is_full_while_the_mix_is_rendered(browser, folder, monkeypatch):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with opened_song(browser, folder, "#moves") as page:
        with monkeypatch.context() as broken:
            broken.setattr(os, "fsync", full)
            page.get_by_role("button", name="Render the mix").click()
            expect(page.locator(".notice")).to_contain_text("space")
        assert not [one for one in (folder / "mixes").glob("*") if one.suffix == ".wav"]
        page.get_by_role("button", name="Render the mix").click()
        page.get_by_text("The mix is rendered.").wait_for()
        assert list((folder / "mixes").glob("*.wav"))


def test_a_browser_without_an_audio_worklet(browser, folder):
    with opened_song(browser, folder) as page:
        page.evaluate("delete globalThis.AudioWorkletNode")
        play(page)
        expect(page.locator(".notice")).to_contain_text("no AudioWorklet; open the page in a newer one")
        expect(page.locator("[data-word='play']")).to_have_text("Play")
        page.locator("[data-cell='keys/name'] input").fill("keys")
        page.locator("#head nav a", has_text="Moves").click()
        page.locator(".move").wait_for()


def test_a_server_that_is_killed_comes_back_to_its_page(browser, folder, tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))

    with contextlib.ExitStack() as processes:

        def served():
            command = [sys.executable, "-m", "mixwright", "open", str(folder), "--no-browser"]
            process = processes.enter_context(subprocess.Popen(command, stdout=subprocess.PIPE, text=True))
            processes.callback(process.kill)
            return process, next(line for line in process.stdout if "http://" in line).split()[-1]

        process, url = served()
        with opened_page(browser, url, expected="net::ERR|status of 40") as page:
            page.goto(f"{url}#moves")
            page.locator(".move").wait_for()
            process.kill()
            process.wait()
            page.get_by_text("The server does not answer").first.wait_for()
            page.locator(".move").get_by_role("button", name="Hear it").click()
            expect(page.locator(".notice")).to_contain_text("Is `mixwright open` still running?")
            _, again = served()
            assert again == url
            expect(page.locator(".waiting")).to_be_hidden()
            page.locator(".move").get_by_role("button", name="Hear it").click()
            expect(page.locator(".hearing")).to_contain_text("Hearing mix with this move")
