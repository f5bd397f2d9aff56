# SPDX-License-Identifier: Apache-2.0
"""Moves that are tried out against the mix that is rendered with them; and moves as the page tells them."""

import io

import numpy as np
import pytest
import soundfile

import mixwright
from made_songs import make_song
from mixwright.native import chain as native
from web.conftest import KEY, served

STRETCH = "start_s=5&end_s=8"


@pytest.fixture(scope="module")
def song(tmp_path_factory):
    folder = make_song(tmp_path_factory.mktemp("tried"))
    for sentence in ("level vox -3", "shape pad -6 at 1 kHz q 1", "dip pad 6 dB at 900 Hz q 1 under vox",
                     "even out guitar-1 above -30 dB 4:1", "pan keys 0.5", "tilt drums +2 at 500 Hz"):  # fmt: skip
        mixwright.add(folder, sentence)
    with served(folder, **KEY) as client:
        yield client


def read(answer):
    assert answer.status_code in (200, 206), answer.text
    return soundfile.read(io.BytesIO(answer.content), dtype="float32", always_2d=True)[0]


def of_kind(song, kind):
    return next(one for one in song.get("/api/moves").json()["result"]["moves"] if one["kind"] == kind)


def without(song, id_):
    others = [one["id"] for one in song.get("/api/moves").json()["result"]["moves"] if one["id"] != id_]
    return f"/api/excerpt?{STRETCH}" + "".join(f"&move={one}" for one in others)


def run(listed, audio, keys):
    """Run a list of operations as the page does: from its numbers alone."""
    state = np.zeros(listed["states"])
    rows = np.array(listed["rows"], np.int32).reshape(-1, native.ROW)
    one = native.OperationList(rows, np.array(listed["coefficients"]), state, listed["channels"], keys=listed["keys"],
                               gains=listed["gains"])  # fmt: skip
    latency = listed["latency_frames"]
    longer = np.concatenate([audio, np.zeros((latency, audio.shape[1]), np.float32)])
    heard = np.zeros((len(longer), listed["keys"], 2), np.float32)
    for k, (key, late) in enumerate(zip(keys, listed["keys_late_frames"], strict=True)):
        heard[late : late + len(key), k] = key[: len(longer) - late]
    gains = np.zeros((len(longer), listed["gains"]), np.float32)
    out = np.empty_like(longer)
    one.run_float(longer, out, heard if listed["keys"] else None, gains if listed["gains"] else None, None)
    return out[latency:]


@pytest.mark.parametrize("kind", ["level", "shape", "tilt", "dip", "even_out"])
def test_what_is_tried_out_is_what_is_rendered(song, kind):
    move = of_kind(song, kind)
    query = f"move={move['id']}&{STRETCH}"
    tried = song.get(f"/api/try?{query}").json()["result"]
    assert tried["near"] == ""
    made = read(song.get(without(song, move["id"]))).astype(np.float64)
    before = made.copy()
    for k, part in enumerate(tried["parts"]):
        audio = read(song.get(f"/api/try/audio?{query}&part={k}"))
        keys = [read(song.get(f"/api/try/audio?{query}&part={k}&listens={j}")) for j in range(part["keys"])]
        given = audio if audio.shape[1] == part["chain"]["channels"] else np.repeat(audio, 2, axis=1)
        changed = (run(part["chain"], given, keys) - given).astype(np.float64)
        if changed.shape[1] == 1:
            changed = np.repeat(changed, 2, axis=1)
        made += changed @ np.reshape(part["matrix"], (2, 2)).T
    rendered = read(song.get(f"/api/excerpt?{STRETCH}"))
    # What a chain remembers of the time before the stretch is not heard here: the page begins with it, too.
    settled = slice(16000, None)
    assert np.abs(rendered - before)[settled].max() > 3e-3
    assert np.abs(rendered - made)[settled].max() < 1e-4


@pytest.mark.parametrize(
    ("target", "parameter", "points", "moves"),
    [
        ("pad", "mute", ((0.0, 0.0), (6.0, 1.0)), True),
        ("pad", "level", ((6.0, 0.0), (7.0, -6.0)), True),
        ("master", "level", ((6.0, 0.0), (7.0, -6.0)), True),
        ("pad", "level", ((0.0, 0.0), (2.0, -6.0)), False),
    ],
)
def test_what_automation_moves_meanwhile_is_told(song, target, parameter, points, moves):
    def version():
        return {"version": song.get("/api/song").json()["result"]["version"]}

    lane = {
        "target": target,
        "parameter": parameter,
        "points": [{"at_s": at_s, "value": value} for at_s, value in points],
    }
    assert song.post("/api/do/lane", json={**version(), "lane": lane}).status_code == 200
    tried = song.get(f"/api/try?move={of_kind(song, 'dip')['id']}&{STRETCH}").json()["result"]
    assert tried["near"].startswith("Automation moves the layer") is moves
    assert song.post("/api/do/undo", json=version()).status_code == 200


def test_settings_are_turned_without_a_change(song):
    move = of_kind(song, "shape")
    version = song.get("/api/song").json()["result"]["version"]
    body = {"move": move["id"], "settings": {"gain_db": "+4 dB", "strength": "0.5"}, "channels": [2]}
    (listed,) = song.post("/api/try", json=body).json()["result"]
    assert listed["channels"] == 2
    assert song.get("/api/song").json()["result"]["version"] == version
    for wrong in ({"gain_db": "99"}, {"nothing": "1"}):
        assert song.post("/api/try", json={**body, "settings": wrong}).status_code == 422
    assert song.post("/api/try", json={**body, "channels": [3]}).status_code == 422
    assert song.post("/api/try", json={}).status_code == 422


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/try?move=nobody&start_s=1&end_s=2", 422), ("/api/try?move=shape&start_s=1", 422),
        ("/api/try/audio?move=shape&start_s=1&end_s=2&part=7", 422),
        ("/api/try/audio?move=shape&start_s=1&end_s=2&part=x", 422),
        ("/api/try?move=pan-keys&start_s=1&end_s=2", 409), ("/api/try?move=shape&start_s=100&end_s=101", 422),
    ],
)  # fmt: skip
def test_what_cannot_be_tried_is_told(song, path, status):
    answer = song.get(path)
    assert answer.status_code == status
    assert answer.json()["error"]["message"]


def test_moves_are_told_in_sentences(song):
    move = of_kind(song, "dip")
    assert move["told"] == "Dip pad by up to 6.0 dB at 900 Hz, Q 1, while vox is heard there."
    assert (move["state"], move["by"], move["strength"], move["key"]) == ("accepted", "engineer", 1.0, "vox")
    most = next(one for one in move["settings"] if one["key"] == "most_db")
    assert (most["name"], most["value"], most["low"], most["high"], most["unit"]) == ("most", 6.0, 0.0, 24.0, "dB")
    assert move["end_s"] - move["start_s"] <= 20.0
    assert move["measured"] == ""
