# SPDX-License-Identifier: Apache-2.0
"""The player in an OfflineAudioContext of a real browser: every sample that it gives out is known beforehand."""

import base64
import http.server
import json
import threading

import numpy as np
import pytest

from mixwright.app.monitoring import band_chain
from mixwright.engine.chain import Chain
from mixwright.engine.lanes import FrameLane, from_kept, heard_of, packed
from mixwright.engine.processors.insert import made
from mixwright.meter.measure import Meter
from mixwright.model.filter_inserts import Filters
from mixwright.model.filters import EqBand
from mixwright.model.keyed_inserts import Dip, DipBand
from mixwright.model.lane import Breakpoint, Lane
from mixwright.native.place import lane_values
from mixwright.web.routes import HERE, STATIC
from web.pages import NEEDS_BROWSER

pytestmark = NEEDS_BROWSER

RATE_HZ = 48000
TYPES = {".js": "text/javascript", ".wasm": "application/wasm"}
#: Versions are exchanged in 10 ms, at a border of the browser's 128 frames.
SWITCH_FRAMES = 480

#: Steps: `[frame, message]`; the context stands still at the frame until the worklet has taken the message.
PLAY = """
async ({ rate, frames, audio, steps }) => {
  const floats = text => new Float32Array(Uint8Array.from(atob(text), c => c.charCodeAt(0)).buffer);
  const unpacked = value => {
    if (typeof value === "string" && value.startsWith("audio ")) return audio[value.slice(6)].map(floats);
    if (Array.isArray(value)) return value.map(unpacked);
    if (value && typeof value === "object")
      return Object.fromEntries(Object.entries(value).map(([key, one]) => [key, unpacked(one)]));
    return value;
  };
  const context = new OfflineAudioContext(2, frames, rate);
  const module = await WebAssembly.compile(await (await fetch("static/core.wasm")).arrayBuffer());
  await context.audioWorklet.addModule("taken.js");
  await context.audioWorklet.addModule("static/listening/player_worklet.js");
  const node = new AudioWorkletNode(context, "mixwright-player", {
    numberOfInputs: 0, outputChannelCount: [2], processorOptions: { module },
  });
  const faults = [], waiting = [];
  node.port.onmessage = ({ data }) => {
    if (data.faulty) faults.push(data.faulty);
    if (data.taken) waiting.shift()();
  };
  node.connect(context.destination);
  const taken = message => new Promise(done => {
    waiting.push(done);
    node.port.postMessage(unpacked(message));
  });
  for (const [frame, message] of steps) {
    if (frame === 0) await taken(message);
    else context.suspend(frame / rate).then(() => taken(message)).then(() => context.resume());
  }
  const out = await context.startRendering();
  await taken({});  // what the worklet told before arrives before
  const text = side => {
    const bytes = new Uint8Array(out.getChannelData(side).buffer);
    let made = "";
    for (let i = 0; i < bytes.length; i += 32768) made += String.fromCharCode(...bytes.subarray(i, i + 32768));
    return btoa(made);
  };
  return [text(0), text(1), faults];
}
"""

#: In the worklet, before the player: each message is answered once it is taken.
TAKEN = b"""
const register = registerProcessor;
globalThis.registerProcessor = (name, Processor) => register(name, class extends Processor {
  constructor(given) {
    super(given);
    const take = this.port.onmessage;
    this.port.onmessage = event => {
      take(event);
      this.port.postMessage({ taken: true });
    };
  }
});
"""


class Files(http.server.BaseHTTPRequestHandler):
    """The files of the page, without its server."""

    def do_GET(self):
        name = self.path.removeprefix("/static/")
        path = HERE / "core.wasm" if name == "core.wasm" else STATIC / name
        body, kind = b"<!doctype html><title>player</title>", "text/html"
        if name == "/taken.js":
            body, kind = TAKEN, TYPES[".js"]
        elif name != "/":
            body, kind = (path.read_bytes(), TYPES[path.suffix]) if path.is_file() else (b"", "text/plain")
        self.send_response(200 if body else 404)
        self.send_header("Content-Type", kind)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


