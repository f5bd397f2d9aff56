# SPDX-License-Identifier: Apache-2.0
"""Long jobs, and what pages are told while they run; server-sent events as the HTML standard has them."""

import asyncio
import json
import re
import threading
import time
from pathlib import Path

import pytest

import mixwright
from mixwright.app.edit import edit
from mixwright.errors import InputError
from mixwright.jobs.progress import Job
from mixwright.model.song_edit import SongEdit
from mixwright.web import events as events_module
from mixwright.web.events import Events, watch


@pytest.fixture
def measured(monkeypatch):
    """A measure that goes on until it is let go or stopped."""
    go, calls = threading.Event(), []

    def stand_in(song, *, report, cancel, **settings):
        calls.append(settings)
        job = Job("hearing layers", 4, report, cancel)
        job.step()
        while not go.wait(0.01):
            cancel.check()
        if settings["listening"] == "loudspeakers":
            raise InputError("no audio", where="vox.wav", hint="send it again")
        job.step(3)

    monkeypatch.setattr(mixwright, "measure", stand_in, raising=False)
    return go, calls


def state_of(client, wanted: str) -> dict:
    for _ in range(500):
        found = client.get("/api/job").json()
        if found and found["state"] == wanted:
            return found
        time.sleep(0.01)
    raise AssertionError(client.get("/api/job").json())


def test_a_job_is_told_while_it_runs_and_is_alone(client, measured):
    go, calls = measured
    assert client.get("/api/job").json() is None
    started = client.post("/api/job", json={"command": "measure", "listening_level_db_spl": 70})
    assert started.status_code == 202
    running = state_of(client, "running")
    assert running["command"] == "measure"
    busy = client.post("/api/job", json={"command": "plan"})
    assert (busy.status_code, busy.json()["error"]["kind"]) == (409, "state")
    assert client.delete("/api/bounces").status_code == 409
    go.set()
    assert state_of(client, "done")["id"] == started.json()["id"]
    assert calls == [{"listening_level_db_spl": 70.0, "listening": "headphones"}]


def test_a_job_stops_when_it_is_asked(client, measured):
    client.post("/api/job", json={"command": "measure"})
    assert client.delete("/api/job").status_code == 204
    assert state_of(client, "cancelled")["error"] is None
    assert client.post("/api/job", json={"command": "measure"}).status_code == 202  # and another one may begin


def test_a_job_that_fails_says_what_to_do(client, measured):
    measured[0].set()
    client.post("/api/job", json={"command": "measure", "listening": "loudspeakers"})
    error = state_of(client, "failed")["error"]
    assert error == {"kind": "input", "message": "no audio", "where": "vox.wav", "hint": "send it again"}


def test_a_fault_of_ours_is_kept_in_a_file_and_does_not_end_the_server(client, monkeypatch, tmp_path):
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    monkeypatch.setattr(mixwright, "prove", lambda *_, **__: 1 / 0, raising=False)
    monkeypatch.setattr("mixwright.web.reading.finding_view", lambda *_: 1 + "")
    client.post("/api/job", json={"command": "prove"})
    faults = [state_of(client, "failed")["error"], client.get("/api/findings/x").json()["error"]]
    for fault, kind in zip(faults, ("ZeroDivisionError", "TypeError"), strict=True):
        assert fault["kind"] == "internal"
        path = Path(re.search(r"traceback in (\S+)", fault["hint"])[1])
        assert path.parent == tmp_path
        assert f"{kind}: " in path.read_text(encoding="utf-8")
    assert client.get("/api/song").status_code == 200


NOT_TO_START = [{}, {"command": "rm"}, {"command": "measure", "song": "/"}, {"command": "plan", "lead": 1}]


@pytest.mark.parametrize("body", NOT_TO_START)
def test_what_cannot_be_started_is_refused(client, body):
    assert client.post("/api/job", json=body).status_code == 422
    assert client.get("/api/job").json() is None


def told(lines: list[str]) -> list[tuple[str, dict]]:
    """Events of a stream, as the HTML standard reads it (section 9.2.6), without comments."""
    found = []
    for block in "".join(lines).split("\n\n"):
        fields = dict(line.split(": ", 1) for line in block.split("\n") if line and not line.startswith(":"))
        if "event" in fields:
            found.append((fields["event"], json.loads(fields["data"])))
    return found


def test_pages_are_told_of_changes_on_the_disk(folder, monkeypatch):
    monkeypatch.setattr(events_module, "LOOK_S", 0.01)

    async def run() -> list[tuple[str, dict]]:
        events, lines = Events(), []
        events.begin()
        watching = asyncio.create_task(watch(folder, events))

        async def page() -> None:
            async for text in events.stream():
                lines.append(text)  # noqa: PERF401 - each as it comes

        pages = [asyncio.create_task(page()) for _ in range(2)]
        await asyncio.sleep(0.05)
        await asyncio.to_thread(edit, folder, SongEdit(lead=("piano",)))
        await asyncio.sleep(0.05)
        (folder / "kept" / "plan.json").unlink()
        for _ in range(200):
            await asyncio.sleep(0.01)
            if len(told(lines)) >= 6:
                break
        watching.cancel()
        events.end()
        await asyncio.wait_for(asyncio.gather(*pages), 5)  # the end of the server ends every stream
        return told(lines)

    found = asyncio.run(run())
    assert sorted(found, key=str) == sorted(
        2 * [("hello", {}), ("song", {}), ("results", {"names": ["plan"]})], key=str
    )


def test_a_page_that_does_not_listen_holds_nobody_up(monkeypatch):
    monkeypatch.setattr(events_module, "_MOST_WAITING", 4)

    async def run() -> list[tuple[str, dict]]:
        events = Events()
        events.begin()
        stream = events.stream()
        lines = [await anext(stream)]
        for number in range(20):
            events.publish("job", {"id": number})
        await asyncio.sleep(0.01)
        events.end()
        await asyncio.sleep(0.01)
        lines += [text async for text in stream]
        return told(lines)

    # The newest are kept; the last place is that of the end.
    assert asyncio.run(run()) == [("hello", {}), *(("job", {"id": number}) for number in (17, 18, 19))]
