# SPDX-License-Identifier: Apache-2.0
"""The whole job through the command line, on a few seconds of made-up tracks."""

import json
import os
import signal
import subprocess
import sys

import numpy as np
import pytest
import soundfile

RATE_HZ = 48000
SECONDS = 6


def tracks(folder, count=4):
    """Write a kick, a bass, a pad and a voice-like lead, each on its own part of the spectrum."""
    folder.mkdir()
    rng = np.random.default_rng(7)
    t = np.arange(SECONDS * RATE_HZ) / RATE_HZ
    beat = t % 0.5
    sounds = {
        "Kick": 0.8 * np.sin(2 * np.pi * 55 * beat) * np.exp(-18 * beat),
        "Bass DI": 0.3 * np.sin(2 * np.pi * 82.4 * t),
        "Warm Pad": 0.1 * sum(np.sin(2 * np.pi * f * t) for f in (220, 277.2, 329.6)),
        "Lead Vox": 0.05 * sum(np.sin(2 * np.pi * 196 * k * t) / k for k in range(1, 12)) * (np.sin(2 * t) > -0.7),
    }
    sounds |= {f"Layer {i}": 0.01 * rng.standard_normal(t.size) for i in range(count - 4)}
    for name, sound in sounds.items():
        stereo = np.stack([sound, sound], axis=1) if name == "Warm Pad" else sound
        soundfile.write(folder / f"{name}.wav", stereo, RATE_HZ, subtype="PCM_24")


def test_the_whole_job(tmp_path, mixwright):
    tracks(tmp_path / "in")
    song = tmp_path / "bus"

    def step(*words):
        ended = mixwright(*words, "--json", "--progress", "none")
        assert ended.status == 0, ended.err
        assert ended.err == ""
        return ended.document["result"]

    started = step("start", tmp_path / "in", "--into", song, "--title", "Night Bus")
    assert started["lead_guess"] == "lead-vox"
    assert {track["id"] for track in started["tracks"]} == {"kick", "bass-di", "warm-pad", "lead-vox"}
    planned = step("plan", song, "--lead", "auto")
    assert planned["lead"] == ["lead-vox"]
    added = step("add", song, "level", "warm-pad", "-1.5", "dB")
    assert added["moves"][0]["settings"] == {"gain_db": -1.5}
    changed = step("change", song, added["moves"][0]["id"], "gain_db=-2")
    assert changed["moves"][0]["settings"] == {"gain_db": -2.0}
    assert step("undo", song)["undone"].startswith("change")
    refused = step("refuse", song, added["moves"][0]["id"])
    assert refused["moves"][0]["state"] == "refused"
    accepted = step("accept", song, "--all")
    assert accepted["song_moves"]["proposed"] == 0
    measured = step("measure", song)
    assert {track["id"] for track in measured["tracks"]} == {track["id"] for track in started["tracks"]}
    mixed = step("mix", song, "--format", "float", "--out", tmp_path / "mix.wav")
    assert mixed["frames"] == SECONDS * RATE_HZ
    assert mixed["levels"]["integrated_lufs"] == pytest.approx(measured["mix"]["integrated_lufs"], abs=0.01)
    heard = step("preview", song, "--format", "mp3")
    assert heard["files"][0]["true_peak_dbtp"] <= -1.0 + 0.005
    delivered = step("deliver", song)
    assert all(check["passed"] for check in delivered["checks"])
    page = (song / "page.html").read_text(encoding="utf-8")
    assert "<h1>Night Bus</h1>" in page
    main = next(file["file"] for file in delivered["files"] if file["kind"] == "main")
    checked = mixwright("check", song / delivered["folder"] / main, "--json", "--progress", "none")
    assert checked.status in (0, 3)
    assert checked.document["result"]["files"][0]["sample_rate_hz"] == RATE_HZ


def test_bad_input_is_one_line_and_writes_nothing(tmp_path, mixwright):
    (tmp_path / "in").mkdir()
    for words in (
        ["start", tmp_path / "missing", "--into", tmp_path / "bus"],
        ["start", tmp_path / "in", "--into", tmp_path / "bus"],
        ["measure", tmp_path / "in"],
        ["plan", tmp_path / "bus"],
        ["accept", tmp_path / "bus", "--all"],
        ["undo", tmp_path / "bus"],
        ["mix", tmp_path / "bus"],
        ["preview", tmp_path / "bus"],
        ["deliver", tmp_path / "bus"],
    ):
        ended = mixwright(*words, "--progress", "none")
        assert (ended.status, ended.out, ended.err.count("\n")) == (2, "", 1), ended.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in"]
    assert not any((tmp_path / "in").iterdir())


@pytest.mark.skipif(os.name == "nt", reason="signals of a terminal")
def test_ctrl_c_of_a_terminal_leaves_nothing_half_made(tmp_path):
    tracks(tmp_path / "in", count=24)
    song = tmp_path / "bus"
    command = [sys.executable, "-m", "mixwright", "--progress", "json", "start", tmp_path / "in", "--into", song]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    ) as work:
        first = json.loads(work.stderr.readline())
        assert first["done"] < first["total"]
        # A terminal sends it to every process of the group: the decoding child, too.
        os.killpg(work.pid, signal.SIGINT)
        try:
            out, err = work.communicate(timeout=60)
        except subprocess.TimeoutExpired:
            work.kill()
            raise
    assert work.returncode == 130, err
    assert out == ""
    assert "Traceback" not in err
    assert "stopped; run the command again" in err.splitlines()[-1]
    assert not song.exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["in"]
