"""Who may talk to the room: each refusal once, and nothing that a page of another origin could read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from truestop.web.guard import Key, cookie_name
from truestop.web.serving import Room, add_page, make_app
from web.conftest import FakeDesk

PORT = 8734
HOME = f"http://127.0.0.1:{PORT}"


@pytest.fixture
def room(tmp_path: Path, desk: FakeDesk) -> Room:
    return Room(tmp_path, desk, port=PORT)


@pytest.fixture
def client(room: Room) -> Iterator[TestClient]:
    app = make_app(room)
    add_page(app)
    with TestClient(app, base_url=HOME) as client:
        yield client


@pytest.fixture
def inside(client: TestClient, room: Room) -> TestClient:
    client.get("/enter", params={"key": room.key.launch_token()})
    return client


def test_the_launch_token_opens_once(client: TestClient, room: Room) -> None:
    token = room.key.launch_token()
    first = client.get("/enter", params={"key": token}, follow_redirects=False)
    assert (first.status_code, first.headers["location"]) == (303, "/")
    cookie = first.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    client.cookies.clear()
    assert client.get("/enter", params={"key": token}, follow_redirects=False).status_code == 403
    assert client.get("/").status_code == 401


def test_without_the_cookie_nothing_is_shown(client: TestClient) -> None:
    for path in ("/", "/api/start", "/assets/x.js", "/no/such/path"):
        assert client.get(path).status_code == 401


@pytest.mark.parametrize(
    "host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1:1", "localhost", "127.0.0.1.evil:8734"]
)
def test_a_foreign_host_is_misdirected(inside: TestClient, host: str) -> None:
    """RFC 9110, 15.5.20: 421 for a host the server does not answer for; stops DNS rebinding."""
    assert inside.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", f"https://127.0.0.1:{PORT}", "http://127.0.0.1:1", "null"])
def test_a_foreign_origin_is_refused(inside: TestClient, origin: str) -> None:
    assert inside.get("/", headers={"origin": origin}).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_a_fetch_from_elsewhere_is_refused(inside: TestClient, site: str) -> None:
    assert inside.get("/", headers={"sec-fetch-site": site}).status_code == 403


@pytest.mark.parametrize("headers", [{}, {"origin": "http://evil.example"}, {"origin": "null"}])
def test_the_sound_comes_from_the_own_page_only(inside: TestClient, headers: dict[str, str]) -> None:
    with pytest.raises(WebSocketDisconnect), inside.websocket_connect("/live", headers=headers):
        pass


def test_a_socket_without_the_cookie_is_refused(client: TestClient) -> None:
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/live", headers={"origin": HOME}):
        pass


def test_the_own_page_is_welcome(inside: TestClient) -> None:
    with inside.websocket_connect(f"ws://127.0.0.1:{PORT}/live", headers={"origin": HOME}) as socket:
        socket.send_json({"type": "hello", "room": None})
        welcome = socket.receive_json()
        assert welcome["type"] == "welcome"
        socket.send_json({"type": "begin", "passage": "p", "shift": 1})
        assert socket.receive_json()["type"] in ("order", "waiting", "practice")


def test_every_answer_carries_the_headers(inside: TestClient) -> None:
    for path in ("/enter", "/", "/no/such/path"):
        headers = inside.get(path).headers
        policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == policy["style-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cross-origin-opener-policy"] == "same-origin"
        assert headers["cross-origin-embedder-policy"] == "require-corp"


def test_the_key_outlives_a_restart(tmp_path: Path) -> None:
    assert Key(tmp_path / "key").cookie == Key(tmp_path / "key").cookie
    assert Key(tmp_path / "key").cookie != Key(tmp_path / "other").cookie
    assert (tmp_path / "key").stat().st_size == 32


def test_rooms_on_two_ports_have_two_cookies() -> None:
    assert cookie_name(8734) != cookie_name(8735)


@pytest.mark.parametrize(
    "path", ["/../pyproject.toml", "/..%2f..%2fpyproject.toml", "/assets/../../guard.py", "/.%2e/key"]
)
def test_no_file_outside_the_page_is_served(inside: TestClient, path: str) -> None:
    answer = inside.get(path)
    assert answer.status_code in (404, 403)
    assert "truestop" not in answer.text