@pytest.fixture(scope="module")
def page(browser):
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), Files) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        one = browser.new_page()
        one.goto(f"http://127.0.0.1:{server.server_address[1]}/")
        yield one
        one.close()
        server.shutdown()


def played(page, frames, audio, *steps, faults=()):
    """Return what the player gives out, float32 ``(frames, 2)``, as it is told at frames."""
    packed = {
        name: [base64.b64encode(np.ascontiguousarray(side).tobytes()).decode() for side in samples.T]
        for name, samples in audio.items()
    }
    given = {"rate": RATE_HZ, "frames": frames, "audio": packed, "steps": steps}
    left, right, found = page.evaluate(PLAY, json.loads(json.dumps(given)))
    assert tuple(found) == faults
    return np.stack([np.frombuffer(base64.b64decode(side), np.float32) for side in (left, right)], axis=1)


def noise(seed, frames=12800, channels=2, level=0.1):
    return (level * np.random.default_rng(seed).uniform(-1.0, 1.0, (frames, channels))).astype(np.float32)


def give(name, gain=1.0, **more):
    return {"give": {"name": name, "channels": f"audio {name}", "gain": gain, **more}}


def begin(name, frames=12800, at=0):
    return {"turn": name, "play": {"first": 0, "end": frames, "at": at}}


def test_a_switch_is_exact_to_the_sample(page):
    a, b = noise(1), noise(2)
    at = 5120
    out = played(page, 12800, {"a": a, "b": b}, [0, give("a", 0.5)], [0, give("b", 0.25)], [0, begin("a")],
                 [at, {"turn": "b"}])  # fmt: skip
    end = at + SWITCH_FRAMES
    np.testing.assert_array_equal(out[:at], 0.5 * a[:at])
    np.testing.assert_array_equal(out[end : 12800 - 240], 0.25 * b[end : 12800 - 240])
    share = (np.arange(1, SWITCH_FRAMES + 1) / SWITCH_FRAMES)[:, None]
    between = 0.5 * (1.0 - share) * a[at:end] + 0.25 * share * b[at:end]
    np.testing.assert_allclose(out[at:end], between, atol=1e-6)


def test_what_is_matched_is_equally_loud(page):
    """By the meter, which is checked against the signals of EBU Tech 3341."""
    frames = 3 * RATE_HZ // 128 * 128
    quiet, loud = noise(3, frames, level=0.02), noise(4, frames, level=0.5)

    def lufs(audio):
        meter = Meter(RATE_HZ, 2, spectrum=False, true_peak=False)
        meter.push(np.ascontiguousarray(audio))
        return meter.loudness().integrated_lufs()

    heard = []
    for name, audio in (("a", quiet), ("b", loud)):
        levels = {"integrated_lufs": lufs(audio), "true_peak_dbtp": -6.0}
        moved = page.evaluate("async levels => (await import('/static/listening/level.js')).movedDb(levels)", levels)
        gain = 10.0 ** (moved / 20.0)
        heard.append(lufs(played(page, frames, {name: audio}, [0, give(name, gain)], [0, begin(name, frames)])))
    assert heard == pytest.approx([-23.0, -23.0], abs=0.1)


@pytest.mark.parametrize(
    ("side", "matrix"),
    [
        ("left", [[1, 0], [0, 0]]),
        ("right", [[0, 0], [0, 1]]),
        ("mid", [[0.5, 0.5], [0.5, 0.5]]),
        ("side", [[0.5, -0.5], [-0.5, 0.5]]),
        ("mono", np.full((2, 2), 0.5**0.5)),
    ],
)
def test_sides(page, side, matrix):
    a = noise(5)
    steps = [0, {"through": {"band": None, "side": side}}], [0, give("a")], [0, begin("a")]
    out = played(page, 4096, {"a": a}, *steps)
    fading = SWITCH_FRAMES
    np.testing.assert_allclose(out[fading:], (a[:4096] @ np.transpose(matrix))[fading:], atol=1e-7)


