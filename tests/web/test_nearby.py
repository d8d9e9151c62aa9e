"""The room on the network: the certificate by OpenSSL's own check, the guard by https, the code in the terminal."""

from __future__ import annotations

import os
import socket
import ssl
import threading
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import pytest
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from truestop.domain.errors import TruestopError
from truestop.web import nearby
from truestop.web.nearby import RENEW_DAYS, VALID_DAYS, own_address, own_certificate, qr_text
from truestop.web.serving import Room, add_page, make_app
from web.conftest import FakeDesk

ADDRESS = "127.0.0.1"
PORT = 8734
HOME = f"https://192.0.2.7:{PORT}"


def shake_hands(file: Path, key_file: Path, name: str) -> None:
    """OpenSSL as server and client: the client trusts this certificate alone and checks the name."""
    served = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    served.load_cert_chain(file, key_file)
    asked = ssl.create_default_context(cafile=file)
    near, far = socket.socketpair()

    def answer() -> None:
        with near:
            served.wrap_socket(near, server_side=True).close()

    answering = threading.Thread(target=answer)
    answering.start()
    try:
        with far, asked.wrap_socket(far, server_hostname=name) as socket_:
            assert socket_.version() in ("TLSv1.2", "TLSv1.3")
    finally:
        answering.join()


def test_openssl_accepts_the_certificate_for_its_address(tmp_path: Path) -> None:
    made = own_certificate(tmp_path, ADDRESS)
    shake_hands(made.file, made.key_file, ADDRESS)
    if os.name != "nt":
        assert made.key_file.stat().st_mode & 0o077 == 0


def test_a_certificate_is_used_again_until_it_runs_out(tmp_path: Path) -> None:
    now = datetime(2026, 11, 25, tzinfo=UTC)
    first = own_certificate(tmp_path, ADDRESS, now=now)
    still = own_certificate(tmp_path, ADDRESS, now=now + timedelta(days=VALID_DAYS - RENEW_DAYS - 1))
    later = own_certificate(tmp_path, ADDRESS, now=now + timedelta(days=VALID_DAYS - RENEW_DAYS + 1))
    assert first == still
    assert later.fingerprint != first.fingerprint
    first.file.write_text("spoiled")
    assert own_certificate(tmp_path, ADDRESS, now=now).fingerprint != later.fingerprint


def test_the_fingerprint_is_openssl_s(tmp_path: Path) -> None:
    made = own_certificate(tmp_path, ADDRESS)
    der = ssl.PEM_cert_to_DER_cert(made.file.read_text())
    assert made.fingerprint.replace(":", "").lower() == sha256(der).hexdigest()


def test_a_machine_without_a_network_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nearby, "NOWHERE", ("127.0.0.1", 9))
    with pytest.raises(TruestopError, match="on no network"):
        own_address()


def test_the_code_is_drawn_in_blocks() -> None:
    lines = qr_text(f"{HOME}/enter?key=" + "x" * 43).rstrip("\n").splitlines()
    assert len({len(line.rstrip()) for line in lines}) <= 3
    assert len(lines) > 15


def test_by_https_only_the_own_page_of_that_address_is_let_in(tmp_path: Path, desk: FakeDesk) -> None:
    room = Room(tmp_path, desk, port=PORT, address="192.0.2.7")
    app = make_app(room)
    add_page(app)
    with TestClient(app, base_url=HOME) as client:
        assert client.get("/").status_code == 401
        entered = client.get(room.launch().removeprefix(HOME), follow_redirects=False)
        assert "secure" in entered.headers["set-cookie"].lower()
        assert f"wss://192.0.2.7:{PORT}" in entered.headers["content-security-policy"]
        for host in (f"127.0.0.1:{PORT}", f"192.0.2.8:{PORT}"):
            assert client.get("/", headers={"host": host}).status_code == 421
        assert client.get("/", headers={"origin": f"http://192.0.2.7:{PORT}"}).status_code == 403
        host = {"host": f"192.0.2.7:{PORT}"}
        with client.websocket_connect(f"wss://192.0.2.7:{PORT}/live", headers={"origin": HOME}) as live:
            live.send_json({"type": "hello"})
            assert live.receive_json()["type"] == "welcome"
        with (
            pytest.raises(WebSocketDisconnect),
            client.websocket_connect("/live", headers=host | {"origin": "https://192.0.2.8"}),
        ):
            pass
