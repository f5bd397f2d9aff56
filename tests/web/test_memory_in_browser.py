# SPDX-License-Identifier: Apache-2.0
"""An hour of looping, switching and turning, faster than it would sound: memory of the page stays what it was."""

import pytest

import mixwright
from made_songs import make_song
from reference.chromium import running_browser
from web.pages import NEEDS_BROWSER, expect, opened_song

pytestmark = [*NEEDS_BROWSER, pytest.mark.slow]

#: What the player does in an AudioWorklet, as fast as it can: `minutes` of two versions, one of them in windows.
PLAYED = """
async ({ minutes, rate, list }) => {
  const { Sounding } = await import("/static/listening/sounding.js");
  const module = await WebAssembly.compile(await (await fetch("/static/core.wasm")).arrayBuffer());
  const noise = seconds => [0, 1].map(() => Float32Array.from({ length: seconds * rate }, () => Math.random() / 9));
  const kept = window.player ||= new Sounding(rate, module), out = [new Float32Array(128), new Float32Array(128)];
  const [audio, windows] = [noise(20), [noise(10), noise(10)]];
  const part = { audio: noise(20), keys: [], matrix: [1, 0, 0, 1], list };
  kept.give("whole", audio, 1, [part]);
  kept.give("long", [], 1);
  kept.window("long", 0, windows[0], []);
  kept.turn("whole");
  kept.play(0, 20 * rate);
  const many = Math.round((minutes * 60 * rate) / 128), second = Math.round(rate / 128);
  for (let k = 0; k < many; k++) {
    if (k % (5 * second) === 0) kept.turn(k % (10 * second) ? "long" : "whole");
    if (k % second === 0) kept.window("long", 0, windows[0].map(side => side.slice()), [10 * rate]);
    if (k % second === 1) kept.window("long", 10 * rate, windows[1].map(side => side.slice()), [0]);
    if (k % (2 * second) === 0) kept.versions.get("whole").live.change([list], kept.at);
    if (k % (7 * second) === 0) kept.through({ band: null, side: k % 2 ? "mono" : "stereo" });
    kept.process(out);
    if (kept.faulty) throw new Error(kept.faulty);
  }
}
"""
#: The page around it: what is pressed and fetched in `minutes` of a switch every 5 s and another stretch every 30 s.
PRESSED = """
async minutes => {
  const { listen, turn } = await import("/static/listening/listen.js");
  for (let k = 0; k < minutes * 12; k++) {
    const from = (k / 6) % 2 ? 0 : 4;
    if (k % 6 === 0) await listen({ what: "mix", beside: "unmoved", stretch: { from, to: from + 6, name: "" } });
    else turn();
    await new Promise(done => setTimeout(done, 10));
  }
}
"""
MEMORY = "async () => (await performance.measureUserAgentSpecificMemory()).bytes"


def test_an_hour_of_listening_grows_memory_by_a_tenth_at_most(tmp_path):
    pytest.importorskip("playwright.sync_api")
    folder = make_song(tmp_path)
    mixwright.add(folder, "shape pad -4 dB at 1 kHz q 1")
    with (
        running_browser("--enable-blink-features=ForceEagerMeasureMemory") as browser,
        opened_song(browser, folder) as page,
    ):
        (move,) = page.evaluate("async () => (await (await fetch('/api/moves')).json()).result.moves")
        asked = f"/api/try?move={move['id']}&start_s=0&end_s=6"
        tried = page.evaluate("async asked => (await (await fetch(asked)).json()).result.parts", asked)
        page.locator("[data-word='play']").click()
        expect(page.locator(".hearing")).to_contain_text("Hearing mix")
        figures = []
        for minutes in (5, 55):
            page.evaluate(PLAYED, {"minutes": minutes, "rate": 16000, "list": tried[0]["chain"]})
            page.evaluate(PRESSED, minutes)
            figures.append(page.evaluate(MEMORY))
        before, after = figures
        print(f"after 5 minutes {before / 1e6:.1f} MB, after 60 {after / 1e6:.1f} MB")
        assert after <= 1.1 * before