def test_a_band_is_that_of_the_core(page):
    a, listed = noise(6), band_chain(200.0, 500.0, RATE_HZ)
    out = played(page, 8192, {"a": a}, [0, {"through": {"band": listed, "side": "stereo"}}], [0, give("a")],
                 [0, begin("a")])  # fmt: skip
    spectrum = np.abs(np.fft.rfft(out[2048:, 0] * np.hanning(6144))) ** 2
    hz = np.fft.rfftfreq(6144, 1.0 / RATE_HZ)
    inside, outside = spectrum[(hz > 220) & (hz < 450)].mean(), spectrum[(hz > 2000) & (hz < 20000)].mean()
    assert 10.0 * np.log10(inside / outside) > 40.0


def test_a_loop_goes_round_and_round(page):
    a = noise(7, 1280)
    out = played(page, 6400, {"a": a}, [0, give("a")], [0, begin("a", 1280)])
    np.testing.assert_array_equal(out[300:1000], a[300:1000])
    np.testing.assert_array_equal(out[1280 + 300 : 1280 + 1000], a[300:1000])
    np.testing.assert_array_equal(out[3 * 1280 + 300 : 3 * 1280 + 1000], a[300:1000])


@pytest.mark.parametrize(("value", "fault"), [(np.nan, "no number"), (np.inf, "no number"), (1.5, "overload")])
def test_what_would_hurt_is_muted(page, value, fault):
    a = noise(8)
    a[3000, 1] = value
    out = played(page, 6400, {"a": a}, [0, give("a")], [0, begin("a")], faults=(fault,))
    muted = 3000 // 128 * 128
    np.testing.assert_array_equal(out[:muted], a[:muted])
    assert not out[muted:].any()


def lived(audio, insert, keys=None):
    chain = Chain(made(insert, RATE_HZ), 2)
    latency, frames = chain.latency_frames, len(audio)
    longer = np.concatenate([audio, np.zeros((latency, 2), np.float32)])
    heard = np.zeros((len(longer), len(chain.keys), 2), np.float32)
    for k, one in enumerate(chain.keys):
        heard[one.late_frames :, k] = np.concatenate([keys, np.zeros((latency, 2))])[: len(longer) - one.late_frames]
    out = np.empty_like(longer)
    chain.process_float(longer, out, heard if chain.keys else None)
    return chain.listed(), out[latency : latency + frames]


@pytest.mark.parametrize(
    "insert",
    [
        Filters(bands=(EqBand(hz=1000.0, gain_db=-6.0, q=2.0),)),
        Dip(key="vox", bands=(DipBand(hz=2000.0, q=1.0, most_db=6.0),), margin_db=12.0),
    ],
    ids=["shape", "dip"],
)
def test_a_move_that_is_tried_out_is_what_the_core_makes_of_it(page, insert):
    base, layer, key = noise(9), noise(10), noise(11, level=0.4)
    keyed = isinstance(insert, Dip)
    listed, changed = lived(layer, insert, key if keyed else None)
    matrix = [0.5, 0.0, 0.0, 0.7]
    part = {"audio": "audio layer", "keys": ["audio key"] if keyed else [], "matrix": matrix, "list": listed}
    out = played(page, 12800, {"base": base, "layer": layer, "key": key}, [0, give("base", parts=[part])],
                 [0, begin("base")])  # fmt: skip
    expected = base + (changed - layer) * [0.5, 0.7]
    whole = slice(0, 12800 - 512)  # after that the loop's start is heard ahead, and its end fades
    np.testing.assert_allclose(out[whole], expected[whole], atol=1e-6)
    assert np.abs(changed - layer).max() > 0.01


def test_a_setting_that_is_changed_is_heard_at_once(page):
    base, layer = noise(12), noise(13)
    before, _ = lived(layer, Filters(bands=(EqBand(hz=1000.0, gain_db=-3.0, q=1.0),)))
    after, changed = lived(layer, Filters(bands=(EqBand(hz=1000.0, gain_db=9.0, q=1.0),)))
    part = {"audio": "audio layer", "keys": [], "matrix": [1, 0, 0, 1], "list": before}
    out = played(page, 12800, {"base": base, "layer": layer}, [0, give("base", parts=[part])], [0, begin("base")],
                 [5120, {"change": {"name": "base", "lists": [after]}}])  # fmt: skip
    settled = slice(5120 + SWITCH_FRAMES, 12800 - 512)
    np.testing.assert_allclose(out[settled], (base + changed - layer)[settled], atol=1e-5)


