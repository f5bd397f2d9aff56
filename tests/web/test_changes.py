# SPDX-License-Identifier: Apache-2.0
"""Changes that pages make: by the one writer, and none over another."""

import json
import tomllib

import pytest

import invented
from mixwright.app.edit import edit
from mixwright.io.song_file import load_song
from mixwright.model.song_edit import SongEdit, TrackEdit
from web.conftest import KEY, served

HOSTILE = [
    "<script>alert(1)</script>", "<img src=x onerror=alert(1)>", '"><svg onload=alert(1)>', "</title>", "\u202egnp.exe",
    "a\u0000b", "{{7*7}}", "'; DROP TABLE", "\x1b[2J", "https://evil.example", "javascript:alert(1)", "\U0001d54c" * 50,
]  # fmt: skip


def version(client) -> str:
    return client.get("/api/song").json()["result"]["version"]


def rename(client, seen: str, name: str):
    return client.post("/api/do/edit", json={"version": seen, "edit": {"tracks": {"piano": {"name": name}}}})


def piano(folder) -> str:
    return next(track.name for track in load_song(folder).tracks if track.id == "piano")


def test_an_edit_is_written_and_is_one_step_of_the_journal(client, folder):
    before = (folder / "song.toml").read_bytes()
    assert rename(client, version(client), "Grand").status_code == 200
    assert piano(folder) == "Grand"
    undone = client.post("/api/do/undo", json={"version": version(client)}).json()
    assert undone["result"]["undone"] == "edit piano"
    assert (folder / "song.toml").read_bytes() == before


def test_what_was_undone_is_made_again_unless_the_song_was_changed(client, folder):
    rename(client, version(client), "Grand")
    after = (folder / "song.toml").read_bytes()
    client.post("/api/do/undo", json={"version": version(client)})
    assert client.get("/api/song").json()["result"]["redo"] == "edit piano"
    again = client.post("/api/do/redo", json={"version": version(client)}).json()
    assert again["result"] == {"redone": "edit piano", "remaining": 0}
    assert (folder / "song.toml").read_bytes() == after
    assert client.get("/api/song").json()["result"]["redo"] == ""
    assert client.post("/api/do/redo", json={"version": version(client)}).status_code == 409
    client.post("/api/do/undo", json={"version": version(client)})
    seen = version(client)
    edit(folder, SongEdit(tracks={"piano": TrackEdit(name="Upright")}))
    assert client.post("/api/do/redo", json={"version": seen}).json()["error"]["kind"] == "changed"


def test_a_lane_is_a_change_like_any_other(client, folder):
    seen = version(client)
    lane = {
        "target": "piano",
        "parameter": "level",
        "points": [{"at_s": 2.0, "value": -3.0}, {"at_s": 1.0, "value": 0}],
    }
    done = client.post("/api/do/lane", json={"version": seen, "lane": lane})
    assert [point["at_s"] for point in done.json()["result"]["lanes"][0]["points"]] == [1.0, 2.0]
    assert client.post("/api/do/lane", json={"version": seen, "lane": lane}).status_code == 409
    here = {"version": version(client), "lane": lane}
    other = client.post("/api/do/lane", json=here | {"before": lane["points"][:1]})
    assert (other.status_code, other.json()["error"]["kind"]) == (409, "changed")
    assert client.post("/api/do/lane", json=here | {"before": lane["points"]}).status_code == 200
    view = client.get("/api/lanes").json()["result"]
    assert view["lanes"] == done.json()["result"]["lanes"]
    assert next(one["name"] for one in view["targets"] if one["id"] == "master") == "the whole mix"
    for wrong in ({"target": HOSTILE[0]}, {"parameter": "../../x"}, {"points": [{"at_s": -1, "value": 0}]}):
        sent = client.post("/api/do/lane", json={"version": version(client), "lane": lane | wrong})
        assert sent.status_code == 422, wrong
    client.post("/api/do/undo", json={"version": version(client)})
    assert client.get("/api/lanes").json()["result"]["lanes"] == []
    none = {"bounces": [], "superseded_bytes": 0}
    assert client.get("/api/bounces").json()["result"] == none
    assert client.delete("/api/bounces").json()["result"] == none


def test_the_walk_is_remembered_with_the_song_and_is_no_step(client, folder):
    before = version(client)
    assert client.get("/api/song").json()["result"]["walk"] is False
    for waits in (True, False):
        assert client.post("/api/walk", json={"waits": waits}).status_code == 204
        assert client.get("/api/song").json()["result"]["walk"] is waits
    assert version(client) == before
    assert client.post("/api/walk", json={"waits": "x"}).status_code == 422
    (folder / "kept" / "walk.json").write_text("{", encoding="utf-8")
    assert client.get("/api/song").json()["result"]["walk"] is False


def test_two_pages_cannot_lose_each_others_change(client, folder):
    with served(folder, **KEY) as other:
        seen = version(client)
        assert version(other) == seen
        assert rename(client, seen, "First").status_code == 200
        refused = rename(other, seen, "Second")
        assert refused.status_code == 409
        assert refused.json()["error"]["kind"] == "changed"
        now = refused.json()["now"]
        assert next(track["name"] for track in now["tracks"] if track["id"] == "piano") == "First"
        assert piano(folder) == "First"
        assert rename(other, now["version"], "Second").status_code == 200
        assert piano(folder) == "Second"


