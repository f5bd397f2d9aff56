# SPDX-License-Identifier: Apache-2.0
"""Who may ask: RFC 9110 for hosts and statuses, RFC 6265 for cookies, the Fetch standard for Origin."""

import pytest

from mixwright.web.guard import Guard
from web.conftest import KEY, PORT, TOKEN

PATHS = ["/", "/api/song", "/api/events", "/api/audio/mix", "/static/app.js", "/static/core.wasm", "/nowhere"]


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    "key", ["", "Bearer ", "Bearer wrong", f"Bearer {TOKEN}x", f"Basic {TOKEN}", TOKEN, "Bearer é"]
)
def test_without_the_key_nothing_is_told(stranger, path, key):
    answer = stranger.get(path, headers={"Authorization": key.encode("utf-8")})
    assert answer.status_code == 403
    assert "The key is missing" in answer.text


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize(
    "host",
    ["evil.example", f"evil.example:{PORT}", "127.0.0.1", f"127.0.0.1:{PORT + 1}", f"0.0.0.0:{PORT}", "", "[::1]"],
)
def test_another_host_is_refused(reader, path, host):
    # A name of somebody else that leads to 127.0.0.1 (DNS rebinding) comes with its own name as the host.
    assert reader.get(path, headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("method", ["GET", "POST", "DELETE", "OPTIONS"])
@pytest.mark.parametrize("origin", ["http://evil.example", "null", f"https://127.0.0.1:{PORT}", "http://127.0.0.1:1"])
def test_another_origin_is_refused(reader, method, origin):
    answer = reader.request(method, "/api/job", headers={"Origin": origin})
    assert answer.status_code == 403
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_page_of_another_site_gets_nothing(reader, site):
    assert reader.get("/api/song", headers={"Sec-Fetch-Site": site}).status_code == 403
    assert reader.get("/static/app.js", headers={"Sec-Fetch-Site": site}).status_code == 403


def test_its_own_origin_is_let_in(reader):
    for host in (f"127.0.0.1:{PORT}", f"localhost:{PORT}"):
        headers = {"Host": host, "Origin": f"http://{host}", "Sec-Fetch-Site": "same-origin"}
        assert reader.get("/api/job", headers=headers).status_code == 200


def test_the_address_hands_over_the_key_once(stranger):
    answer = stranger.get("/", params={"token": TOKEN})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith(f"mixwright-{PORT}={TOKEN};")
    assert {"HttpOnly", "SameSite=strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
    assert stranger.get("/").status_code == 200
    assert stranger.get("/api/song").status_code == 200


def test_the_key_in_another_address_is_no_key(stranger):
    assert stranger.get("/api/song", params={"token": TOKEN}).status_code == 403
    assert stranger.get("/", params={"token": "wrong"}).status_code == 403


def test_the_key_of_another_port_is_no_key(stranger):
    assert stranger.get("/api/song", headers={"Cookie": f"mixwright-{PORT + 1}={TOKEN}"}).status_code == 403


def test_cookies_of_other_servers_on_this_machine_do_no_harm(stranger):
    # Ports share cookies, and some programs write what RFC 6265 does not allow.
    others = 'theirs={"a": 1, "b"}; odd; =x; mixwright-1=y'
    for cookie in (f"{others}; mixwright-{PORT}={TOKEN}", f"mixwright-{PORT}={TOKEN}; {others}"):
        assert stranger.get("/api/song", headers={"Cookie": cookie}).status_code == 200


def test_keys_are_compared_in_constant_time(monkeypatch):
    compared = []
    monkeypatch.setattr("mixwright.web.guard.secrets.compare_digest", lambda a, b: compared.append((a, b)) or a == b)
    guard = Guard(None, TOKEN, PORT)
    assert guard._is_token(TOKEN)
    assert not guard._is_token("a")
    assert len(compared) == 2


@pytest.mark.parametrize("path", ["/", "/api/song", "/nowhere", "/static/app.js"])
def test_every_answer_says_what_a_page_may_do(reader, stranger, path):
    for asked in (reader, stranger):
        headers = asked.get(path).headers
        policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self' 'wasm-unsafe-eval'"
        assert not any(word in " ".join(policy.values()) for word in ("unsafe-inline", "'unsafe-eval'", "http", "*"))
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize(
    "path",
    [
        "/static/../guard.py", "/static/%2e%2e/guard.py", "/static/..%2fguard.py", "/static/..\\guard.py",
        "/static//etc/passwd", "/static/%00", "/api/audio/../../song.toml", "/api/audio/track/..%2f..%2fsong.toml",
        "/api/audio/reference/..%2f..%2fsong.toml", "/api/audio/print/..%2f0", "/api/results/..%2f..%2fsong",
        "/api/results/lanes", "/api/findings/..%2f..%2fsong",
    ],
)  # fmt: skip
def test_no_path_leads_out(reader, path):
    answer = reader.get(path)
    assert answer.status_code in (404, 405, 409, 422)
    assert "SPDX" not in answer.text
    assert "root:" not in answer.text
    assert "tracks" not in answer.text


def test_bodies_are_json_of_a_bounded_length(reader):
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    assert reader.post("/api/do/undo", content=b"version=1", headers=headers).status_code == 415
    assert reader.post("/api/do/undo", content=b" " * ((1 << 20) + 1), headers=KEY).status_code == 413
    chunked = reader.post("/api/do/undo", content=iter([b"{}"]), headers={"Content-Type": "application/json"})
    assert chunked.status_code == 411
