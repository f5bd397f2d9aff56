# SPDX-License-Identifier: Apache-2.0
"""One chain in other builds of the core: by a small program of another compiler or processor, and in a browser."""

from __future__ import annotations

import base64
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
WEB = ROOT / "src" / "mixwright" / "web"
FLAGS = ["-std=c11", "-O3", "-ffp-contract=off", "-fno-math-errno", "-fno-trapping-math"]
ZIG = [sys.executable, "-m", "ziglang", "cc"]


def program(folder, compiler, *flags):
    """Compile the program that runs a chain, and return its path."""
    sources = sorted(str(path) for path in (ROOT / "csrc").glob("*.c") if not path.name.startswith("ear_"))
    made = folder / "chain"
    own = str(ROOT / "tests" / "native" / "chain_program.c")
    command = [*compiler, *FLAGS, *flags, "-I", str(ROOT / "csrc"), "-o", str(made), own]
    subprocess.run([*command, *sources, "-lm"], check=True)
    return made


def by_program(made, folder, chain, audio, keys=None, runner=()):
    """Return what the program makes of float32 audio ``(frames, channels)``."""
    listed = chain.listed()
    rows, coefficients = np.array(listed["rows"], np.int32), np.array(listed["coefficients"])
    sizes = len(rows) // 9, len(coefficients), listed["states"], listed["channels"], listed["keys"], listed["gains"]
    parts = [np.array([*sizes, len(audio)], np.int32), rows, coefficients, audio]
    parts += [] if keys is None else [keys]
    path = folder / "signal"
    path.write_bytes(b"".join(np.ascontiguousarray(part).tobytes() for part in parts))
    # The program leaves what it asked for to the system.
    settings = {**os.environ, "ASAN_OPTIONS": "detect_leaks=0"}
    done = subprocess.run([*runner, str(made), str(path)], check=True, capture_output=True, env=settings)
    return np.frombuffer(done.stdout, np.float32).reshape(audio.shape)


PAGE = """
async ({list, channels, rate}) => {
  const got = async name => (await fetch(name)).arrayBuffer();
  const module = await WebAssembly.compile(await got("core.wasm"));
  const audio = new Float32Array(await got("audio")), keys = new Float32Array(await got("keys"));
  const frames = audio.length / channels;
  const context = new OfflineAudioContext(channels, frames, rate);
  const host = new Blob([await got("chain.js")], { type: "text/javascript" });
  await context.audioWorklet.addModule(URL.createObjectURL(host));
  const node = new AudioWorkletNode(context, "mixwright-chain", {
    numberOfInputs: 1 + list.keys, outputChannelCount: [channels], processorOptions: { module, list },
  });
  const play = (values, width, first, count, input) => {
    const buffer = context.createBuffer(count, frames, rate);
    for (let c = 0; c < count; c++) {
      const out = buffer.getChannelData(c);
      for (let i = 0; i < frames; i++) out[i] = values[i * width + first + c];
    }
    const source = new AudioBufferSourceNode(context, { buffer });
    source.connect(node, 0, input);
    source.start();
  };
  play(audio, channels, 0, channels, 0);
  for (let k = 0; k < list.keys; k++) play(keys, 2 * list.keys, 2 * k, 2, 1 + k);
  node.connect(context.destination);
  const made = await context.startRendering();
  const out = new Float32Array(frames * channels);
  for (let c = 0; c < channels; c++) made.getChannelData(c).forEach((x, i) => { out[i * channels + c] = x });
  const bytes = new Uint8Array(out.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return btoa(text);
}
"""


def in_browser(browser, chain, audio, keys=None, rate_hz=48000):
    """Return what the AudioWorklet makes of float32 audio ``(frames, channels)``; nothing leaves the machine."""
    served = {
        "": ("text/html", b"<!doctype html><title>chain</title>"),
        "chain.js": ("text/javascript", (WEB / "static" / "chain.js").read_bytes()),
        "core.wasm": ("application/wasm", (WEB / "core.wasm").read_bytes()),
        "audio": ("application/octet-stream", np.ascontiguousarray(audio).tobytes()),
        "keys": ("application/octet-stream", b"" if keys is None else np.ascontiguousarray(keys).tobytes()),
    }

    def answer(route):
        kind, body = served[route.request.url.rsplit("/", 1)[1]]
        route.fulfill(status=200, content_type=kind, body=body)

    page = browser.new_page()
    try:
        page.route("**/*", answer)
        page.goto("https://chain.invalid/")
        listed = json.loads(json.dumps(chain.listed()))
        made = page.evaluate(PAGE, {"list": listed, "channels": audio.shape[1], "rate": rate_hz})
    finally:
        page.close()
    return np.frombuffer(base64.b64decode(made), np.float32).reshape(audio.shape)
