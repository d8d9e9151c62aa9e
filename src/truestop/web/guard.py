"""Who may talk to the room's server.

The server listens on the loopback address, or on one address of the network by https; every page that is open in the
same browser can reach it. So: a Host that is not ours is refused (421, against DNS rebinding), a foreign Origin or a
cross-site fetch is refused (403), and everything but the door needs the cookie that only the single-use launch token
gives. The cookie's name holds the port, because cookies ignore ports. Sources: RFC 9110 (421), RFC 6455 §10.2 (Origin),
W3C Fetch Metadata, CSP Level 3.
"""

from __future__ import annotations

import hmac
import os
import secrets
from hashlib import sha256
from pathlib import Path

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]")
SAME_SITE = {"same-origin", "none"}
DOOR = "/enter"


class Key:
    """The room's secret, kept in its folder so that an open page outlives a restart of the server."""

    def __init__(self, path: Path) -> None:
        self._secret = _read_or_make(path)
        self._unused: set[str] = set()

    def launch_token(self) -> str:
        """A token that opens the door once."""
        token = secrets.token_urlsafe(32)
        self._unused.add(token)
        return token

    def spend(self, token: str) -> bool:
        """Whether ``token`` was given out and not yet used; it is used now."""
        if token in self._unused:
            self._unused.discard(token)
            return True
        return False

    @property
    def cookie(self) -> str:
        """What the cookie holds: derived from the secret, so it says nothing about it."""
        return hmac.new(self._secret, b"truestop room", sha256).hexdigest()

    def opens(self, cookie: str) -> bool:
        """Whether ``cookie`` is the right one, compared in constant time."""
        return hmac.compare_digest(cookie.encode(), self.cookie.encode())


def _read_or_make(path: Path) -> bytes:
    if path.is_file() and len(found := path.read_bytes()) == 32:
        return found
    path.parent.mkdir(parents=True, exist_ok=True)
    secret = secrets.token_bytes(32)
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as file:
        file.write(secret)
    return secret


def cookie_name(port: int) -> str:
    """Named after the port: cookies are shared between ports of one host."""
    return f"truestop-{port}"


def headers_for(host: str, *, secure: bool = False) -> dict[str, str]:
    """Headers of every answer to a page that came by ``host``; ``secure`` where it came by https."""
    policy = {
        "default-src": "'none'",
        "script-src": "'self'",
        "worker-src": "'self'",
        "style-src": "'self'",
        "img-src": "'self' data: blob:",
        "media-src": "'self' blob:",
        "font-src": "'self' data:",
        "connect-src": f"'self' {'wss' if secure else 'ws'}://{host}",
        "base-uri": "'none'",
        "form-action": "'none'",
        "frame-ancestors": "'none'",
    }
    return {
        "Content-Security-Policy": "; ".join(f"{name} {value}" for name, value in policy.items()),
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Embedder-Policy": "require-corp",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Permissions-Policy": "microphone=(self), screen-wake-lock=(self), camera=(), geolocation=()",
    }


class Guard:
    """ASGI middleware: refuses strangers and puts the headers on every answer."""

    def __init__(self, app: ASGIApp, *, key: Key, port: int, address: str | None = None) -> None:
        """``address`` is the one of the network where the room is served there, by https."""
        self.app = app
        self.key = key
        self.port = port
        self.secure = address is not None
        self.hosts = [f"{name}:{port}" for name in ((address,) if address else LOOPBACK_NAMES)]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        refusal = self._refusal(HTTPConnection(scope))
        if refusal is None:
            await self.app(scope, receive, self._with_headers(scope, send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 4403, "reason": refusal[1]})
        else:
            response = PlainTextResponse(refusal[1], status_code=refusal[0])
            await response(scope, receive, self._with_headers(scope, send))

    def _refusal(self, connection: HTTPConnection) -> tuple[int, str] | None:
        headers, path = connection.headers, connection.url.path
        host = headers.get("host", "").lower()
        if host not in self.hosts:
            return 421, "This server answers only to the address that it printed."
        origin = headers.get("origin")
        if origin is not None and origin != f"{'https' if self.secure else 'http'}://{host}":
            return 403, "Pages from elsewhere may not use the room."
        if connection.scope["type"] == "websocket" and origin is None:
            return 403, "The room's sound comes from its own page only."
        site = headers.get("sec-fetch-site", "none")
        if site not in SAME_SITE and not _is_navigation(headers, path):
            return 403, "Pages from elsewhere may not use the room."
        if path != DOOR and not self.key.opens(connection.cookies.get(cookie_name(self.port), "")):
            return 401, "Open the room with the address that 'truestop room' prints; it holds a key that works once."
        return None

    def _with_headers(self, scope: Scope, send: Send) -> Send:
        host = Headers(scope=scope).get("host", "")

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                known = host if host in self.hosts else self.hosts[0]
                for name, value in headers_for(known, secure=self.secure).items():
                    headers.setdefault(name, value)
                if not scope["path"].startswith("/assets/"):
                    headers.setdefault("Cache-Control", "no-store")
            await send(message)

        return send_with_headers


def _is_navigation(headers: Headers, path: str) -> bool:
    return path == DOOR and headers.get("sec-fetch-mode") == "navigate"
