# SPDX-License-Identifier: Apache-2.0
"""Audio: WAV as libsndfile reads it, ranges as RFC 9110 section 14 has them, excerpts against the whole mix."""

import io

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

import mixwright
from made_songs import RATE_HZ, make_song
from mixwright.app.playable import Audio
from mixwright.meter.measure import measure
from mixwright.web.wav import wav_response
from web.conftest import KEY, served

AUDIO = Audio(np.arange(40, dtype=np.float32).reshape(20, 2) / 64, 48000)


@pytest.fixture(scope="module")
def song(tmp_path_factory):
    """A rendered song of 12 s, with a rough mix, a reference and an accepted move."""
    folder = make_song(
        tmp_path_factory.mktemp("heard"), reference=np.full((RATE_HZ, 2), 0.25), rough="../tracks/vox.wav"
    )
    mixwright.add(folder, "level vox -3")
    mixwright.mix(folder)
    with served(folder, **KEY) as client:
        yield client


def read(answer) -> np.ndarray:
    assert answer.headers["content-type"] == "audio/wav"
    return soundfile.read(io.BytesIO(answer.content), dtype="float32", always_2d=True)[0]


async def sent(range_header: str | None) -> tuple[int, dict[str, str], bytes]:
    messages = []

    async def send(message):
        messages.append(message)

    async def receive():
        return {"type": "http.disconnect"}

    answer = wav_response(AUDIO, range_header)
    await answer({"type": "http", "asgi": {"spec_version": "2.4"}}, receive, send)
    headers = {name.decode(): value.decode() for name, value in messages[0]["headers"]}
    return answer.status_code, headers, b"".join(one.get("body", b"") for one in messages[1:])


def run(range_header: str | None) -> tuple[int, dict[str, str], bytes]:
    import asyncio

    return asyncio.run(sent(range_header))


def test_the_whole_file_is_what_libsndfile_reads():
    status, headers, body = run(None)
    assert (status, headers["content-length"], headers["accept-ranges"]) == (200, str(len(body)), "bytes")
    samples, rate_hz = soundfile.read(io.BytesIO(body), dtype="float32")
    np.testing.assert_array_equal(samples, AUDIO.samples)
    assert rate_hz == 48000
    assert soundfile.info(io.BytesIO(body)).subtype == "FLOAT"


WHOLE = run(None)[2]


@settings(max_examples=40)
@given(st.integers(0, len(WHOLE) + 40), st.one_of(st.none(), st.integers(0, len(WHOLE) + 40)))
def test_ranges_are_slices(first, last):
    status, headers, body = run(f"bytes={first}-{'' if last is None else last}")
    end = len(WHOLE) if last is None else min(last + 1, len(WHOLE))
    if first >= end:
        assert (status, headers["content-range"], body) == (416, f"bytes */{len(WHOLE)}", b"")
    else:
        assert (status, body) == (206, WHOLE[first:end])
        assert headers["content-range"] == f"bytes {first}-{end - 1}/{len(WHOLE)}"
        assert headers["content-length"] == str(end - first)


@settings(max_examples=20)
@given(st.integers(1, len(WHOLE) + 40))
def test_the_last_bytes(many):
    assert run(f"bytes=-{many}")[2] == WHOLE[-many:]


@pytest.mark.parametrize("odd", ["bytes=", "bytes=-", "bytes=a-b", "bytes=0-1,3-4", "frames=0-1", "bytes=1-²", ""])
def test_what_is_no_range_is_ignored(odd):
    assert run(odd)[0] == 200


def test_an_excerpt_is_the_mix_within_80_db(song):
    whole = read(song.get("/api/audio/mix"))
    part = read(song.get("/api/excerpt?start_s=3.5&end_s=6.25"))
    assert part.shape == (round(2.75 * RATE_HZ), 2)
    assert np.abs(part - whole[round(3.5 * RATE_HZ) : round(6.25 * RATE_HZ)]).max() < 1e-4
    piece = song.get("/api/excerpt?start_s=3.5&end_s=6.25", headers={"Range": "bytes=1000-1999"})
    assert piece.content == song.get("/api/excerpt?start_s=3.5&end_s=6.25").content[1000:2000]