def test_a_long_stretch_is_heard_in_windows_that_come_and_go(page):
    a, b = noise(14), noise(15)
    first, second = {"first": 0, "keep": [0, 6400]}, {"first": 6400, "keep": [6400]}
    late = 8192  # the second window comes when its first frame was due 1792 frames ago: time stands still until then
    out = played(
        page, 16000, {"a": a[:6400], "b": b[:6400], "none": a[:0, :0]},
        [0, give("none")], [0, {"window": {"name": "none", "channels": "audio a", **first}}],
        [0, begin("none")], [late, {"window": {"name": "none", "channels": "audio b", **second}}],
    )  # fmt: skip
    np.testing.assert_array_equal(out[:6400], a[:6400])
    assert not out[6400:late].any()
    np.testing.assert_array_equal(out[late : late + 6000], b[:6000])


def test_what_is_turned_while_a_change_is_taken_over_comes_after_it(page):
    layer = np.repeat(0.1 * np.sin(2.0 * np.pi * 200.0 * np.arange(12800) / RATE_HZ)[:, None], 2, 1).astype(np.float32)
    lists = [lived(layer, Filters(bands=(EqBand(hz=200.0, gain_db=gain, q=1.0),))) for gain in (-3.0, 9.0, 3.0, -9.0)]
    part = {"audio": "audio layer", "keys": [], "matrix": [1, 0, 0, 1], "list": lists[0][0]}
    changes = [[5120 + 128 * k, {"change": {"name": "layer", "lists": [lists[k + 1][0]]}}] for k in range(3)]
    out = played(page, 12800, {"layer": layer}, [0, give("layer", parts=[part])], [0, begin("layer")], *changes)
    settled = slice(5120 + 3 * SWITCH_FRAMES, 12800 - 512)
    np.testing.assert_allclose(out[settled], lists[3][1][settled], atol=1e-4)
    # Each goes on from what sounds: a tone of 200 Hz makes no step larger than the loudest of them does.
    loudest = np.abs(np.diff(lists[1][1][2000:11000], axis=0)).max()
    assert np.abs(np.diff(out[5000:7000], axis=0)).max() < 1.1 * loudest


@pytest.mark.parametrize("parameter", ["level", "mute"])
def test_a_lane_that_is_drawn_is_what_the_mix_makes_of_it(page, parameter):
    base, layer, from_s = noise(14), noise(15), 1.3
    values = (0.0, -9.0, -9.0, 4.0) if parameter == "level" else (0.0, 1.0, 1.0, 0.0)
    points = [{"at_s": at_s, "value": value} for at_s, value in zip((1.31, 1.35, 1.4, 1.5), values, strict=True)]
    drawn = page.evaluate(
        "async ([points, from, rate, mute]) => "
        "(await import('/static/lanes/points.js')).framesOf(points, from, rate, mute)",
        [points, from_s, RATE_HZ, parameter == "mute"],
    )
    lane = Lane(target="layer", parameter=parameter, points=tuple(Breakpoint(**point) for point in points))
    kept = from_kept(lane, RATE_HZ)
    kept = heard_of(kept, RATE_HZ) if parameter == "mute" else kept
    held = lane_values(packed([kept]), round(from_s * RATE_HZ), 12800)[:, None]
    factor = held if parameter == "mute" else 10.0 ** (held / 20.0)
    part = {"audio": "audio layer", "isMute": parameter == "mute", "kept": [], "lane": drawn}
    out = played(page, 12800, {"base": base, "layer": layer}, [0, give("base", parts=[part])], [0, begin("base")])
    whole = slice(0, 12800 - 512)
    np.testing.assert_allclose(out[whole], (base + layer * (factor - 1.0))[whole], atol=1e-6)
    assert np.ptp(factor[whole]) > 0.5