def test_an_edit_by_hand_counts_as_a_change(client, folder):
    seen = version(client)
    text = (folder / "song.toml").read_text(encoding="utf-8")
    (folder / "song.toml").write_text(text.replace("Night Bus", "Day Bus"), encoding="utf-8")
    for name, more in (("undo", {}), ("accept", {"all": True}), ("add", {"sentence": "level piano -2"})):
        assert client.post(f"/api/do/{name}", json={"version": seen, **more}).status_code == 409, name
    assert "Day Bus" in (folder / "song.toml").read_text(encoding="utf-8")
    assert client.get("/api/song").json()["result"]["title"].startswith("Day Bus")


def test_a_song_that_is_broken_by_hand_is_told_and_can_be_undone(client, folder):
    edit(folder, SongEdit(tracks={"piano": TrackEdit(name="Grand")}))
    whole = (folder / "song.toml").read_bytes()
    (folder / "song.toml").write_bytes(whole + b"\nnonsense")
    told = client.get("/api/song")
    assert told.status_code == 422
    assert told.json()["error"]["where"].startswith("song.toml:")
    (folder / "song.toml").write_bytes(whole)
    assert client.get("/api/song").status_code == 200


@pytest.mark.parametrize("name", HOSTILE)
def test_names_that_are_markup_stay_text(client, folder, name):
    answer = rename(client, version(client), name)
    if answer.status_code == 422:  # what song.toml cannot hold is refused with a reason
        assert answer.json()["error"]["message"]
        return
    assert answer.status_code == 200
    got = client.get("/api/song")
    assert got.headers["content-type"] == "application/json"
    assert next(t["name"] for t in got.json()["result"]["tracks"] if t["id"] == "piano") == name
    held = tomllib.loads((folder / "song.toml").read_text(encoding="utf-8"))
    assert next(t["name"] for t in held["tracks"] if t["id"] == "piano") == name


def test_moves_are_decided_as_on_the_command_line(client, folder):
    move = next(one for one in load_song(folder).moves if one.state == "proposed")
    done = client.post("/api/do/accept", json={"version": version(client), "moves": [move.id]}).json()
    assert [(one["id"], one["state"]) for one in done["result"]["moves"]] == [(move.id, "accepted")]
    assert done["command"] == "accept"
    added = client.post("/api/do/add", json={"version": version(client), "sentence": "level piano -2"}).json()
    assert added["result"]["moves"][0]["by"] == "engineer"
    assert client.post("/api/do/refuse", json={"version": version(client), "moves": [move.id]}).status_code == 200
    assert {one.id: one.state for one in load_song(folder).moves}[move.id] == "refused"


def test_findings_are_left_as_they_are(client, folder):
    finding = invented.measure_result().hearing.findings[0].id
    assert client.post("/api/do/leave", json={"version": version(client), "findings": [finding]}).status_code == 200
    assert [one.id for one in load_song(folder).left_as_is] == [finding]


@pytest.mark.parametrize(
    ("change", "body"),
    [
        ("edit", b"{"),
        ("edit", b"[]"),
        ("edit", b'{"edit": {}}'),
        ("edit", b'{"version": "", "edit": {}}'),
        ("edit", b'{"version": "x", "edit": {"tracks": {"piano": {"place": "front"}}}}'),
        ("edit", b'{"version": "x", "edit": {"tracks": {"piano": {"file": "/etc/passwd"}}}}'),
        ("edit", b'{"version": "x", "edit": {"tracks": {"piano": {"name": ""}}}}'),
        ("accept", b'{"version": "x", "everything": true}'),
        ("change", b'{"version": "x", "move": "m", "settings": {"gain_db": -1}}'),
        ("format_disk", b'{"version": "x"}'),
        ("__class__", b"{}"),
    ],
)
def test_what_is_no_change_is_refused_and_nothing_is_written(client, folder, change, body):
    before = (folder / "song.toml").read_bytes()
    answer = client.post(f"/api/do/{change}", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code == 422
    assert answer.json()["error"]["kind"] == "setting"
    assert (folder / "song.toml").read_bytes() == before


def test_documents_are_those_of_the_command_line(client):
    document = client.get("/api/results/measure").json()
    assert document["command"] == "measure"
    assert set(document) == {"schema", "command", "song", "warnings", "result"}
    assert "bands" not in json.dumps(document["result"]["hearing"]["layers"][0])
    assert "bands" in client.get("/api/results/measure?detail=bands").json()["result"]["hearing"]["layers"][0]
    assert client.get("/api/results/mix").status_code == 409


def test_every_answer_fits_the_published_schema(client):
    schema = client.get("/api/schema").json()
    view = client.get("/api/song").json()["result"]
    known = schema["$defs"]["SongView"]
    assert set(known["required"]) <= set(view) <= set(known["properties"])
    assert set(schema["$defs"]["ViewedTrack"]["properties"]) == set(view["tracks"][0])
    finding = client.get(f"/api/findings/{view['heard']['findings'][0]['id']}").json()["result"]
    assert set(schema["$defs"]["FindingView"]["properties"]) == set(finding)