def test_moves_sound_as_they_are_asked_for(song):
    alone = "/api/excerpt?start_s=4&end_s=5&track=vox"
    move = song.get("/api/song").json()["result"]["moves"]
    assert move == {"proposed": 0, "accepted": 1, "refused": 0}
    accepted, before = read(song.get(alone)), read(song.get(f"{alone}&move="))
    assert np.abs(before).max() > 0.0
    # 3 dB lower is a factor of 10 ** (-3 / 20).
    np.testing.assert_allclose(accepted, before * 10 ** (-3 / 20), rtol=1e-4, atol=1e-7)
    assert song.get(f"{alone}&move=nobody").status_code == 422


def test_what_can_be_played(song):
    found = [one["id"] for one in song.get("/api/audio").json()["result"]]
    assert found == ["mix", "mix-file", "rough", "reference/record"]
    for id_ in found:
        assert len(read(song.get(f"/api/audio/{id_}"))) > 0
    assert read(song.get("/api/audio/track/vox")).shape[1] in (1, 2)
    np.testing.assert_allclose(read(song.get("/api/audio/reference/record")), 0.25, atol=1e-4)


def test_loudness_is_that_of_what_is_heard(song):
    """A mono file sounds from both sides, 3.01 LU louder than BS.1770 counts one channel."""
    part = read(song.get("/api/excerpt?start_s=3&end_s=6"))
    levels = song.get("/api/loudness?start_s=3&end_s=6").json()["result"]
    assert levels["integrated_lufs"] == pytest.approx(measure(part, RATE_HZ).integrated_lufs, abs=1e-9)
    vox = read(song.get("/api/audio/track/vox"))[3 * RATE_HZ : 6 * RATE_HZ]
    levels = song.get("/api/loudness?of=track/vox&start_s=3&end_s=6").json()["result"]
    assert levels["integrated_lufs"] == pytest.approx(measure(vox, RATE_HZ).integrated_lufs + 3.0103, abs=1e-3)
    assert song.get("/api/loudness?start_s=3&end_s=3.1").json()["result"]["integrated_lufs"] is None


def test_a_band_is_a_list_of_the_core(song):
    listed = song.get("/api/band?low_hz=200&high_hz=500").json()["result"]
    assert (listed["channels"], listed["keys"], listed["latency_frames"]) == (2, 0, 0)


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/excerpt", 422), ("/api/excerpt?start_s=x&end_s=1", 422), ("/api/excerpt?start_s=nan&end_s=1", 422),
        ("/api/excerpt?start_s=0&end_s=inf", 422), ("/api/excerpt?start_s=5&end_s=5", 422),
        ("/api/excerpt?start_s=-1&end_s=5", 422), ("/api/excerpt?start_s=0&end_s=61", 422),
        ("/api/excerpt?start_s=500&end_s=501", 422), ("/api/excerpt?start_s=1&end_s=2&track=nobody", 422),
        ("/api/loudness?of=mix&start_s=2&end_s=1", 422), ("/api/loudness?of=mix&start_s=0", 422),
        ("/api/band?low_hz=500&high_hz=200", 422), ("/api/band?low_hz=1&high_hz=0", 422), ("/api/band", 422),
        ("/api/band?low_hz=0&high_hz=7900", 422),
        ("/api/audio/nothing", 422), ("/api/audio/track/nobody", 422), ("/api/audio/print/0", 422),
    ],
)  # fmt: skip
def test_what_cannot_be_played_is_told(song, path, status):
    answer = song.get(path)
    assert answer.status_code == status
    assert answer.json()["error"]["message"]


def test_a_track_that_vanished_is_told_with_what_to_do(client):
    answer = client.get("/api/excerpt?start_s=1&end_s=2")
    assert answer.status_code == 422
    assert "relink" in answer.json()["error"]["hint"]