def test_a_level_that_is_ridden_is_heard_at_once_and_gives_way_to_the_lane_again(page):
    base, layer = noise(16), noise(17)
    part = {"audio": "audio layer", "isMute": False, "kept": [], "lane": [[0, -3.0]]}
    steps = [2560, {"ride": {"name": "base", "db": -12.0}}], [6400, {"ride": {"name": "base", "db": None}}]
    out = played(
        page, 12800, {"base": base, "layer": layer}, [0, give("base", parts=[part])], [0, begin("base")], *steps
    )

    def at(db):
        return base + layer * (10.0 ** (db / 20.0) - 1.0)

    np.testing.assert_allclose(out[:2560], at(-3.0)[:2560], atol=1e-6)
    np.testing.assert_allclose(out[2560 + SWITCH_FRAMES : 6400], at(-12.0)[2560 + SWITCH_FRAMES : 6400], atol=1e-6)
    rest = slice(6400 + SWITCH_FRAMES, 12800 - 512)
    np.testing.assert_allclose(out[rest], at(-3.0)[rest], atol=1e-6)


def test_a_level_is_heard_no_more_than_6_db_above_the_kept_one_with_which_it_was_matched(page):
    base, layer = noise(19), noise(20)
    part = {"audio": "audio layer", "isMute": False, "kept": [[0, -10.0]], "lane": [[0, 12.0]]}
    out = played(page, 6400, {"base": base, "layer": layer}, [0, give("base", parts=[part])], [0, begin("base")],
                 [2560, {"ride": {"name": "base", "db": 20.0}}])  # fmt: skip
    expected = base[:6400] + layer[:6400] * (10.0 ** (-4.0 / 20.0) - 1.0)
    np.testing.assert_allclose(out, expected, atol=1e-6)


@pytest.mark.parametrize("parameter", ["level", "mute"])
def test_a_level_is_matched_as_it_is_kept_and_a_mute_as_if_all_sounds(page, parameter):
    """The server is one that answers anything, and tells what it was asked for."""
    asked = page.evaluate(
        """async lane => {
          const found = [], wav = new DataView(new ArrayBuffer(64)), real = globalThis.fetch;
          for (const [at, value] of [[12, 0x20746d66], [16, 16], [36, 0x61746164], [40, 8]])
            wav.setUint32(at, value, true);
          wav.setUint16(22, 2, true);
          globalThis.fetch = async url => {
            found.push(String(url));
            return url.startsWith("api/loudness") ? Response.json({ result: {} }) : new Response(wav.buffer);
          };
          const { load } = await import("/static/listening/sources.js");
          await load(lane, { from: 1, to: 2, name: "" }, 48000, new AbortController().signal);
          globalThis.fetch = real;
          return found.filter(url => url.startsWith("api/loudness"));
        }""",
        f"lane/pad/{parameter}",
    )
    without = "&lane=pad%2Fmute" if parameter == "mute" else ""
    assert asked == [f"api/loudness?start_s=1.0000&end_s=2.0000{without}"]


def test_a_ride_is_thinned_to_few_points_that_stay_near(page):
    """Against what was ridden, at a thousand times."""
    rng, end_s = np.random.default_rng(18), 20.0
    at = np.sort(rng.uniform(0.5, 19.5, 120))
    curve = 4.0 * np.sin(at / 3.0)
    levels = [{"at_s": float(t), "value": round(2.0 * v) / 2.0} for t, v in zip(at, curve, strict=True)]
    levels[60]["value"] += 6.0  # a real step stays one
    few = page.evaluate(
        "async ([levels, end]) => (await import('/static/lanes/points.js')).thinned(levels, end, 0.3)", [levels, end_s]
    )
    times = np.setdiff1d(np.linspace(at[0], end_s, 1000), at)
    ridden = np.array([levels[k]["value"] for k in np.searchsorted(at, times, side="right") - 1])
    line = FrameLane(tuple((round(1e6 * one["at_s"]), one["value"]) for one in few)).values(1e6 * times)
    assert np.abs(line - ridden).max() <= 0.3 + 1e-3
    assert len(few) < 60
